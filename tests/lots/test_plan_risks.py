"""Stated risks are those that simulated lots meet, with readings that miss, cry wolf and hold."""

import numpy as np
import pytest

from partscreen.lots.attribute_plans import table_plan
from partscreen.lots.operating_curve import accepted_from_lot, accepted_from_process
from partscreen.lots.readings_power import PERFECT, ReadingsPower
from partscreen.lots.sequential import SequentialPlan
from partscreen.lots.stopping import average_read_in_lot, average_read_until_first
from partscreen.lots.switching import PastLot, Switcher, scheme_acceptance, walk_lots
from partscreen.lots.two_point import two_point_plan
from partscreen.lots.zero_acceptance import (
    CONFIDENCE,
    TOLERABLE,
    OutOfReach,
    least_bad,
    most_bad,
    sample_size,
)
from tests.lots.plan_lots import STRICT, WEAK, against, read, shuffled_truth, within

LOTS = 20_000


def counted(rng, lots, lot_size, bad, n, readings):
    failed, held, _ = read(rng, shuffled_truth(rng, lots, lot_size, bad)[:, :n], readings)
    return against(failed, held, readings).sum(axis=1)


@pytest.mark.parametrize("readings", [PERFECT, WEAK, STRICT], ids=["perfect", "weak", "strict"])
@pytest.mark.parametrize("lot_size", [20, 50, 200])
def test_default_sample_lets_a_bad_lot_pass_no_more_often_than_asked(readings, lot_size):
    rng = np.random.default_rng(lot_size)
    n = sample_size(TOLERABLE, CONFIDENCE, lot_size=lot_size, readings=readings)
    bad = least_bad(lot_size, TOLERABLE)
    passed = int((counted(rng, LOTS, lot_size, bad, n, readings) == 0).sum())
    stated = float(accepted_from_lot(lot_size, n, 0, bad, readings))
    assert stated <= 1 - CONFIDENCE
    assert within(passed, LOTS, stated)
    # One part fewer would not do.
    assert accepted_from_lot(lot_size, n - 1, 0, bad, readings) > 1 - CONFIDENCE


@pytest.mark.parametrize("readings", [WEAK, STRICT], ids=["weak", "strict"])
def test_clean_lots_are_refused_as_often_as_stated(readings):
    rng = np.random.default_rng(3)
    n = sample_size(TOLERABLE, CONFIDENCE, lot_size=50, readings=readings)
    refused = int((counted(rng, LOTS, 50, 0, n, readings) > 0).sum())
    assert within(refused, LOTS, 1 - float(accepted_from_lot(50, n, 0, 0, readings)))
    assert refused > 0.1 * LOTS  # a real price, that the answer has to name


@pytest.mark.parametrize("bad", [0, 1, 5, 17, 50])
@pytest.mark.parametrize("c", [0, 2])
def test_operating_curve_of_a_lot_is_met(bad, c):
    rng = np.random.default_rng(100 * c + bad)
    passed = int((counted(rng, LOTS, 50, bad, 18, WEAK) <= c).sum())
    assert within(passed, LOTS, float(accepted_from_lot(50, 18, c, bad, WEAK)))


