"""From which side a spot reading bounds its limit, which rows share a chance of rejection, what editions object to."""

from dataclasses import replace
from math import hypot, log

import numpy as np
import pytest

from partscreen.readings.tables import Batch
from partscreen.screening.limits.capacitance import FieldReference, capacitance_remarks
from partscreen.screening.limits.judge import REJECT_BELOW, PartReadings, judge_limits, value_at_limit
from partscreen.screening.limits.spots import RULES, SpotTable, spot_at_limit, spot_tables
from partscreen.screening.limits.values import CARRIED, DIRECT, NOT_REACHED
from partscreen.screening.observe import UNSTATED_BIAS_LN_STD
from tests.screening.bench import ROOM, Limit, TextbookDevice, batch, gain_limit, spots
from tests.screening.test_judge_limits import readings
from tests.screening.test_limit_edges import at_limit
from tests.screening.test_limit_values import Flat, observed

MAX = ("icbo", "iceo", "iebo", "ices", "icer", "icex", "c_cb", "c_be", "vbe_sat")
ALSO = {"icer": {"RBE": 100.0}, "icex": {"VBE_off": 1.5}, "v_br_cer": {"RBE": 100.0}, "ft": {"VCE": 10.0}}
# Leakage rises with voltage, breakdown with current but for a snap-back, capacitance falls with reverse bias, VBE(sat)
# rises with current; fT has its maximum somewhere (textbook knowledge, no source).
RISING = {"icbo", "iceo", "iebo", "ices", "icer", "icex", "v_br_cbo", "v_br_ces", "v_br_ebo", "vbe_sat"}
FALLING = {"v_br_ceo", "v_br_cer", "c_cb", "c_be"}


def reached(quantity, share, *, good):
    """How far a reading far inside or outside the limit reaches it, taken at `share` of its condition."""
    axis, side = RULES[quantity].axis[0], "max" if quantity in MAX else "min"
    also = ALSO.get(quantity, {})
    told = {axis: 10.0 * share, **also} | ({"IC_over_IB": 10.0} if quantity == "vbe_sat" else {})
    limit = {axis: 10.0, **also} | ({"IB": 1.0} if quantity == "vbe_sat" else {})
    value = 1e-6 if good == (side == "max") else 1.0
    return at_limit(quantity, side, 1e-3, limit, (0, value, told)).reached[0]


def test_every_quantity_with_a_rule_has_its_direction_here():
    assert set(RULES) == RISING | FALLING | {"ft"}


@pytest.mark.parametrize("quantity", sorted(RULES))
def test_a_reading_far_from_the_condition_bounds_the_limit_from_the_side_physics_says(quantity):
    loose = {"v_br_ceo", "v_br_cer"}  # from their knee the voltage falls: a low reading there alone never rejects
    for share in (0.3, 3.0):
        at_limit_more = (share < 1) == (quantity in RISING)  # the value at the limit is more than what was read
        for good in (True, False):
            # A maximum is broken by "more than this" and met by "less than this"; a minimum the other way round.
            says = at_limit_more == (good != (quantity in MAX)) and quantity != "ft"
            wanted = DIRECT if says else NOT_REACHED
            if says and not good and quantity in loose:
                wanted = CARRIED
            assert reached(quantity, share, good=good) == wanted, (share, good)


@pytest.mark.parametrize("quantity", sorted(RULES))
def test_only_leakage_is_brought_to_the_temperature_of_the_limit(quantity):
    axis, side = RULES[quantity].axis[0], "max" if quantity in MAX else "min"
    also = ALSO.get(quantity, {}) | ({"IB": 1.0} if quantity == "vbe_sat" else {})
    warm = {axis: 10.0, **also, "TC": ROOM + 4.0}
    found = at_limit(quantity, side, 1e-3, {axis: 10.0, **also}, (0, 5e-3, warm))
    leaks = quantity.startswith("i")
    assert found.value[0] == pytest.approx(5e-3 * 2 ** (-0.4 if leaks else 0.0))  # doubles every 10 K
    law = log(2) / 10
    assert found.std[0] == pytest.approx(np.sqrt(0.02**2 + (0.5 * 4 * law) ** 2 + (2 * law) ** 2) if leaks else 0.02)
    hot = at_limit(quantity, side, 1e-3, {axis: 10.0, **also}, (0, 5e-3, warm | {"TC": ROOM + 60.0}))
    assert hot.reached[0] == (NOT_REACHED if leaks else DIRECT)  # hot leakage above a cold maximum says nothing


