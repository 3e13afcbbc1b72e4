"""What to do with a lot: the sentence on its share, and the cost of each action."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.lots.action import HANDLING, Costs, costs, evidence_of_lot, lot_actions, share_bound
from partscreen.results import Interval, LotResult, PartResult, Reason
from partscreen.screening.disposition import HOLD_COST


def part(name, disposition="accept", evidence=-6.0, unfit=0.002, code="AS_MARKED", status="judged"):
    reasons = [Reason(code=code, sentence="told")]
    return PartResult(
        part=name, status=status, disposition=disposition, evidence=evidence, probability_unfit=unfit, reasons=reasons
    )


def lot(parts, judgement="use", share=0.01, **more):
    interval = None if share is None else Interval(value=share, low=0.0, high=min(1.0, 5 * share))
    return LotResult(lot="A1", n_parts=len(parts), judgement=judgement, share_unfit=interval, parts=list(parts), **more)


CLEAN = lot([part(f"{i}") for i in range(20)])
BAD = lot(
    [part(f"{i}", "reject", None, 1.0, "LIMIT_BROKEN") for i in range(18)] + [part("18"), part("19")], "return", 0.9
)


def by_name(actions):
    return {a.action: a.expected_cost for a in actions}


def test_clean_lot_is_cheapest_used_and_a_bad_one_returned():
    sentence, actions = lot_actions(CLEAN, Costs())
    assert sentence.startswith("No evidence of substitution in 20 of 20; the share of unfit parts is below ")
    assert actions[0].action == "use"
    sentence, actions = lot_actions(BAD, Costs())
    assert sentence.startswith("No evidence of substitution in 2 of 20; the share of unfit parts is above ")
    assert actions[0].action == "return"
    assert [a.expected_cost for a in actions] == sorted(a.expected_cost for a in actions)


def test_expected_costs_are_the_sums_written_out():
    parts = [part("1", unfit=0.01), part("2", "hold", 1.0, 0.3, "EVIDENCE_AGAINST"), part("3", "reject", 9.0, 1.0)]
    price = Costs(bad=20.0)
    _, actions = lot_actions(lot(parts), price, prior_share=0.1)
    found = by_name(actions)
    assert found["use"] == pytest.approx(1 + 20 * (0.01 + 0.3))
    assert found["test_all"] == pytest.approx(1 + 20 * 0.01 + HOLD_COST + 0.3 * (0.1 * 20 + 0.9))
    bound = share_bound([-6.0, 1.0], 1)
    other = 3 * (HOLD_COST + 0.1 * (0.1 * 20 + 0.9))
    assert found["return"] == pytest.approx(HANDLING + other + price.wronged * bound.tolerable)


def test_dear_harm_makes_testing_cheaper_than_using_a_lot_with_parts_held():
    parts = [part(f"{i}") for i in range(10)] + [part(f"h{i}", "hold", 0.5, 0.1, "EVIDENCE_AGAINST") for i in range(10)]
    cheap, dear = (by_name(lot_actions(lot(parts), Costs(bad=c))[1]) for c in (2.0, 200.0))
    assert cheap["use"] < cheap["test_all"]
    assert dear["test_all"] < dear["use"]


def test_parts_of_the_bag_that_were_not_read_count_as_the_lot_s_parts_on_average():
    sentence, actions = lot_actions(CLEAN, Costs(), size=120)
    assert "20 of 20 read (100 of the bag were not)" in sentence
    less = by_name(lot_actions(CLEAN, Costs())[1])
    assert by_name(actions)["use"] > less["use"]
    assert by_name(actions)["test_all"] - less["test_all"] > 100 * HOLD_COST * 0.99


@pytest.mark.parametrize("judgement", ["no_reference", "undecided"])
def test_lot_whose_bulk_nothing_vouches_for_gets_no_costs(judgement):
    sentence, actions = lot_actions(CLEAN.model_copy(update={"judgement": judgement}), Costs())
    assert "not known" in sentence
    assert {a.action: a.expected_cost for a in actions} == {"use": None, "test_all": None, "return": None}


def test_lot_without_any_evidence_gets_no_sentence():
    nothing = [part("1", "hold", None, None, "NOT_YET_WEIGHED")]
    assert lot_actions(lot(nothing, "test_all", None), Costs()) == ("", [])


def test_price_tells_costs_in_money_too():
    _, actions = lot_actions(CLEAN, costs(10.0, price=4.0, currency="EUR"))
    assert "EUR at 4 a part" in actions[0].sentence
    assert costs(10.0, price=4.0, minutes=6.0, hourly=40.0).reading == pytest.approx(1.0)


@pytest.mark.parametrize("wrong", [{"bad": 0.0}, {"price": -1.0}, {"minutes": np.nan}, {"hourly": np.inf}])
def test_costs_that_cannot_be_are_refused(wrong):
    with pytest.raises(ValueError, match="above 0 is expected"):
        costs(**wrong)


def test_parts_unfit_for_certain_are_those_rejected_without_evidence():
    parts = [
        part("1"),
        part("2", "reject", 8.0, 1.0, "SUSPECT"),
        part("3", "reject", -1.0, 1.0, "LIMIT_BROKEN"),
        part("4", "reject", None, None, "OPEN", "dead"),
        part("5", None, None, None, "UNUSABLE", "unusable"),
    ]
    evidence, certain = evidence_of_lot(parts)
    assert evidence == {"1": -6.0, "2": 8.0}
    assert certain == {"3", "4"}


def test_bound_without_expectation_is_wider_and_falls_with_the_number_of_parts():
    bounds = [share_bound([-8.0] * n, 0) for n in (5, 20, 60)]
    assert all(b.below < b.alone_below for b in bounds)
    assert bounds[0].alone_below > bounds[1].alone_below > bounds[2].alone_below


def test_bound_holds_95_percent_of_lots_drawn_from_what_is_expected():
    """Lots whose share is drawn from screening's own expectation: the bound is exceeded in 5 % of them, or fewer (many
    lots have no unfit part at all)."""
    rng, beyond, n = np.random.default_rng(6), 0, 400
    for _ in range(n):
        share = rng.beta(0.1, 0.9)
        bad = rng.random(20) < share
        evidence = np.where(bad, 8.0, -8.0) + rng.normal(size=20) * 4.0
        beyond += share > share_bound(evidence.tolist(), 0).below
    assert beyond / n < 0.05 + 3 * np.sqrt(0.05 * 0.95 / n)
