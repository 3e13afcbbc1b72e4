"""A family of parts made ready: its working currents, its parts as points, and those whose curves do not reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.errors import Problem, UnusableInput
from partscreen.matching.distance import Features, common_offset, features_of, session_numbers, session_of
from partscreen.matching.families import Family
from partscreen.matching.options import MatchOptions
from partscreen.matching.stock import PartCurves
from partscreen.matching.usage import Usage, evenly, within, working_currents
from partscreen.results import Reason
from partscreen.results.matching import Unmatched, WorkingCurrents

Floats = npt.NDArray[np.float64]

_SURE = (
    3.0  # times the smallest uncertainty of a curve: beyond it a current does not count unless the stage asks for it
)


@dataclass(frozen=True, slots=True)
class Ready:
    """Parts of a family as points: `a` (NPN, or all) and `b` (PNP, or none).

    VBE of `b` has what the types differ by as such taken off.
    """

    name: str
    a: tuple[PartCurves, ...]
    b: tuple[PartCurves, ...]
    points_a: Features
    points_b: Features
    usage: Usage
    currents: WorkingCurrents
    reasons: tuple[Reason, ...]
    left_out: tuple[Unmatched, ...]


def make_ready(parts: Sequence[PartCurves], family: Family, options: MatchOptions) -> Ready:
    """Choose the currents, leave out parts that do not reach them, and lay the rest out.

    Raises
    ------
    UnusableInput
        The stage cannot be as described, or its currents were not read.
    """
    everyone = [parts[i] for i in (*family.a, *family.b)]
    low, high = _common_range(everyone, 0.0)
    lost = 0.0
    try:
        asked = working_currents(
            power=options.power, load=options.load, signal=options.signal, crest=options.crest, idle=options.idle,
            per_rail=options.per_rail or 1,
        )  # fmt: skip
        if asked is None:
            usage = evenly(*_common_range(everyone, _SURE))
        else:
            usage, lost = within(asked, low, high)
    except ValueError as error:
        raise UnusableInput([Problem("STAGE", str(error), "see --help for the options of the stage")]) from error
    reasons = [_range_short(family.name, asked, usage, lost, high)] if lost > 0.005 and asked is not None else []
    a, out_a = _that_reach([parts[i] for i in family.a], usage)
    b, out_b = _that_reach([parts[i] for i in family.b], usage)
    numbers = session_numbers((*a, *b))
    points_a, points_b = features_of(a, usage, numbers), features_of(b, usage, numbers)
    offset, offsets = None, None
    if a and b:
        shift = common_offset(points_a, points_b)
        points_b = points_b.shifted(-shift)
        offset = float(shift @ np.sqrt(usage.weight))
        weight = np.sqrt(np.where(usage.weight > 0, usage.weight, 1.0))
        offsets = (1e3 * shift / weight).tolist()
        reasons.append(_offset_told(family.name, offset))
    currents = WorkingCurrents(
        types=family.name, ic=usage.ic.tolist(), weight=usage.weight.tolist(), words=usage.words,
        vbe_offset_mv=None if offset is None else offset * 1e3, vbe_offsets_mv=offsets,
    )  # fmt: skip
    both = (*a, *b)
    reasons += _about_records(family.name, both)
    return Ready(family.name, tuple(a), tuple(b), points_a, points_b, usage, currents, tuple(reasons), (*out_a, *out_b))


def _common_range(parts: Sequence[PartCurves], sure: float) -> tuple[float, float]:
    """Currents that the typical part of every lot reaches: a single part read short does not shorten it for all."""
    ends: dict[tuple[int, str], list[tuple[float, float]]] = {}
    for part in parts:
        known = np.isfinite(part.ln_hfe) & np.isfinite(part.vbe)
        spread = part.own[0]
        if sure and np.isfinite(spread[known]).any():
            known &= ~(spread > sure * np.nanmin(spread[known]))
        ends.setdefault((part.run, part.lot), []).append((float(part.ic[known].min()), float(part.ic[known].max())))
    middle = [(float(np.median([e[0] for e in lot])), float(np.median([e[1] for e in lot]))) for lot in ends.values()]
    return max(e[0] for e in middle), min(e[1] for e in middle)


def _that_reach(parts: Sequence[PartCurves], usage: Usage) -> tuple[list[PartCurves], list[Unmatched]]:
    reach, out = [], []
    for part in parts:
        known = part.ic[np.isfinite(part.ln_hfe) & np.isfinite(part.vbe)]
        if known[0] <= usage.ic[0] * (1 + 1e-6) and known[-1] >= usage.ic[-1] * (1 - 1e-6):
            reach.append(part)
        else:
            why = f"its curve goes from {known[0]:.3g} to {known[-1]:.3g} A only"
            out.append(Unmatched(part=part.part, lot=part.lot, why=why))
    return reach, out


def _range_short(name: str, asked: Usage, usage: Usage, lost: float, high: float) -> Reason:
    return Reason(
        code="RANGE_SHORT",
        sentence=f"{name}: the stage works at {asked.ic[0]:.3g} to {asked.ic[-1]:.3g} A per device; the parts can be "
        f"compared from {usage.ic[0]:.3g} to {usage.ic[-1]:.3g} A, which leaves {lost:.0%} of the use uncompared.",
        figures={"lost_share": lost, "curve_top_a": high},
    )


def _offset_told(name: str, offset: float) -> Reason:
    return Reason(
        code="COMMON_OFFSET",
        sentence=f"{name}: as types, NPN and PNP differ by {offset * 1e3:+.1f} mV of VBE, which no choice of parts "
        "mends and the bias setting takes up; it is taken off, current by current, before they are compared.",
        figures={"offset_mv": offset * 1e3},
    )


def _about_records(name: str, parts: Sequence[PartCurves]) -> list[Reason]:
    """What the records of these parts leave open: older results, sessions without a name, several sessions."""
    reasons = []
    old = sorted({p.lot for p in parts if not p.split})
    if old:
        reasons.append(
            Reason(
                code="OLD_RESULT",
                sentence=f"{name}: the result of lot {', '.join(old)} does not tell shared errors from a part's own, "
                "so all of them count and parts may seem alike that are not; screen the readings again.",
            )
        )
    unnamed = sorted({p.lot for p in parts if not p.session})
    if unnamed:
        reasons.append(
            Reason(
                code="SESSION_UNSTATED",
                sentence=f"{name}: no session is written down for lot {', '.join(unnamed)}; each such lot is taken as "
                "read in one session.",
            )
        )
    sessions = sorted({f"{p.session or 'lot ' + p.lot}" + (f" (result {p.run + 1})" if p.run else "") for p in parts})
    if len({session_of(p) for p in parts}) > 1:
        reasons.append(
            Reason(
                code="SESSIONS_DIFFER",
                sentence=f"{name}: not all parts were read in one session ({', '.join(sessions)}). Errors of "
                "temperature and gain cancel only between parts of one session; between others the uncertainty holds "
                "them.",
            )
        )
    return reasons