@pytest.mark.parametrize(
    ("quantity", "axis", "name", "at", "edges"),
    [
        ("icer", "VCE", "RBE", 100.0, (95.0, 105.0)),
        ("v_br_cer", "IC", "RBE", 100.0, (95.0, 105.0)),
        ("icex", "VCE", "VBE_off", 1.5, (1.35, 1.65)),
        ("ft", "IC", "VCE", 10.0, (5.0, 15.0)),
        ("vbe_sat", "IC", "IC_over_IB", 10.0, (5.0, 15.0)),
    ],
)
def test_a_further_condition_exactly_at_its_stated_share_still_counts(quantity, axis, name, at, edges):
    side = "max" if quantity in MAX else "min"
    limit = {axis: 10.0, name: at} | ({"IB": 1.0} if quantity == "vbe_sat" else {})
    value = 1e-6 if side == "max" else 1.0
    for edge in edges:
        for nudge, wanted in ((1.0, DIRECT), (1.0 + np.sign(edge - at) * 1e-6, NOT_REACHED)):
            found = at_limit(quantity, side, 1e-3, limit, (0, value, {axis: 10.0, name: edge * nudge}))
            assert found.reached[0] == wanted


def test_capacitance_without_its_bias_counts_as_read_at_none_with_broad_uncertainty():
    for quantity, axis in (("c_cb", "VCB"), ("c_be", "VEB")):
        found = at_limit(quantity, "max", 2e-9, {axis: 0.0}, (0, 1e-9, {}))
        assert found.std[0] == pytest.approx(hypot(0.02, UNSTATED_BIAS_LN_STD))
        told = at_limit(quantity, "max", 2e-9, {axis: 0.0}, (0, 1e-9, {axis: 0.0}))
        assert told.std[0] == pytest.approx(0.02)
    assert at_limit("icbo", "max", 1e-3, {"VCB": 10.0}, (0, 1e-6, {})).reached[0] == NOT_REACHED


def test_a_condition_may_be_written_without_its_name_and_with_either_sign():
    for told in ({"VCB": -10.0}, {"V": 10.0}, {"V": -10.0}):
        assert at_limit("icbo", "max", 1e-3, {"VCB": 10.0}, (0, 1e-6, told)).reached[0] == DIRECT
    for told in ({"IE": 0.1}, {"IC": 0.1}, {"I": -0.1}, {"limit": 0.1}):
        for quantity in ("v_br_cbo", "v_br_ebo"):
            found = at_limit(quantity, "min", 100.0, {"IC": 0.1}, (0, 150.0, told))
            assert found.reached[0] == DIRECT
    assert at_limit("icbo", "max", 1e-3, {"VCB": 10.0}, (0, 1e-6, {"I": 10.0})).reached[0] == NOT_REACHED
    assert at_limit("v_br_ceo", "min", 100.0, {"IC": 0.1}, (0, 150.0, {"V": 0.1})).reached[0] == NOT_REACHED


def test_a_reading_of_nothing_at_all_is_far_below_every_maximum():
    found = at_limit("icbo", "max", 1e-6, {"VCB": 10.0}, (0, 0.0, {"VCB": 10.0}))
    assert found.reached[0] == DIRECT
    assert found.value[0] < 1e-290


def test_a_part_is_judged_by_the_reading_that_speaks_most_against_it_among_those_that_speak():
    at = {"VCB": 200.0}
    rows = [
        (0, 900e-6, {"VCB": 300.0}),  # above the limit's voltage: too much there says nothing
        (0, 30e-6, at), (0, 60e-6, at), (1, 900e-6, {"VCB": 100.0}), (1, 5e-6, at),
    ]  # fmt: skip
    found = at_limit("icbo", "max", 100e-6, at, *rows, n_parts=2)
    assert found.value == pytest.approx([60e-6, 900e-6])
    assert found.reached.tolist() == [DIRECT, DIRECT]


