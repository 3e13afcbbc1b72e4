"""What the answers say of a plan is what the plan does."""

from itertools import pairwise

import numpy as np
import pytest

from partscreen.lots.plan_answer import (
    LARGEST_EXACT_LOT,
    Frame,
    answer_given,
    answer_size,
    answer_two_point,
    common_remarks,
    curve,
)
from partscreen.lots.plan_more import _at, _holds_until, _lines, _sequence_sentence, answer_sequential
from partscreen.lots.readings_power import ReadingsPower
from partscreen.lots.sequential import SequentialPlan

EVEN = SequentialPlan(0.1, 0.9, producer_risk=0.1, consumer_risk=0.1, last=4)  # lines d = n/2 -+ 1/2


def test_stop_lines_are_told_part_by_part_and_at_the_end_as_the_lot_leans():
    told = [(line.parts, line.accept_at, line.refuse_at) for line in _lines(EVEN)]
    assert told == [(1, 0, 1), (2, 0, 2), (3, 1, 2), (4, 2, 3)]
    assert _holds_until(EVEN, 1) == 1
    assert _holds_until(EVEN, 2) == 3
    steep = SequentialPlan(0.02, 0.20, last=30)
    first = next(line for line in _lines(steep) if line.accept_at is not None)
    assert first.parts == steep.first_accept()
    assert _lines(steep)[0].refuse_at is None  # two bad ones cannot be among one part


def test_long_plans_tell_only_where_a_line_moves():
    plan = SequentialPlan(0.01, 0.03, last=500)
    told = _lines(plan)
    assert told[0].parts == 1
    assert told[-1].parts == 500
    assert len(told) < 60
    for before, after in pairwise(told[:-1]):
        assert (before.accept_at, before.refuse_at) != (after.accept_at, after.refuse_at)
        at = int(plan.accept_at(after.parts))
        assert after.accept_at == (at if at >= 0 else None)


def test_a_decided_sequence_says_what_to_do():
    assert _sequence_sentence(EVEN, 1.0, ("refuse", 7, 3)) == "After 7 parts, 3 of them bad: refuse the lot."
    assert "with none bad accept after 1 part, with 1 bad refuse at once" in _sequence_sentence(EVEN, 1.0, None)


def test_good_and_bad_lots_of_known_size_have_whole_numbers_of_bad_parts():
    plan = SequentialPlan(0.05, 0.3, last=20)
    good, bad = _at(plan, 20, 0.05, 0.3)
    assert good == plan.operating_in_lot(20, 1)
    assert bad == plan.operating_in_lot(20, 6)
    good, bad = _at(plan, None, 0.05, 0.3)
    assert good == tuple(float(x) for x in plan.operating(0.05))
    assert bad == tuple(float(x) for x in plan.operating(0.3))


def said(**readings):
    lot_size = readings.pop("lot_size", 50)
    return " ".join(common_remarks(Frame("v", {}, lot_size=lot_size, readings=ReadingsPower(**readings))))


def test_remarks_say_how_wrong_readings_are_taken_to_be():
    assert "taken as never wrong" in said()
    assert "never wrong" not in said(power=0.9)
    assert "reject 90 % of the bad and 0 % of the good" in said(power=0.9)
    held = said(held_if_good=0.1, held_if_bad=0.3, held_counts="against")
    assert "held are 10 % of good and 30 % of bad parts, they count against the lot" in held
    assert "do not count against the lot" in said(held_if_bad=0.3, held_counts="nothing")
    assert "No lot size given" in said(lot_size=None)
    assert "No lot size given" not in said()


def test_answers_name_their_sample_and_both_risks():
    size = answer_size(Frame("v", {}, lot_size=50))
    assert (size.question, size.sample_size, size.acceptance_number) == ("size", 22, 0)  # C(45, 22) / C(50, 22) < 5 %
    given = answer_given(Frame("v", {}, lot_size=50), 22)
    assert given.question == "given"
    assert {risk.whose for risk in given.risks} == {risk.whose for risk in size.risks}
    two = answer_two_point(Frame("v", {}, lot_size=10), 0.2, 0.3)
    assert (two.question, two.sample_size, two.acceptance_number) == ("two_point", 10, 2)


def test_points_of_a_printed_curve_are_those_of_the_plan():
    points = curve(Frame("v", {}, lot_size=10), 5, 0)
    assert [p.bad_in_lot for p in points] == list(range(len(points)))
    assert points[1].accepted == pytest.approx(0.5)
    assert points[1].share == pytest.approx(0.1)
    large = curve(Frame("v", {}), 5, 0)
    assert large[0].bad_in_lot is None
    assert large[0].accepted == 1.0
    assert large[30].accepted == pytest.approx((1 - large[30].share) ** 5)


@pytest.mark.parametrize("lot_size", [40, LARGEST_EXACT_LOT + 1, None])
def test_chances_of_testing_part_by_part_are_those_of_the_lot_at_hand(lot_size):
    # A lot of 40 is drawn from without replacement; one of thousands, or of no stated size, as from an endless one.
    told = answer_sequential(Frame("v", {}, lot_size=lot_size, readings=ReadingsPower()), 0.05, 0.30)
    plan = SequentialPlan(0.05, 0.30, last=lot_size if lot_size == 40 else None)
    rng = np.random.default_rng(6)
    for risk, wanted in zip(told.risks, ("refuse", "accept"), strict=True):
        n = 1200
        if lot_size == 40:
            bad = np.argsort(rng.random((n, 40)), axis=1) < round(risk.share * 40)
        else:
            bad = rng.random((n, plan.end)) < risk.share
        hits = sum(plan.decide(["fail" if x else "pass" for x in row])[0] == wanted for row in bad)
        assert hits / n == pytest.approx(risk.chance, abs=4 * (risk.chance * (1 - risk.chance) / n) ** 0.5)


def test_curve_of_a_lot_tested_part_by_part_goes_to_twice_the_bad_lot_and_not_beyond_the_lot():
    for lot_size, last in ((50, 20), (12, 6), (3, 3)):  # bad from 10, 3 and 1 parts on; five at least are told
        told = answer_sequential(Frame("v", {}, lot_size=lot_size), 0.02, 0.20).operating_curve
        assert [point.bad_in_lot for point in told] == list(range(last + 1))
        assert [point.share for point in told] == [bad / lot_size for bad in range(last + 1)]
        assert told[0].accepted == pytest.approx(1.0)
        assert all(a.accepted >= b.accepted - 1e-12 for a, b in pairwise(told))
