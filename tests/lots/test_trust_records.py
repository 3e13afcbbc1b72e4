"""What trust rests on: judged lots, judged again, outcomes in service, age."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from partscreen.lots.trust_records import (
    FAILED_FIRST,
    PART_CAUSE,
    FieldOutcome,
    LotRecord,
    field_by_part,
    field_evidence,
    merged,
    readings_of,
    weights,
    with_field_only,
)


def outcome(what, part="1", **more):
    return FieldOutcome("Alder", "A1", part, what, **more)


def test_failure_at_first_power_up_speaks_against_and_a_passed_soak_in_favour():
    assert field_evidence(outcome("failed_first_power_up")) == pytest.approx(np.log(FAILED_FIRST))
    assert field_evidence(outcome("passed_soak")) < 0


def test_failure_says_less_the_later_it_comes():
    said = [field_evidence(outcome("failed_after", days=d)) for d in (1, 100, 4000)]
    assert said[0] > said[1] > said[2] > 0
    assert field_evidence(outcome("failed_after")) == said[2]


def test_failure_the_stage_explains_is_discounted_and_one_of_the_part_counts_more():
    plain = field_evidence(outcome("failed_first_power_up"))
    assert field_evidence(outcome("failed_first_power_up", cause="not_known")) == plain
    assert 0 < field_evidence(outcome("failed_first_power_up", cause="stage")) < 0.15 * plain
    assert field_evidence(outcome("failed_first_power_up", cause="part")) == pytest.approx(plain + np.log(PART_CAUSE))


@pytest.mark.parametrize("what", ["returned", "refunded", "taken_out"])
def test_what_says_nothing_of_the_part_adds_nothing(what):
    assert field_evidence(outcome(what)) == 0.0
    assert field_by_part([outcome(what)]) == {}


def test_parts_that_failed_in_one_event_share_the_evidence_of_one():
    both = [outcome("failed_first_power_up", part=p, event="J7|left") for p in ("1", "2")]
    alone = outcome("failed_first_power_up", part="3", event="J9|left")
    found = field_by_part([*both, alone])["alder", "a1"]
    assert found["1"] + found["2"] == pytest.approx(found["3"])


def test_outcomes_of_one_part_add_up():
    found = field_by_part([outcome("passed_soak"), outcome("failed_after", days=20)])["alder", "a1"]["1"]
    assert found == pytest.approx(
        field_evidence(outcome("passed_soak")) + field_evidence(outcome("failed_after", days=20))
    )


def test_lot_judged_again_counts_by_the_later_judgement_of_each_part():
    first = LotRecord("Alder", "A1", "2SC5200", date(2025, 1, 1), {"1": -3.0, "2": 4.0}, frozenset({"3"}))
    again = LotRecord("alder ", "A1", "2SC5200", date(2025, 6, 1), {"2": -4.0, "3": -2.0}, frozenset({"1"}))
    (one,) = merged([first, again])
    assert dict(one.evidence) == {"2": -4.0, "3": -2.0}
    assert one.certain == {"1"}
    assert one.when == date(2025, 1, 1)
    assert one.supplier == "Alder"


def test_lots_of_one_name_from_two_suppliers_stay_apart():
    assert len(merged([LotRecord("Alder", "A1"), LotRecord("Birch", "A1")])) == 2


def test_part_fitted_unread_counts_by_what_became_of_it():
    records = with_field_only([], [outcome("failed_first_power_up", type="2SC5200")])
    assert [(r.supplier, r.lot, r.type) for r in records] == [("Alder", "A1", "2SC5200")]
    readings = readings_of(records, [outcome("failed_first_power_up")])
    assert readings.evidence.tolist() == [0.0]
    assert readings.whole.tolist() == [pytest.approx(np.log(FAILED_FIRST))]


def test_part_unfit_for_certain_stays_so_whatever_became_of_it():
    record = LotRecord("Alder", "A1", certain=frozenset({"1"}))
    readings = readings_of([record], [outcome("passed_soak")])
    assert readings.certain.tolist() == [1]
    assert readings.evidence.size == 0


def test_lot_counts_half_after_the_half_life_and_in_full_without_a_date():
    lots = [LotRecord("A", "1", when=date(2024, 1, 1)), LotRecord("A", "2", when=date(2026, 1, 1)), LotRecord("A", "3")]
    assert weights(lots, date(2026, 1, 1), 731.0).tolist() == [0.5, 1.0, 1.0]
    assert weights(lots, None, 731.0).tolist() == [1.0, 1.0, 1.0]
    with pytest.raises(ValueError, match="above 0"):
        weights(lots, None, 0.0)