def test_where_no_session_tells_its_temperature_two_kelvin_are_taken():
    limit = Limit("ICBO", "max", 1e-4, {"VCB": 200.0}, "icbo", "A")
    made = batch(1, spot_table=spots([(0, "icbo", 5e-6, {"VCB": 200.0})]))
    one = replace(observed(), session_temp_std=np.zeros(0))
    found = value_at_limit(limit, PartReadings(one, spot_tables(made, np.arange(1), None), Flat()))
    assert found.std[0] == pytest.approx(hypot(0.02, log(2) / 10 * 2.0))
    table: dict[str, SpotTable] = spot_tables(made, np.arange(1), None)
    plain = spot_at_limit(table, "icbo", "max", 1e-4, {"VCB": 200.0}, ROOM, 1)
    assert plain.std[0] == pytest.approx(found.std[0])


def test_temperature_of_a_spot_reading_is_its_own_else_that_of_the_bench_else_of_a_room():
    rows = [(0, "icbo", 1e-6, {"VCB": 1.0}), (1, "icbo", 1e-6, {"VCB": 1.0, "TC": 350.0})]
    made: Batch = batch(2, spot_table=spots(rows))
    assert spot_tables(made, np.arange(2), 310.0)["icbo"].temperature.tolist() == [310.0, 350.0]
    assert spot_tables(made, np.arange(2), None)["icbo"].temperature.tolist() == [298.15, 350.0]
    assert spot_tables(batch(2), np.arange(2), None) == {}


DEVICE = TextbookDevice(60, 2.0)


def edge(sigmas, ic=0.7, **more):
    """A minimum that the part misses by so many standard uncertainties."""
    base = judge_limits([gain_limit("min", 60, ic)], readings(DEVICE))
    std = base.std[0, 0] / base.value[0, 0]
    return gain_limit("min", base.value[0, 0] * np.exp(sigmas * std), ic, **more)


# Chance at 3.19 standard uncertainties: 0.00071, less than 0.001 and more than a half of it.
def test_two_conditions_reached_share_the_chance_of_a_false_rejection_and_two_rows_of_one_do_not():
    assert REJECT_BELOW == 0.001
    one = edge(3.19)
    assert judge_limits([one], readings(DEVICE)).nonconforming[0]
    for other, alone in (
        (gain_limit("max", 500.0, 0.7), True),  # the other side of the same row
        (gain_limit("min", 5.0, 0.7, editions=("another",)), False),  # met in another edition: objects to it
        (gain_limit("max", 500.0, 0.5), False),  # another condition
        (gain_limit("max", 500.0, 0.7, 6.0), False),
        (gain_limit("max", 500.0, 0.7, temperature=ROOM + 10), False),
        (Limit("VBE", "max", 5.0, {"IC": 0.7, "VCE": 5.0}, "vbe"), False),
        (gain_limit("max", 500.0, 4.0), True),  # carried there: gives no chance of a rejection
        (gain_limit("max", 500.0, 40.0), True),  # not reached
    ):
        assert judge_limits([one, other], readings(DEVICE)).nonconforming[0] == alone
    assert judge_limits([edge(3.4), gain_limit("max", 500.0, 0.5)], readings(DEVICE)).nonconforming[0]


def test_a_leakage_that_bounds_the_limit_of_one_edition_only_is_a_chance_too():
    # 1 uA at half the voltage: more than edition B's maximum already, and nothing about edition A's.
    rows = [(0, "icbo", 1e-6, {"VCB": 100.0})]
    strict = Limit("ICBO", "max", 1e-7, {"VCB": 200.0}, "icbo", editions=("sheet",))
    wide = replace(strict, value=1e-4)
    part = readings(DEVICE, spot_rows=rows)
    told = judge_limits([edge(3.19), strict, wide], part)
    assert told.reached[:, 0].tolist() == [DIRECT, DIRECT, NOT_REACHED]
    assert not told.broken[0, 0]
    assert told.broken[1, 0]
    assert judge_limits([edge(3.19), wide], part).broken[0, 0]


