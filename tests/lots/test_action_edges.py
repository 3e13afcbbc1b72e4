"""Costs of what to do with a lot at their edges: nothing left to read, half the lot clear, one part; exact bounds."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta

from partscreen.lots.action import (
    HANDLING,
    MISSED,
    Costs,
    bulk_of_lot,
    certainly_unfit,
    costs,
    evidence_of_lot,
    lot_actions,
    share_bound,
)
from partscreen.screening.disposition import DEFAULT_COST, HOLD_COST, WRONG_REJECT_COST
from partscreen.screening.evidence.lot import CONCENTRATION
from tests.lots.test_action import BAD, CLEAN, by_name, lot, part


def sentences(*given, **options):
    return {a.action: a.sentence for a in lot_actions(*given, **options)[1]}


def test_nothing_left_to_read_is_said_only_where_nothing_is_held_and_the_whole_bag_was_read():
    held = lot([part("1"), part("2", "hold", 1.0, 0.3, "EVIDENCE_AGAINST")])
    unread = lot([part("1"), part("2", None, None, None, "UNUSABLE", "unusable")])
    for size in (None, 1, 20):
        assert sentences(CLEAN, Costs(), size=size)["test_all"].startswith("nothing is held or left to read: ")
    for given, size in ((CLEAN, 21), (held, None), (unread, None), (held, 2)):
        told = sentences(given, Costs(), size=size)
        assert told["test_all"].startswith("read what is held or not read, then fit what is accepted: ")
        assert told["use"].startswith("fit every part that is not rejected: ")
        assert told["return"].startswith("send it back, if it can be, and read another lot: ")


def test_a_bag_said_to_be_smaller_than_what_was_read_is_the_parts_that_were_read():
    whole, actions = lot_actions(CLEAN, Costs())
    for size in (None, 0, 19, 20):
        told = lot_actions(CLEAN, Costs(), size=size)
        assert told[0] == whole
        assert "of the bag were not" not in told[0]
        assert by_name(told[1]) == by_name(actions)
    assert "20 of 20 read (1 of the bag were not)" in lot_actions(CLEAN, Costs(), size=21)[0]


def test_each_part_of_the_bag_not_read_costs_a_reading_or_its_chance_of_harm():
    bound = share_bound([-6.0] * 20, 0, bulk=bulk_of_lot("use", CLEAN.bulk_unfit, 0.1))
    price = Costs(bad=30.0)
    less, more = (by_name(lot_actions(CLEAN, price, size=size)[1]) for size in (20, 25))
    assert more["use"] - less["use"] == pytest.approx(5 * bound.expected * price.bad)
    read = price.reading + bound.expected * (MISSED * price.bad + 1.0 - MISSED)
    assert more["test_all"] - less["test_all"] == pytest.approx(5 * read)
    other = price.reading + 0.1 * (MISSED * price.bad + 1.0 - MISSED)
    assert more["return"] - less["return"] == pytest.approx(5 * other)


def test_parts_without_a_probability_count_as_the_lot_s_parts_on_average():
    parts = [part("1"), part("2"), part("3", "hold", None, None, "NOT_YET_WEIGHED")]
    price = Costs()
    bound = share_bound([-6.0, -6.0], 0)
    found = by_name(lot_actions(lot(parts), price)[1])
    assert found["use"] == pytest.approx(price.bad * (0.002 + 0.002 + bound.expected))


@pytest.mark.parametrize(("clear", "side"), [(4, "below"), (3, "below"), (2, "above"), (0, "above")])
def test_a_bound_from_above_is_told_until_more_than_half_of_the_lot_is_not_clear(clear, side):
    parts = [part(f"{i}") for i in range(clear)]
    parts += [part(f"x{i}", "reject", 6.0, 1.0, "SUSPECT") for i in range(6 - clear)]
    sentence, _ = lot_actions(lot(parts), Costs())
    assert sentence.startswith(f"No evidence of substitution in {clear} of 6; ")
    assert f"the share of unfit parts is {side} " in sentence
    assert f"({side} " in sentence


def test_evidence_of_exactly_nothing_is_no_evidence_of_substitution():
    parts = [part("1", evidence=0.0), part("2", evidence=1e-9), part("3", evidence=-1.0)]
    assert lot_actions(lot(parts), Costs())[0].startswith("No evidence of substitution in 2 of 3;")


def test_a_lot_of_parts_unfit_for_certain_alone_is_told_though_no_evidence_was_weighed():
    parts = [part(f"{i}", "reject", None, None, "LIMIT_BROKEN") for i in range(3)]
    sentence, actions = lot_actions(lot(parts, "return", 0.9), Costs())
    assert sentence.startswith("No evidence of substitution in 0 of 3; the share of unfit parts is above ")
    assert by_name(actions)["use"] == pytest.approx(3.0)  # all are thrown away, nothing else is fitted


def test_a_lot_without_a_share_gets_no_costs_either():
    sentence, actions = lot_actions(lot([part("1"), part("2")], "use", None), Costs())
    assert "the share of unfit parts is not known" in sentence
    assert [a.action for a in actions] == ["use", "test_all", "return"]
    assert all(a.expected_cost is None and a.sentence.startswith("not known: ") for a in actions)


def test_a_known_good_lot_is_expected_to_be_better_than_another_of_the_same_readings():
    known = CLEAN.model_copy(update={"known_good": True})
    usual, good = lot_actions(CLEAN, Costs(), size=200), lot_actions(known, Costs(), size=200)
    assert by_name(good[1])["use"] < by_name(usual[1])["use"]
    assert good[0] != usual[0]
    # Where less than of known-good parts is expected anyway, that stays.
    few = {"prior_share": 1e-4, "size": 200}
    assert lot_actions(known, Costs(), **few)[0] == lot_actions(CLEAN, Costs(), **few)[0]


def test_costs_are_told_in_parts_and_money_to_two_digits():
    one = sentences(lot([part("1", unfit=0.1)]), Costs(bad=10.0))["use"]
    assert one.endswith("costs about as much as 1 part thrown away")
    more = sentences(lot([part("1", unfit=0.25)]), Costs(bad=10.0))["use"]
    assert more.endswith("costs about as much as 2.5 parts thrown away")
    money = sentences(lot([part("1", unfit=0.25)]), costs(10.0, price=3.0, currency="EUR"))["use"]
    assert money.endswith("2.5 parts thrown away, 7.5 EUR at 3 a part")
    plain = sentences(lot([part("1", unfit=0.25)]), costs(10.0, price=3.0))["use"]
    assert plain.endswith("2.5 parts thrown away, 7.5 at 3 a part")
    assert "a part" not in one


def test_shares_are_told_with_a_decimal_below_ten_percent_only():
    told = lot_actions(CLEAN, Costs())[0]
    bound = share_bound([-6.0] * 20, 0, bulk=bulk_of_lot("use", CLEAN.bulk_unfit, 0.1))
    assert bound.below < 0.1 < bound.alone_below
    assert f"below {100 * bound.below:.1f} % with 95 %" in told
    assert f"(below {100 * bound.alone_below:.0f} % from these readings alone" in told


def test_costs_nobody_stated_are_those_of_screening():
    price = costs()
    assert price == Costs()
    assert (price.bad, price.reading, price.wronged) == (DEFAULT_COST, HOLD_COST, WRONG_REJECT_COST)
    assert (price.handling, price.price, price.currency) == (HANDLING, None, "")
    # Minutes set the cost of a reading only with what an hour and a part cost.
    for some in ({"price": 4.0, "minutes": 6.0}, {"minutes": 6.0, "hourly": 40.0}, {"price": 4.0, "hourly": 40.0}):
        assert costs(**some).reading == HOLD_COST
    assert costs(price=4.0, minutes=3.0, hourly=40.0).reading == pytest.approx(0.5)
    for name in ("bad", "price", "minutes", "hourly"):
        assert costs(**{name: 1e-9})
        for wrong in (0.0, -1e-9, np.nan, np.inf):
            with pytest.raises(ValueError, match="a number above 0 is expected"):
                costs(**{name: wrong})


def test_only_a_rejection_for_evidence_alone_leaves_a_part_uncertain():
    assert certainly_unfit(part("1", "reject", 5.0, 1.0, "LIMIT_BROKEN"))
    assert not certainly_unfit(part("1", "reject", 5.0, 1.0, "SUSPECT"))
    assert not certainly_unfit(part("1", "hold", 5.0, 1.0, "LIMIT_BROKEN"))
    bare = part("1", "reject", 5.0).model_copy(update={"reasons": []})
    assert certainly_unfit(bare)
    two = [*part("1", code="LIMIT_BROKEN").reasons, *part("1", code="SUSPECT").reasons]
    both = bare.model_copy(update={"reasons": two})
    assert certainly_unfit(both)  # the deciding reason stands first
    assert evidence_of_lot([bare, part("2", evidence=0.0)]) == ({"2": 0.0}, frozenset({"1"}))


def test_bounds_are_those_of_the_beta_distribution_where_every_part_is_sure():
    # Every share as likely before: after n parts, k of them unfit for certain, Beta(1 + k, 1 + n - k).
    for clear, unfit in ((12, 0), (30, 3), (5, 20)):
        found = share_bound([-20.0] * clear, unfit, prior_share=0.1, bulk=bulk_of_lot("use", 1e-9, 0.1))
        a, b = CONCENTRATION * 0.1, CONCENTRATION * 0.9
        before = beta(a + unfit, b + clear)
        assert found.expected == pytest.approx(before.mean(), rel=0.02)
        assert found.below == pytest.approx(before.ppf(0.95), rel=0.02)
        assert found.tolerable == pytest.approx(before.cdf(0.1), abs=0.01)
        flat = beta(1 + unfit, 1 + clear)
        assert found.alone_below == pytest.approx(flat.ppf(0.95), rel=0.02)
        assert found.alone_above == pytest.approx(flat.ppf(0.05), rel=0.05)
        wider = share_bound([-20.0] * clear, unfit, confidence=0.99, tolerable=0.3, bulk=bulk_of_lot("use", 1e-9, 0.1))
        assert wider.below == pytest.approx(before.ppf(0.99), rel=0.02)
        assert wider.tolerable == pytest.approx(before.cdf(0.3), abs=0.01)
        if unfit:
            assert found.above == pytest.approx(before.ppf(0.05), rel=0.02)


def test_a_bulk_is_taken_as_told_only_where_the_judgement_vouches_for_it():
    assert bulk_of_lot("use", None, 0.1) is None
    sound, odd = bulk_of_lot("use", 0.01, 0.1), bulk_of_lot("return", 0.99, 0.1)
    assert (sound.unfit, odd.unfit) == (False, True)
    assert sound.ratio < 0 < odd.ratio
    for judgement in ("no_reference", "undecided"):
        assert (bulk_of_lot(judgement, 0.99, 0.1).ratio, bulk_of_lot(judgement, 0.99, 0.1).unfit) == (0.0, True)
        assert bulk_of_lot(judgement, None, 0.1).unfit is None


def test_actions_come_cheapest_first_whatever_they_are():
    for given, price in ((CLEAN, Costs()), (BAD, Costs()), (CLEAN, Costs(bad=1e4))):
        told = [a.expected_cost for a in lot_actions(given, price, size=60)[1]]
        assert told == sorted(told)
        assert len(told) == 3
