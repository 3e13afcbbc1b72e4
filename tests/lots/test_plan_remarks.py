"""What every answer tells besides its plan: risks, remarks, past lots, intervals after the test, stop lines, costs."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.stats import beta, binom, hypergeom

from partscreen.lots.cost_outcomes import Prices, Reading
from partscreen.lots.plan_answer import (
    FoundMoreThanTested,
    Frame,
    answer_given,
    answer_size,
    answer_table,
    answer_two_point,
    consumer_risk,
    curve,
    follow,
    producer_risk,
    share_after,
)
from partscreen.lots.plan_more import _lines, answer_cost, answer_sequential
from partscreen.lots.plan_words import percent
from partscreen.lots.readings_power import ReadingsPower
from partscreen.lots.sequential import SequentialPlan
from partscreen.lots.stopping import average_read_in_lot, average_read_until_first
from partscreen.lots.switching import PastLot
from partscreen.lots.zero_acceptance import OutOfReach

IN_50, LARGE = Frame("v", {"asked": 1}, lot_size=50), Frame("v", {})
ALARMS = ReadingsPower(power=0.9, false_alarm=0.02)


def remarked(result, words):
    return [remark for remark in result.remarks if words in remark]


@pytest.mark.parametrize("frame", [IN_50, LARGE])
def test_risks_of_a_sample_are_those_of_the_lot_that_was_asked_about(frame):
    size = answer_size(frame, 0.13, 1)
    consumer, producer = size.risks
    assert (consumer.whose, consumer.share, consumer.asked) == ("consumer", 0.13, pytest.approx(0.05))
    assert (producer.whose, producer.share, producer.asked) == ("producer", 0.0, None)
    n = size.sample_size
    assert (size.lot_size, size.version, size.settings) == (frame.lot_size, "v", frame.settings)
    if frame.lot_size is None:
        assert (consumer.bad_in_lot, producer.bad_in_lot) == (None, None)
        assert consumer.chance == pytest.approx(binom.cdf(1, n, 0.13))
    else:
        assert (consumer.bad_in_lot, producer.bad_in_lot) == (7, 0)  # 6.5 parts: seven
        assert consumer.chance == pytest.approx(hypergeom.cdf(1, 50, 7, n))
    assert producer.chance == 0.0
    given = answer_given(frame, n, 1, 0.13)
    assert given.risks[0].chance == consumer.chance
    assert given.risks[0].asked is None
    two = answer_two_point(frame, 0.05, 0.31, 0.07, 0.12)
    assert [(r.whose, r.share, r.asked) for r in two.risks] == [("consumer", 0.31, 0.12), ("producer", 0.05, 0.07)]
    assert all(r.chance <= r.asked for r in two.risks)
    good, bad = percent(two.risks[1].chance), percent(two.risks[0].chance)
    assert f"with 5 % bad is refused with a chance of {good}, one with 31 % bad accepted with a chance of {bad}." in (
        two.sentence
    )
    if frame.lot_size is not None:
        assert [r.bad_in_lot for r in two.risks] == [16, 2]  # up and down to whole parts


def test_producers_risk_is_what_false_alarms_do_to_a_sound_lot():
    assert producer_risk(LARGE, 20, 0, 0.1).chance == pytest.approx(1 - 0.9**20)
    assert producer_risk(IN_50, 20, 0, 0.1).chance == pytest.approx(1 - hypergeom.cdf(0, 50, 5, 20))
    weak = Frame("v", {}, lot_size=50, readings=ALARMS)
    assert producer_risk(weak, 20, 0, 0.0).chance == pytest.approx(1 - 0.98**20)
    assert consumer_risk(weak, 50, 0, 0.02, None).chance == pytest.approx(0.1 * 0.98**49)


@pytest.mark.parametrize(("n", "told"), [(11, False), (12, True)])
def test_a_sound_lot_refused_in_more_than_a_fifth_of_cases_is_remarked(n, told):
    # Two good parts in a hundred called bad: 1 - 0.98^11 is 19.9 %, 1 - 0.98^12 is 21.5 %.
    result = answer_given(Frame("v", {}, lot_size=500, readings=ALARMS), n)
    found = remarked(result, "of lots without any bad part would be refused")
    assert len(found) == told
    if told:
        assert found[0].startswith("21.5 % of lots")
        assert result.remarks[0] == found[0]


def test_no_price_of_readings_is_told_of_a_good_lot_that_has_bad_parts():
    # The producer's lot of two points has bad parts: its refusals are not all false alarms.
    result = answer_two_point(Frame("v", {}, readings=ReadingsPower(power=0.95)), 0.01, 0.5, 0.9, 0.1)
    assert not remarked(result, "without any bad part")


@pytest.mark.parametrize(
    ("found", "rows", "ending"),
    [
        (None, [0, 1, 2], None),
        (2, [2], " With 2 bad the lot is accepted."),
        (3, [3], " With 3 bad the lot is refused."),
    ],
)
def test_a_share_is_told_for_each_number_that_may_be_found_or_for_the_one_that_was(found, rows, ending):
    frame = Frame("v", {}, lot_size=60, found=found)
    result = answer_given(frame, 20, 2)
    assert [row.found for row in result.after] == rows
    assert {row.tested for row in result.after} == {20}
    assert result.after == [share_after(frame, k, 20) for k in rows]
    assert result.sentence.endswith(ending) if ending else "the lot is" not in result.sentence


def test_of_many_allowed_parts_four_rows_are_told():
    assert [row.found for row in answer_given(LARGE, 90, 3).after] == [0, 1, 2, 3]
    assert [row.found for row in answer_given(LARGE, 90, 9).after] == [0, 1, 2, 3]
    assert [row.found for row in answer_given(LARGE, 90, 0).after] == [0]


@pytest.mark.parametrize("confidence", [0.95, 0.8])
def test_intervals_after_a_test_are_those_of_their_distributions(confidence):
    frame = Frame("v", {}, lot_size=200, confidence=confidence, prior_share=0.2)
    row, tail = share_after(frame, 3, 40), (1 - confidence) / 2
    assert (row.found, row.tested, row.confidence, row.prior_share) == (3, 40, confidence, 0.2)
    # C. J. Clopper, E. S. Pearson, Biometrika 26, 1934: quantiles of two beta distributions.
    assert row.exact.low == pytest.approx(beta.ppf(tail, 3, 38))
    assert row.exact.high == pytest.approx(beta.ppf(1 - tail, 4, 37))
    assert row.upper == pytest.approx(beta.ppf(confidence, 4, 37))
    assert row.exact.low < row.score.low < 3 / 40 < row.score.high
    assert row.believed.low < row.believed.value < row.believed.high
    most = row.most_bad_in_lot
    assert hypergeom.cdf(3, 200, most, 40) > 1 - confidence >= hypergeom.cdf(3, 200, most + 1, 40)


def test_whole_parts_of_a_lot_are_told_where_readings_are_never_wrong_only():
    assert share_after(IN_50, 0, 10).most_bad_in_lot is not None
    assert share_after(IN_50, 10, 10).most_bad_in_lot == 50
    assert share_after(LARGE, 0, 10).most_bad_in_lot is None
    assert share_after(Frame("v", {}, lot_size=50, readings=ALARMS), 0, 10).most_bad_in_lot is None
    for found in (-1, 11):
        with pytest.raises(FoundMoreThanTested, match=f"{found} found, but the sample has 10"):
            share_after(IN_50, found, 10)


def test_stopping_at_the_first_suspect_tells_the_parts_read_on_average():
    assert {p.average_parts for p in curve(IN_50, 10, 0)} == {None}
    stop = Frame("v", {}, lot_size=50, readings=ALARMS, stop_at_first=True)
    for point in curve(stop, 10, 0)[:4]:
        assert point.average_parts == pytest.approx(average_read_in_lot(50, 10, point.bad_in_lot, ALARMS))
    for lot_size in (2001, None):
        large = Frame("v", {}, lot_size=lot_size, readings=ALARMS, stop_at_first=True)
        for point in curve(large, 10, 0)[:4]:
            assert point.average_parts == pytest.approx(float(average_read_until_first(10, point.share, ALARMS)))
    exact = curve(Frame("v", {}, lot_size=2000, stop_at_first=True), 10, 0)[5]
    assert exact.average_parts == pytest.approx(average_read_in_lot(2000, 10, exact.bad_in_lot))


def bag(*found, lot_size=1000):
    return [PastLot(lot_size, k, f"lot {i}") for i, k in enumerate(found, 1)]


def test_a_table_answer_tells_its_entry_and_both_risks_at_the_aql():
    result = answer_table(Frame("v", {}, lot_size=1000), 1.0)
    assert (result.question, result.sample_size, result.acceptance_number) == ("table", 80, 2)
    assert (result.table.letter, result.table.refuse_from, result.table.whole_lot) == ("J", 3, False)
    assert [(r.whose, r.share) for r in result.risks] == [("producer", 0.01), ("consumer", 0.1)]
    assert result.risks[0].chance == pytest.approx(1 - hypergeom.cdf(2, 1000, 10, 80))
    assert (result.history, result.next_state) == ([], None)
    reduced = answer_table(Frame("v", {}, lot_size=1000), 1.0, severity="reduced")
    assert (reduced.sample_size, reduced.acceptance_number, reduced.table.refuse_from) == (32, 1, 3)
    # In the gap of a reduced plan the lot is accepted, so the risks are those of two bad parts.
    assert reduced.risks[0].chance == pytest.approx(1 - hypergeom.cdf(2, 1000, 10, 32))
    with pytest.raises(ValueError, match="the tables need the lot size"):
        answer_table(LARGE, 1.0)


@pytest.mark.parametrize(
    ("lot_size", "options", "words"),
    [
        (1000, {}, set()),
        (40, {}, {"lead from code letter D to E"}),
        (10, {}, {"lead from code letter B to E", "as many parts as the lot has"}),
        (1000, {"severity": "reduced"}, {"Reduced plans are for steady makers"}),
        (1000, {"past": bag(0)}, {"Of the switching rules"}),
    ],
)
def test_remarks_on_a_table_entry_are_those_that_apply(lot_size, options, words):
    every = (
        "lead from code letter", "as many parts as the lot has", "Reduced plans", "Of the switching rules",
        "Not counted", "past lots came after",
    )  # fmt: skip
    result = answer_table(Frame("v", {}, lot_size=lot_size), 1.0, **options)
    for word in words:
        assert len(remarked(result, word)) == 1
    assert sum(bool(remarked(result, word)) for word in every) == len(words)
    basis = "memory" if "severity" in options or lot_size == 10 else "compared with a published copy"
    assert len(remarked(result, basis if basis != "memory" else "is memory")) == 1


def test_past_lots_set_the_severity_and_those_after_a_stop_are_counted_as_left_out():
    frame = Frame("v", {}, lot_size=1000)
    tight = answer_table(frame, 1.0, past=bag(3, 3))
    assert (tight.table.severity, tight.next_state, tight.acceptance_number) == ("tightened", "tightened", 1)
    assert [(s.lot, s.found, s.accepted, s.severity, s.sample_size) for s in tight.history] == [
        ("lot 1", 3, False, "normal", 80), ("lot 2", 3, False, "normal", 80),
    ]  # fmt: skip
    assert [s.lot_size for s in tight.history] == [1000, 1000]
    assert not tight.sentence.startswith("Take no lot")
    stopped = answer_table(frame, 1.0, past=bag(3, 3, 2, 2, 2, 2, 2, 0, 0))
    assert stopped.next_state == "stopped"
    assert stopped.table.severity == "tightened"
    assert stopped.sentence.startswith("Take no lot from this supplier until it has mended the cause; afterwards: Test")
    assert len(stopped.history) == 7
    (left,) = remarked(stopped, "came after the supply was to be stopped")
    assert left.startswith("2 of the past lots")
    whole = answer_table(frame, 1.0, past=bag(3, 3, 2, 2, 2, 2, 2))
    assert not remarked(whole, "came after the supply")


def readings(name, *against, unread=0, lot_size=1000):
    return PastLot(lot_size, 0, name, tuple(bool(a) for a in against) + (False,) * unread)


def test_of_a_lot_read_without_a_plan_the_first_parts_are_the_sample():
    # Three bad among the first 80 refuse; the same three later on were not in the sample.
    early = readings("early", 1, 1, 1, unread=200)
    late = PastLot(1000, 0, "late", (False,) * 80 + (True,) * 3)
    short = readings("short", 1, 1, 1, unread=76)  # 79 parts, 80 are asked
    just = readings("just", 1, 0, 0, unread=77)
    history = follow([early, late, short, just], 1.0, "II", "normal", False)
    assert [(s.lot.name, s.lot.found, s.accepted) for s in history.steps] == [
        ("early", 3, False), ("late", 0, True), ("just", 1, True),
    ]  # fmt: skip
    assert history.too_few == (("short", 79, 80),)
    assert history.state == "normal"
    told = answer_table(Frame("v", {}, lot_size=1000), 1.0, past=[early, late, short, just])
    assert remarked(told, "fewer parts were read than their plan asks: short (79 of 80).")
    assert not remarked(told, "came after the supply")
    mixed = follow([*bag(3), early], 1.0, "II", "normal", False)  # counted ones and read ones in one walk
    assert (len(mixed.steps), mixed.state) == (2, "tightened")


def test_good_steady_lots_are_followed_to_reduced_only_where_that_is_allowed():
    past = bag(*[0] * 10)
    assert answer_table(Frame("v", {}, lot_size=1000), 1.0, past=past).table.severity == "normal"
    result = answer_table(Frame("v", {}, lot_size=1000), 1.0, past=past, reduced=True)
    assert result.table.severity == result.next_state == "reduced"
    begun = answer_table(Frame("v", {}, lot_size=1000), 1.0, past=bag(0), severity="tightened")
    assert begun.history[0].severity == "tightened"


def test_short_plans_list_every_part_and_long_ones_where_a_line_moves():
    short, long = _lines(SequentialPlan(0.02, 0.20, last=60)), _lines(SequentialPlan(0.02, 0.20, last=61))
    assert [line.parts for line in short] == list(range(1, 61))
    assert len(long) < 30
    assert (long[0].parts, long[-1].parts) == (1, 61)
    told = {line.parts: line for line in short}
    for line in long[:-1]:
        assert line.parts == 60 or line == told[line.parts]  # at its end a plan decides
    for before, after in pairwise(long[:-1]):
        assert (before.accept_at, before.refuse_at) != (after.accept_at, after.refuse_at)
    # Where a line moves with every part all are told, however long the plan.
    steep = SequentialPlan(0.1, 0.9, producer_risk=0.1, consumer_risk=0.1, last=80)
    assert [line.parts for line in _lines(steep)] == list(range(1, 81))


def test_a_sequence_tells_its_lines_averages_and_the_weight_of_what_was_read():
    frame = Frame("v", {}, lot_size=60, readings=ALARMS)
    plan = SequentialPlan(0.02, 0.2, last=60, readings=ALARMS)
    told = answer_sequential(frame, 0.02, 0.2)
    of = told.sequence
    assert (of.good, of.bad, of.apparent_good, of.apparent_bad) == (0.02, 0.2, *plan.apparent)
    assert (of.slope, of.h0, of.h1, of.last) == (plan.slope, plan.h0, plan.h1, 60)
    assert (of.first_accept, of.first_refuse) == (plan.first_accept(), plan.first_refuse())
    assert (of.average_good, of.average_bad) == (plan.operating_in_lot(60, 1)[1], plan.operating_in_lot(60, 12)[1])
    assert (of.decision, of.parts_read, of.against, of.log_ratio) == (None, None, None, None)
    assert [r.bad_in_lot for r in told.risks] == [1, 12]
    assert [r.asked for r in told.risks] == [0.05, 0.10]
    outcomes = ["fail", "pass", "fail", "fail", "fail", "pass"]
    decided = answer_sequential(frame, 0.02, 0.2, so_far=outcomes).sequence
    assert (decided.decision, decided.parts_read, decided.against) == plan.decide(outcomes)
    counted = outcomes[: decided.parts_read]
    assert decided.log_ratio == pytest.approx(sum(plan.log_ratio(o) for o in counted))
    assert decided.parts_read < len(outcomes)


def test_good_and_bad_shares_that_are_one_number_of_parts_are_out_of_reach():
    with pytest.raises(OutOfReach, match="in 10 parts 20 % and 20 % are the same number of bad parts"):
        answer_sequential(Frame("v", {}, lot_size=10), 0.2, 0.2 + 1e-12)
    assert answer_sequential(Frame("v", {}, lot_size=10), 0.2, 0.3).sample_size == 10


def test_a_plan_that_ends_before_its_risks_are_kept_says_which_are_larger():
    seen = set()
    for lot_size, good, bad in ((12, 0.1, 0.25), (10, 0.1, 0.2), (20, 0.01, 0.10), (25, 0.04, 0.09), (30, 0.1, 0.2)):
        told = answer_sequential(Frame("v", {}, lot_size=lot_size, readings=ALARMS), good, bad)
        # A. Wald, Sequential Analysis (1947): his lines hold a risk within itself over one minus the other risk.
        over = [r.whose for r, other in zip(told.risks, (0.10, 0.05), strict=True) if r.chance > r.asked / (1 - other)]
        found = remarked(told, "ends too early to keep what was asked")
        assert bool(found) == bool(over)
        assert [whose for whose in ("producer", "consumer") if found and f"the {whose}'s risk is " in found[0]] == over
        seen.add(tuple(over))
    assert len(seen) > 1
    assert any(seen)
    fair = answer_sequential(Frame("v", {}, lot_size=1500), 0.02, 0.20)
    assert not remarked(fair, "ends too early")
    assert remarked(fair, "taken for what it then is likelier")


@pytest.mark.parametrize(("lot_size", "large"), [(2000, False), (2001, True), (None, False)])
def test_a_lot_too_large_to_be_worked_out_exactly_is_said_to_be_taken_as_endless(lot_size, large):
    told = answer_sequential(Frame("v", {}, lot_size=lot_size), 0.05, 0.30)
    assert bool(remarked(told, "In a lot of this size")) == large
    assert all((point.bad_in_lot is None) == (large or lot_size is None) for point in told.operating_curve)
    if large or lot_size is None:
        assert len(told.operating_curve) == 61
        assert [p.share for p in told.operating_curve] == pytest.approx(np.linspace(0.0, 0.6, 61))
        plan = SequentialPlan(0.05, 0.30)
        chance, average = plan.operating([point.share for point in told.operating_curve])
        assert [p.accepted for p in told.operating_curve] == pytest.approx(list(chance))
        assert [p.average_parts for p in told.operating_curve] == pytest.approx(list(average))
        assert [r.bad_in_lot for r in told.risks] == ([None, None] if lot_size is None else [100, 601])


def test_a_plan_that_cannot_accept_before_its_end_says_so_with_the_end():
    tight = answer_sequential(Frame("v", {}, lot_size=20), 0.01, 0.10)
    assert SequentialPlan(0.01, 0.10, last=20).first_accept() > 20
    assert "with none bad accept after 20 parts" in tight.sentence
    roomy = answer_sequential(Frame("v", {}, lot_size=200), 0.01, 0.10)
    first = SequentialPlan(0.01, 0.10, last=200).first_accept()
    assert first < 200
    assert f"with none bad accept after {first} parts" in roomy.sentence


PRICES = Prices(price=4.0, minute_value=0.5, harm=60.0, refund=0.3, return_cost=10.0)


def test_a_plan_of_least_cost_tells_every_other_way_with_its_cost():
    frame = Frame("v", {}, lot_size=30, readings=ALARMS)
    told = answer_cost(frame, PRICES, Reading(ALARMS, 1.5), Reading(ReadingsPower(power=0.98), 8.0, destroys=True))
    assert [c.expected_cost for c in told.costs] == sorted(c.expected_cost for c in told.costs)
    assert {c.kind for c in told.costs} == {"none", "all", "sample", "sample_destroyed"}
    best = told.costs[0]
    assert told.sample_size == best.sample_size
    for choice in told.costs:
        assert choice.chance_use + choice.chance_read_all + choice.chance_send_back == pytest.approx(1.0)
        assert choice.sentence.endswith(".")
        if choice.kind in ("none", "all") and choice is not best:
            assert {"none": "if none is tested", "all": "if all are"}[choice.kind] in told.sentence
    assert told.sentence.startswith(best.sentence[:-1])
    assert remarked(told, "Before testing 10 % bad are expected on average")
    with pytest.raises(ValueError, match="needs the lot size"):
        answer_cost(LARGE, PRICES, Reading(ALARMS, 1.5))


@pytest.mark.parametrize(
    ("held", "minutes", "words"),
    [(0.0, None, None), (0.0, 4.0, None), (0.1, None, "Held parts are not fitted."),
     (0.1, 4.0, "Held parts are settled in 4 min each.")],
)  # fmt: skip
def test_what_becomes_of_held_parts_is_told_where_there_are_any(held, minutes, words):
    for good, bad in ((held, 0.0), (0.0, held)):
        weak = ReadingsPower(power=0.9, held_if_good=good, held_if_bad=bad)
        told = answer_cost(Frame("v", {}, lot_size=20, readings=weak), PRICES, Reading(weak, 1.5, held_minutes=minutes))
        assert remarked(told, "Held parts") == ([] if words is None else [words])


def test_the_curve_of_a_plan_of_least_cost_is_the_chance_that_the_lot_is_used():
    told = answer_cost(Frame("v", {}, lot_size=30), PRICES, Reading(minutes=1.5))
    best = told.costs[0]
    assert best.kind == "sample"
    assert told.acceptance_number == best.use_up_to
    for point in told.operating_curve:
        assert point.bad_in_lot == pytest.approx(30 * point.share)
        assert point.accepted == pytest.approx(hypergeom.cdf(best.use_up_to, 30, point.bad_in_lot, best.sample_size))
    cheap = answer_cost(Frame("v", {}, lot_size=30), Prices(4.0, 0.5, 0.1), Reading(minutes=1.5))
    assert (cheap.costs[0].kind, cheap.acceptance_number, cheap.operating_curve) == ("none", None, [])
    stop = answer_cost(Frame("v", {}, lot_size=30, stop_at_first=True), PRICES, Reading(minutes=1.5))
    first = next(c for c in stop.costs if c.kind == "stop_at_first")
    assert (first.use_up_to, first.read_all_up_to, first.chance_read_all) == (0, 0, 0.0)
    assert first.chance_use + first.chance_send_back == pytest.approx(1.0)
    assert 0.5 < first.chance_use < 1.0


def test_averages_and_shares_of_a_curve_rise_from_no_bad_part():
    points = answer_sequential(Frame("v", {}, lot_size=400), 0.02, 0.2).operating_curve
    steps = np.diff([p.bad_in_lot for p in points])
    assert points[0].bad_in_lot == 0
    assert set(steps) == {3}  # 160 parts in at most 60 steps
    assert points[-1].bad_in_lot <= 160
    assert [p.share for p in points] == pytest.approx([p.bad_in_lot / 400 for p in points])
