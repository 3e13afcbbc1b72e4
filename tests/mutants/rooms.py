"""What is mutated, and by which tests a change should be noticed."""

from __future__ import annotations

import hashlib
from fnmatch import fnmatch
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[2]
BUILD = HOUSE / "build" / "mutants"

_LOT_ROOM = """action attribute_plans cost_outcomes cost_plan draw intervals operating_curve plan_answer plan_more
readings_power sequential share stopping switching two_point zero_acceptance"""

# Room -> its modules. Wording (plan_words) and the trust in suppliers (a topic of its own) are left out.
ROOMS: dict[str, tuple[str, ...]] = {
    "limits": ("partscreen/screening/limits/*.py",),
    "evidence": ("partscreen/screening/evidence/*.py",),
    "disposition": ("partscreen/screening/disposition.py", "partscreen/screening/findings.py"),
    "sampling": tuple(f"partscreen/lots/{name}.py" for name in _LOT_ROOM.split()),
    "chain": tuple(f"partscreen/book/{name}.py" for name in ("chain", "canonical", "verify")),
}

# Tests that notice, in groups that are recorded at the same time.
_FIRST = "conformance judge_limits evidence_engine evidence_bad_input next_measurement single evidence_speed"
_SECOND = "screen lot_view naming observations observe stress sub_lots advice outlier_model alike die_edges retest"
_LOTS = "draw action plan_costs plan_intervals plan_risks plan_tables"
_OUTSIDE = "sampling_curves sampling_intervals sampling_sequential sampling_tables conformance"


def _files(folder: str, names: str) -> tuple[str, ...]:
    return tuple(f"tests/{folder}/test_{name}.py" for name in names.split())


GROUPS: tuple[tuple[str, ...], ...] = (
    _files("screening", _FIRST),
    _files("screening", _SECOND) + _files("metamorphic", "judgement") + _files("repeatability", "frozen_answers"),
    _files("lots", _LOTS)
    + _files("outside", _OUTSIDE)
    + _files("book", "core_verify core_store core_cells core_versions"),
    _files("lots", "plan_command action_in_results") + _files("screening", "wiring"),
    _files("lots", "plan_edges plan_answers plan_remarks plan_pieces plan_rules plan_table_rows action_edges")
    + _files("screening", "disposition limit_edges limit_findings limit_values limit_sides limit_neighbours")
    + _files("screening", "findings_of_evidence findings_told")
    + _files("book", "core_chain core_damage"),
    _files("screening", "evidence_pieces evidence_forms evidence_lots evidence_settling evidence_starts")
    + _files("screening", "evidence_page evidence_types evidence_rounds"),
)

# Room -> the tests that look at it closest: they come first.
NEAREST: dict[str, tuple[str, ...]] = {
    "limits": _files("screening", "limit_edges limit_values limit_findings limit_sides limit_neighbours")
    + _files("screening", "judge_limits conformance")
    + _files("outside", "conformance"),
    "evidence": _files("screening", "evidence_page evidence_pieces evidence_forms evidence_lots evidence_settling")
    + _files("screening", "evidence_types evidence_rounds evidence_engine"),
    "disposition": _files("screening", "disposition limit_findings findings_of_evidence findings_told")
    + _files("screening", "wiring observations"),
    "sampling": _files("lots", "plan_edges plan_answers plan_remarks plan_pieces plan_rules plan_table_rows")
    + _files("lots", "action_edges plan_tables plan_intervals plan_risks"),
    "chain": _files("book", "core_chain core_damage core_cells core_verify"),
}


def modules(room: str | None = None) -> list[Path]:
    """The files of a room, or of all."""
    patterns = ROOMS[room] if room else [pattern for own in ROOMS.values() for pattern in own]
    return [path for pattern in patterns for path in sorted(HOUSE.glob(pattern)) if path.name != "__init__.py"]


def room_of(name: str) -> str:
    """The room of a module, given by its path from the house."""
    return next(room for room in ROOMS if HOUSE / name in modules(room))


def room_of_path(name: str) -> str:
    """As `room_of`, also where the module is gone."""
    return next(room for room, patterns in ROOMS.items() if any(fnmatch(name, pattern) for pattern in patterns))


def order(key: str, seed: int = 8) -> str:
    """Sorting by this shuffles mutants the same way every time, and keeps doing so while others come and go."""
    return hashlib.sha256(f"{seed}:{key}".encode()).hexdigest()
