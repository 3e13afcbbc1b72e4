"""What must hold between two judgements of one lot, whatever the lot: relations, not figures. Real runs of the engine.

Exact relations hold to `SAME` (sums in another order move the last digits). Relations that hold in expectation but not
for every draw of noise state their bound and why. Over the worlds below the largest departures met with were 1e-9 in
log odds for exact relations, and those noted beside each bound.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from partscreen.results import LotResult, PartResult
from partscreen.simulate.parts import Kind
from tests.metamorphic.worlds import (
    COLUMNS,
    WORLDS,
    Row,
    World,
    Written,
    by_name,
    files_told,
    judged,
    plain,
    written,
)

SAME = 1e-6  # log odds, relative figures
PRIOR = math.log(0.1 / 0.9)  # of the default share of unfit parts
each_world = pytest.mark.parametrize("world", WORLDS, ids=lambda world: world.label)


def log_odds(part: PartResult) -> float:
    """Of the part being unfit."""
    assert part.probability_unfit is not None
    p = min(max(part.probability_unfit, 1e-12), 1 - 1e-12)
    return math.log(p / (1 - p))


def width(part: PartResult) -> float:
    """Of the interval of the area ratio, in logs."""
    assert part.area_ratio is not None
    return math.log(part.area_ratio.high / part.area_ratio.low)


def assert_same(one: LotResult, other: LotResult, renamed: Callable[[str], str] = lambda name: name) -> None:
    """The same parts with the same dispositions, reasons and figures."""
    assert one.judgement == other.judgement
    assert one.share_unfit is not None
    assert other.share_unfit is not None
    assert other.share_unfit.value == pytest.approx(one.share_unfit.value, abs=1e-6)
    there = by_name(other)
    assert len(there) == len(one.parts)
    for part in one.parts:
        twin = there[renamed(part.part)]
        assert (twin.status, twin.disposition) == (part.status, part.disposition), part.part
        assert sorted(r.code for r in twin.reasons) == sorted(r.code for r in part.reasons), part.part
        assert sorted(q.code for q in twin.quality) == sorted(q.code for q in part.quality), part.part
        assert log_odds(twin) == pytest.approx(log_odds(part), abs=SAME)
        assert twin.evidence == pytest.approx(part.evidence, abs=SAME)
        assert twin.reach == pytest.approx(part.reach, rel=SAME)
        assert twin.reach_absolute == pytest.approx(part.reach_absolute, rel=SAME)
        assert width(twin) == pytest.approx(width(part), rel=SAME)
        assert [x.decision for x in twin.limits] == [x.decision for x in part.limits]


def _blocks(told: Written, order: Callable[[list[Row]], list[Row]], parts_last_first: bool) -> Written:
    """Rows of each part and sweep in another order; parts in another order."""
    names = list(dict.fromkeys(str(row["part"]) for row in told.rows))
    out: list[Row] = []
    for name in reversed(names) if parts_last_first else names:
        for sweep in (None, "saturation", "gain"):
            out += order([row for row in told.rows if row["part"] == name and row.get("sweep") == sweep])
    return told.with_rows(out)


@each_world
def test_the_order_of_parts_rows_sweeps_and_columns_changes_nothing(world: World) -> None:
    rng = random.Random(world.seed)
    told = _blocks(written(world), lambda rows: rng.sample(rows, len(rows)), parts_last_first=True)
    (lot,) = judged(world, replace(told, columns=tuple(reversed(COLUMNS))))
    assert_same(plain(world), lot)


@each_world
def test_units_changed_consistently_change_nothing(world: World) -> None:
    def in_nanofarads(row: Row) -> Row:
        return {**row, "value": float(row["value"]) / 1000, "unit": "nF"} if "quantity" in row else row

    told = replace(
        written(world).changed(in_nanofarads),
        times={"ic": 1e3, "ib": 1e6, "vce": 1e3, "vbe": 1e3, "pulse": 1e3},
        units={"ic": "mA", "ib": "uA", "vce": "mV", "vbe": "mV", "case_temp": "K", "pulse": "us"},
    )
    (lot,) = judged(world, told)
    assert_same(plain(world), lot)


def test_pnp_readings_with_their_signs_are_judged_as_magnitudes_are() -> None:
    world = next(one for one in WORLDS if one.type_number == "2SA1943")
    (lot,) = judged(world, replace(written(world), times=dict.fromkeys(("ic", "ib", "vce", "vbe"), -1.0)))
    assert_same(plain(world), lot)


def test_npn_readings_with_signs_of_pnp_are_the_wrong_polarity() -> None:
    world = WORLDS[0]
    (lot,) = judged(world, replace(written(world), times=dict.fromkeys(("ic", "ib", "vce", "vbe"), -1.0)))
    assert {part.status for part in lot.parts} == {"wrong_polarity"}


@each_world
def test_doubling_the_uncertainty_never_raises_confidence(world: World) -> None:
    (lot,) = judged(world, replace(written(world), uncertainty=2.0))
    before, after = by_name(plain(world)), by_name(lot)
    for name, part in before.items():
        assert width(after[name]) >= width(part) * (1 - SAME)
        assert part.reach is not None
        assert part.reach_absolute is not None
        # Reach is worked out at the part's own fit, which moves a little with the weights: 0.0002 was met with.
        assert after[name].reach <= part.reach + 1e-3
        assert after[name].reach_absolute <= part.reach_absolute + 1e-3
    # Of one part the log odds depend on the draw of its noise, which counts for less when it is stated to be larger: a
    # sound part whose noise spoke against it comes out better (0.12 was met with). On the average of a lot they do not
    # move away from the prior.
    away = [sum(abs(log_odds(part) - PRIOR) for part in parts.values()) for parts in (before, after)]
    assert away[1] <= away[0] + 0.1 * len(before)
    assert all(abs(log_odds(after[name]) - PRIOR) <= abs(log_odds(part) - PRIOR) + 0.3 for name, part in before.items())


@each_world
def test_a_lot_told_twice_under_other_names_is_two_lots_and_neither_is_sharper(world: World) -> None:
    again = written(world).changed(lambda row: {**row, "part": f"Q{str(row['part'])[1:]}"})
    first, second = judged(world, written(world), again)
    assert_same(plain(world), first)
    assert_same(plain(world), second, lambda name: f"Q{name[1:]}")


def test_a_file_given_twice_is_read_once_and_told() -> None:
    world = WORLDS[1]
    lots, told = files_told(world, written(world), written(world))
    assert [one.code for one in told] == ["SAME_FILE_TWICE"]
    assert_same(plain(world), lots[0])


@each_world
def test_readings_copied_as_a_second_run_do_not_sharpen_as_new_ones_would(world: World) -> None:
    """New readings with errors of their own would narrow intervals to 0.71 where noise decides; errors of a session and
    spreads of the population do not average out (0.98 was met with)."""
    rows = [{**row, "run": run} for run in ("1", "2") for row in written(world).rows]
    (lot,) = judged(world, replace(written(world).with_rows(rows), columns=(*COLUMNS, "run")))
    for name, part in by_name(plain(world)).items():
        twin = by_name(lot)[name]
        assert width(twin) >= 0.95 * width(part)
        assert twin.reach <= part.reach * 1.02


def _first_sound(world: World) -> str:
    return f"P{world.kinds.index(Kind.SOUND) + 1:02d}"


@each_world
@pytest.mark.parametrize("contrary", ["saturation", "gain"])
def test_a_contradicting_reading_lowers_the_probability_that_a_part_is_what_it_says(
    world: World, contrary: str
) -> None:
    """VCE(sat) 1.6 times as high, or hFE at high current 0.7 times: what a smaller die does."""
    name = _first_sound(world)

    def change(row: Row) -> Row:
        if row["part"] != name or row.get("sweep") != contrary:
            return row
        if contrary == "saturation":
            return {**row, "vce": float(row["vce"]) * 1.6}
        return {**row, "ib": float(row["ib"]) / 0.7} if float(row["ic"]) > 1.5 else row

    (lot,) = judged(world, written(world).changed(change))
    before, after = by_name(plain(world))[name], by_name(lot)[name]
    assert log_odds(after) >= log_odds(before) + 1.0
    assert after.disposition != "accept"


REMOVED: dict[str, Callable[[Written], Written]] = {
    "saturation": lambda told: told.with_rows([r for r in told.rows if r.get("sweep") != "saturation"]),
    "capacitances": lambda told: told.with_rows([r for r in told.rows if "quantity" not in r]),
    "high currents": lambda told: told.with_rows([r for r in told.rows if float(r.get("ic", 0.0)) < 3.0]),
    "VBE": lambda told: told.changed(lambda row: {k: v for k, v in row.items() if k != "vbe"}),
}


TOLD_AGAINST_ITSELF = pytest.mark.xfail(
    strict=True,
    reason="without its high currents this lot is more likely than not of the type, and area and reach are then told "
    "against its own centre, not against the sheets",
)


@pytest.mark.parametrize(
    ("world", "what"),
    [
        pytest.param(
            world, what, id=f"{what}-{world.label}",
            marks=[TOLD_AGAINST_ITSELF] if (what, world.label) == ("high currents", "MJL21194-13") else [],
        )
        for what in REMOVED
        for world in WORLDS
    ],
)  # fmt: skip
def test_removing_a_reading_widens_intervals_and_lowers_reach(world: World, what: str) -> None:
    (lot,) = judged(world, REMOVED[what](written(world)))
    for name, part in by_name(plain(world)).items():
        poorer = by_name(lot)[name]
        assert width(poorer) >= width(part) * (1 - SAME)
        assert poorer.reach is not None
        assert part.reach is not None
        assert poorer.reach <= part.reach
        # The reach against the reference alone is worked out at the part's own fit, which a reading less moves: 0.0009
        # was met with.
        assert poorer.reach_absolute <= part.reach_absolute + 2e-3