@pytest.mark.parametrize("lot_size", [None, 400])
def test_plan_between_two_points_keeps_both_risks_with_weak_readings(lot_size):
    rng = np.random.default_rng(5)
    good, bad = 0.02, 0.15
    n, c = two_point_plan(good, bad, 0.05, 0.10, lot_size=lot_size, readings=WEAK)
    size = lot_size or n
    for share, whole, risk in ((good, most_bad, 0.05), (bad, least_bad, 0.10)):
        number = rng.binomial(size, share, LOTS // 2) if lot_size is None else whole(lot_size, share)
        accepted = int((counted(rng, LOTS // 2, size, number, n, WEAK) <= c).sum())
        wrong = accepted if share == bad else LOTS // 2 - accepted
        stated = float(
            accepted_from_process(n, c, share, WEAK)
            if lot_size is None
            else accepted_from_lot(lot_size, n, c, whole(lot_size, share), WEAK)
        )
        assert within(accepted, LOTS // 2, stated)
        assert wrong <= risk * LOTS // 2 + 4 * np.sqrt(LOTS / 2 * risk)


def test_no_smaller_plan_between_two_points_keeps_both_risks():
    for good, bad, lot_size in ((0.01, 0.08, None), (0.05, 0.12, None), (0.02, 0.2, 60), (0.03, 0.1, 300)):
        n, _ = two_point_plan(good, bad, 0.05, 0.1, lot_size=lot_size)
        for smaller in range(1, n):
            for c in range(min(smaller, 25)):
                if lot_size is None:
                    kept = accepted_from_process(smaller, c, np.array([good, bad]))
                else:
                    counts = np.array([most_bad(lot_size, good), least_bad(lot_size, bad)])
                    kept = accepted_from_lot(lot_size, smaller, c, counts)
                assert not (kept[0] >= 0.95 and kept[1] <= 0.1)


@pytest.mark.parametrize("readings", [PERFECT, WEAK, STRICT], ids=["perfect", "weak", "strict"])
@pytest.mark.parametrize("bad", [1, 5, 10])
def test_sequential_plan_in_a_lot_decides_as_often_and_as_soon_as_stated(readings, bad):
    rng = np.random.default_rng(bad)
    plan = SequentialPlan(0.02, 0.20, last=50, readings=readings)
    stated, average = plan.operating_in_lot(50, bad)
    failed, held, _ = read(rng, shuffled_truth(rng, LOTS, 50, bad), readings)
    accepted, n = walked(plan, against(failed, held, readings))
    assert within(int(accepted.sum()), LOTS, stated)
    assert abs(n.mean() - average) < 4 * n.std() / np.sqrt(LOTS)


@pytest.mark.parametrize("share", [0.02, 0.08, 0.20])
def test_sequential_plan_of_a_large_lot_decides_as_stated(share):
    rng = np.random.default_rng(8)
    plan = SequentialPlan(0.02, 0.20, readings=WEAK)
    stated, average = plan.operating(share)
    failed, held, _ = read(rng, rng.random((LOTS, plan.end)) < share, WEAK)
    accepted, n = walked(plan, against(failed, held, WEAK))
    assert within(int(accepted.sum()), LOTS, float(stated))
    assert abs(n.mean() - average) < 4 * n.std() / np.sqrt(LOTS)


def walked(plan, counted_against):
    """Decision and number of parts of every lot: the lines are crossed, or the end is reached."""
    d = np.cumsum(counted_against, axis=1)[:, : plan.end]
    n = np.arange(1, plan.end + 1)
    accept, refuse = d <= plan.accept_at(n), d >= plan.refuse_at(n)
    first = np.argmax(accept | refuse, axis=1)
    assert (accept | refuse).any(axis=1).all()
    return accept[np.arange(len(d)), first], first + 1


def test_decision_part_by_part_is_the_one_of_the_lines():
    rng = np.random.default_rng(2)
    plan = SequentialPlan(0.02, 0.20, last=50, readings=STRICT)
    failed, held, _ = read(rng, shuffled_truth(rng, 300, 50, 6), STRICT)
    accepted, n = walked(plan, against(failed, held, STRICT))
    for i in range(300):
        outcomes = ["fail" if f else "held" if h else "pass" for f, h in zip(failed[i], held[i], strict=True)]
        decision, parts, _ = plan.decide(outcomes)
        assert (decision == "accept", parts) == (accepted[i], n[i])
        assert plan.decide(outcomes[: parts - 1])[0] == "go on"


def test_risks_of_the_sequential_plan_stay_near_those_asked_for_at_the_defaults():
    # Wald 1947: his lines keep b' <= b / (1 - a) and a' <= a / (1 - b) only; the forced end must not add to that.
    worst = {"producer": 0.0, "consumer": 0.0}
    for good, bad in ((0.01, 0.10), (0.02, 0.20), (0.05, 0.20), (0.005, 0.05), (0.01, 0.30), (0.1, 0.3)):
        chance, _ = SequentialPlan(good, bad).operating([good, bad])
        worst["producer"] = max(worst["producer"], 1 - chance[0])
        worst["consumer"] = max(worst["consumer"], chance[1])
    assert worst["producer"] <= 0.05 / 0.9
    assert worst["consumer"] <= 0.10 / 0.95


def test_average_number_until_the_first_suspect_is_met():
    rng = np.random.default_rng(6)
    n, bad = 25, 4
    failed, held, _ = read(rng, shuffled_truth(rng, LOTS, 50, bad)[:, :n], WEAK)
    seen = against(failed, held, WEAK)
    read_parts = np.where(seen.any(axis=1), seen.argmax(axis=1) + 1, n)
    assert abs(read_parts.mean() - average_read_in_lot(50, n, bad, WEAK)) < 4 * read_parts.std() / np.sqrt(LOTS)
    assert average_read_in_lot(5000, n, 400, WEAK) == pytest.approx(
        float(average_read_until_first(n, 0.08, WEAK)), rel=5e-3
    )


def test_long_run_of_the_switching_scheme_is_the_stated_one():
    rng = np.random.default_rng(11)
    share, lots = 0.025, 20_000
    chances = [
        float(accepted_from_process(p.n, p.c, share))
        for p in (table_plan(5000, 1.5), table_plan(5000, 1.5, severity="tightened"))
    ]
    switcher, accepted = Switcher(1.5, reduced=False), []
    for _ in range(lots):
        if switcher.state == "stopped":  # the formula leaves stopping out: supply goes on tightened
            switcher = Switcher(1.5, reduced=False, start="tightened")
        accepted.append(switcher.take(PastLot(5000, int(rng.binomial(200, share)))).accepted)
    blocks = np.array(accepted).reshape(100, -1).mean(axis=1)  # neighbours are not independent
    assert abs(blocks.mean() - scheme_acceptance(*chances)) < 4 * blocks.std() / 10


def test_steady_good_supply_is_hardly_ever_tightened():
    # False alarm of the rule "two refused of five": a maker at half the AQL, 2000 histories of 20 lots.
    rng = np.random.default_rng(12)
    tightened = 0
    for found in rng.binomial(80, 0.005, (2000, 20)):
        steps = walk_lots([PastLot(1000, int(k)) for k in found], 1.0, reduced=False).steps
        tightened += any(step.next_state == "tightened" for step in steps)
    refused = 1 - float(accepted_from_process(80, 2, 0.005))
    pairs = sum(min(4, 19 - i) for i in range(20))  # pairs of lots within five in a row
    most = pairs * refused**2
    assert tightened <= 2000 * most + 4 * np.sqrt(2000 * most)
    assert most < 0.005


def test_what_readings_cannot_do_is_said():
    with pytest.raises(OutOfReach, match="even with all 10 parts read"):
        sample_size(0.1, 0.95, lot_size=10, readings=ReadingsPower(power=0.9))