def gains(a, *others):
    """Edition A's minimum of 90, broken by far, and rows of edition B; whether A rejects, and whether B objects."""
    rows = [gain_limit("min", 90, 0.7, editions=("A",), **a), *(replace(row, editions=("B",)) for row in others)]
    told = judge_limits(rows, readings(DEVICE))
    return bool(told.nonconforming[0]), bool(told.some_editions[0])


def test_another_edition_objects_where_it_limits_the_quantity_and_is_not_broken():
    met, unread, carried = (gain_limit("min", 5.0, ic) for ic in (0.7, 40.0, 4.0))
    assert gains({}) == (True, False)
    for row in (met, unread, carried):
        assert gains({}, row) == (False, True)
    assert gains({}, gain_limit("min", 90, 0.7)) == (True, False)  # B is broken as well
    assert gains({}, gain_limit("min", 90, 0.7), unread) == (True, False)
    # Rows under another symbol of the same quantity are rows of it.
    assert gains({}, replace(met, symbol="hFE2")) == (False, True)
    assert gains({}, Limit("VBE", "max", 5.0, {"IC": 0.7, "VCE": 5.0}, "vbe")) == (True, False)
    assert gains({}, Limit("ton", "max", 1e-6, {}, None)) == (True, False)


@pytest.mark.parametrize("weak", [{"basis": "memory"}, {"doubt": "VCE not printed"}])
def test_a_recalled_or_doubtful_row_of_another_edition_objects_only_where_it_is_read_and_met(weak):
    assert gains({}, gain_limit("min", 5.0, 0.7, **weak)) == (False, True)
    for silent in (gain_limit("min", 5.0, 40.0, **weak), gain_limit("min", 5.0, 4.0, **weak)):
        assert gains({}, silent) == (True, False)
    assert gains({}, gain_limit("min", 90, 0.7, **weak)) == (True, False)
    assert gains(weak) == (False, False)


def test_a_row_without_an_edition_is_a_row_of_every_edition():
    plain = gain_limit("min", 90, 0.7, editions=())
    told = judge_limits([plain, gain_limit("min", 5.0, 0.7, editions=("B",))], readings(DEVICE))
    assert told.nonconforming[0]  # broken in edition B too
    assert judge_limits([plain], readings(DEVICE)).nonconforming[0]
    kept = judge_limits([plain, gain_limit("min", 5.0, 0.7, editions=("B",))], readings(DEVICE), editions=["A"])
    assert len(kept.limits) == 1
    assert judge_limits([gain_limit("min", 5.0, 0.7, editions=("A", "B"))], readings(DEVICE), editions=["B"]).limits


def test_editions_object_part_by_part():
    device = TextbookDevice([60, 60, 200], [2.0] * 3)
    rows = [gain_limit("min", 90, 0.7, editions=("A",)), gain_limit("min", 30, 0.7, editions=("B",))]
    low = readings(device, 3)
    told = judge_limits(rows, low)
    assert told.nonconforming.tolist() == [False, False, False]
    assert told.some_editions.tolist() == [True, True, False]
    assert told.unconfirmed.tolist() == [[False] * 3, [False] * 3]
    assert told.firm.tolist() == [True, True]
    alone = judge_limits(rows[:1], low)
    assert alone.nonconforming.tolist() == [True, True, False]
    assert alone.broken.tolist() == [[True, True, False]]


def test_one_edition_of_three_that_is_met_is_enough_to_object_and_none_of_three_is_not():
    broken = [gain_limit("min", 90, 0.7, editions=(name,)) for name in "AB"]
    met, third = gain_limit("min", 5.0, 0.7, editions=("C",)), gain_limit("min", 90, 0.7, editions=("C",))
    told = judge_limits([*broken, met], readings(DEVICE))
    assert (told.nonconforming[0], told.some_editions[0]) == (False, True)
    told = judge_limits([*broken, third], readings(DEVICE))
    assert (told.nonconforming[0], told.some_editions[0]) == (True, False)
    # A row shared by two editions speaks for both.
    shared = gain_limit("min", 5.0, 0.7, editions=("B", "C"))
    assert judge_limits([broken[0], shared], readings(DEVICE)).some_editions[0]


