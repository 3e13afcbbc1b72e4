"""Every lot of a screening carries its sentence and actions, from the lot sheet's count and price to the report."""

from __future__ import annotations

import pytest

from partscreen.readings.tables import Lot
from partscreen.results import Screening
from partscreen.workflow import ScreenOptions
from partscreen.workflow.judge.lot_actions import _plain_price, with_actions
from tests.book.domain_runs import judged


@pytest.fixture(scope="module")
def lot():
    return judged("Birch")[0].screening.lots[0]


def test_screened_lot_carries_sentence_and_actions_in_order_of_cost(lot):
    assert lot.share_sentence.startswith("No evidence of substitution in ")
    assert {a.action for a in lot.actions} == {"use", "test_all", "return"}
    told = [a.expected_cost for a in lot.actions]
    assert told == sorted(told)
    assert lot.bulk_unfit is not None


def test_sentence_and_actions_survive_json():
    text = judged("Birch")[0].json_text()
    again = Screening.model_validate_json(text).lots[0]
    assert again.share_sentence
    assert all(a.sentence for a in again.actions)


def test_count_and_price_of_the_lot_sheet_are_taken(lot):
    sheet = Lot("bag", count=50, extra={"price": "4.50", "currency": "EUR"})
    (told,) = with_actions([lot], [sheet], ScreenOptions())
    assert "44 of the bag were not" in told.share_sentence
    assert all("EUR at 4.5 a part" in a.sentence for a in told.actions)


@pytest.mark.parametrize(
    ("text", "price"),
    [("1.50", 1.5), ("1,5", 1.5), ("1,234", None), ("", None), ("2 EUR", None), ("free", None), ("-3", None)],
)
def test_price_that_can_be_read_in_two_ways_is_left_out(text, price):
    assert _plain_price(text) == price


def test_dearer_harm_never_makes_using_a_lot_cheaper(lot):
    costs = []
    for cost in (2.0, 10.0, 100.0):
        (told,) = with_actions([lot], [Lot("bag")], ScreenOptions(cost=cost))
        costs.append({a.action: a.expected_cost for a in told.actions}["use"])
    assert costs == sorted(costs)