def test_spot_limits_of_different_values_are_each_judged_by_the_reading_that_bears_on_it():
    rows = [(0, "icbo", 1e-5, {"VCB": 100.0})]
    made = readings(DEVICE, spot_rows=rows)
    limits = [Limit("ICBO", "max", value, {"VCB": 200.0}, "icbo") for value in (1e-6, 1e-4, 1e-6)]
    told = judge_limits(limits, made)
    assert told.reached[:, 0].tolist() == [DIRECT, NOT_REACHED, DIRECT]
    assert told.decision[:, 0].tolist() == [-1, 0, -1]


@pytest.mark.parametrize("risk", [0.02, 0.3])
def test_decisions_follow_the_risk_that_is_accepted(risk):
    from scipy.stats import norm

    base = judge_limits([gain_limit("min", 60, 0.7)], readings(DEVICE))
    value, std = base.value[0, 0], base.std[0, 0] / base.value[0, 0]
    for sigmas in (-3.0, -1.0, -0.2, 0.2, 1.0, 3.0):
        for side, sign in (("min", 1.0), ("max", -1.0)):
            limit = gain_limit(side, value * np.exp(sigmas * std), 0.7)
            told = judge_limits([limit], readings(DEVICE), risk=risk)
            chance = norm.cdf(-sign * sigmas)
            assert told.chance[0, 0] == pytest.approx(chance, rel=1e-6)
            assert told.decision[0, 0] == (1 if chance >= 1 - risk else -1 if chance <= risk else 0)


class Field:
    def __init__(self, value, maker="First", process="", quantity="C_CB"):
        self.quantity, self.value, self.unit, self.maker, self.process = quantity, value, "F", maker, process
        self.author_judgement, self.circumstances = "as marked", ""


def capacitances(*, cb=(), be=()):
    rows = [(p, "c_cb", 3e-10, {"VCB": 10.0}) for p in cb] + [(p, "c_be", 9e-9, {"VEB": 0.0}) for p in be]
    return spot_tables(batch(4, spot_table=spots(rows)), np.arange(4), None)


def said(tables, references=(), judged=(), maker="First", process=None):
    held = {q: np.isin(np.arange(4), judged) for q in ("c_cb", "c_be")}
    return capacitance_remarks(tables, held, [FieldReference(f, "a source") for f in references], maker, process)


def test_a_capacitance_is_told_beside_every_published_reading_of_its_maker():
    told = said(capacitances(cb=(0, 2)), [Field(2e-10), Field(4e-10), Field(1e-10, maker="second")])
    assert sorted(told) == [0, 2]
    assert [[r.code for r in reasons] for reasons in told.values()] == [["CAPACITANCE_REFERENCE"] * 2] * 2
    assert told[2][1].figures == {"value": 3e-10, "reference": 4e-10, "ratio": pytest.approx(0.75)}
    assert "C_CB is 300 pF; a published reading of First is 200 pF" in told[2][0].sentence
    # Also where a printed limit judged it: the published reading stands beside it.
    assert [r.code for r in said(capacitances(cb=(0,)), [Field(2e-10)], judged=(0,))[0]] == ["CAPACITANCE_REFERENCE"]
    named = said(capacitances(cb=(0,)), [Field(2e-10, process="planar")], process="Planar")[0][0]
    assert "First planar" in named.sentence


def test_a_capacitance_nothing_is_published_of_is_told_once_a_quantity_unless_a_limit_judged_it():
    told = said(capacitances(cb=(0, 0, 1), be=(0, 3)))
    assert {part: [r.code for r in reasons] for part, reasons in told.items()} == {
        0: ["CAPACITANCE_NO_REFERENCE"], 1: ["CAPACITANCE_NO_REFERENCE"], 3: ["CAPACITANCE_NO_REFERENCE"],
    }  # fmt: skip
    both, one = told[0][0].sentence, told[1][0].sentence
    assert both != one
    assert told[1][0] != told[3][0]
    assert sorted(said(capacitances(cb=(0, 1)), judged=(1,))) == [0]
    assert said({}) == {}
    mixed = said(capacitances(cb=(0,), be=(0,)), [Field(2e-10)])[0]
    assert [r.code for r in mixed] == ["CAPACITANCE_REFERENCE", "CAPACITANCE_NO_REFERENCE"]
