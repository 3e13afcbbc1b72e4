"""From the lot to the amplifier: fitted, bias, outcomes, and where the siblings are."""

from datetime import date

import pytest

from partscreen.book.entries import BiasKept, CorrectionKept, OutcomeKept
from partscreen.book.facts import Facts
from partscreen.book.job_shown import job_in_full
from partscreen.book.jobs import bias_drafts, fitted_draft, outcome_drafts, whereabouts
from partscreen.book.show import show_job, show_part, where_lot
from partscreen.book.standing import standings_of_lot
from partscreen.book.store import Draft
from partscreen.errors import UnusableInput
from tests.book.domain_runs import lot, part, record_bag, write

DAY = date(2026, 11, 2)


def fit(facts, name, job="hall", position="Q1", on=DAY, channel=None):
    return fitted_draft(facts, part(facts, name), job, position, channel=channel, by=None, on=on)


def became(facts, what, name=None, *, job=None, position=None, of_lot=None, days=None, cause=None, on=DAY):
    ref = part(facts, name) if name else None
    return outcome_drafts(
        facts, what, ref=ref, lot=of_lot, job=job, position=position, days=days, cause=cause, note=None, by=None, on=on
    )


@pytest.fixture
def stage(book):
    """T1 and T2 in the job `hall`."""
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1"))
    return write(book, fit(facts, "T2", position="Q2"))


def test_part_never_fitted_cannot_fail(book):
    facts = record_bag(book)
    with pytest.raises(UnusableInput, match=r"never fitted.*\n.*book fitted"):
        became(facts, "failed_first_power_up", "T1", cause="part")
    with pytest.raises(UnusableInput, match="nothing is fitted in a job"):
        became(facts, "passed_soak", job="hall")


def test_job_that_is_misspelt_is_told_with_close_names(stage):
    with pytest.raises(UnusableInput, match="close names: hall"):
        became(stage, "passed_soak", job="halls")
    with pytest.raises(UnusableInput, match="positions are Q1, Q2"):
        became(stage, "passed_soak", job="hall", position="Q9")


def test_job_with_a_part_that_was_never_judged_is_shown_all_the_same(stage):
    (first, *_) = stage.find("fitted")
    corrected = {**first.payload.body(), "part": "T99"}
    kept = CorrectionKept(
        supersedes=first.first, of_kind="fitted", reason="the sticker said T99", on=DAY, corrected=corrected
    )
    facts = write(stage.book, Draft("correction", kept.body()))
    found = {one.part: one.disposition for one in job_in_full(facts, "hall", today=DAY).places}
    assert found["T99"] is None
    assert found["T2"] is not None
    assert {one.part for one in show_job(facts, "hall").parts} == {"T2", "T99"}


def test_part_sits_in_one_place_and_a_place_holds_one_part(stage):
    with pytest.raises(UnusableInput, match="fitted already: job hall, position Q1"):
        fit(stage, "T1", job="club")
    with pytest.raises(UnusableInput, match="holds part T1"):
        fit(stage, "T4")
    assert fit(stage, "T4", channel="right")[0].kind == "fitted"


def test_part_that_was_taken_out_may_be_fitted_again(stage):
    facts = write(stage.book, *became(stage, "taken_out", "T1"))
    facts = write(stage.book, fit(facts, "T1", job="club"))
    facts = write(stage.book, fit(facts, "T4"))
    found = whereabouts(facts, lot(facts), standings_of_lot(facts, lot(facts)))
    assert [(one.ref.part, one.fitted.job, one.out) for one in found.fitted] == [
        ("T1", "hall", True), ("T2", "hall", False), ("T1", "club", False), ("T4", "hall", False),
    ]  # fmt: skip
    assert [one.part for one in found.drawer] == ["T3", "T5", "T6"]


def test_part_that_is_not_accepted_is_recorded_with_a_warning(book):
    facts = record_bag(book)
    draft, notes = fit(facts, "T3")
    assert draft.body["part"] == "T3"
    assert "rejected, not accepted" in notes[0]
    assert fit(facts, "T1")[1] == ()


def test_outcome_of_a_job_is_written_for_every_part_that_still_sits_in_it(stage):
    facts = write(stage.book, *became(stage, "failed_first_power_up", "T2", cause="part"))
    drafts = became(facts, "passed_soak", job="hall")
    assert [(d.body["part"], d.body["position"]) for d in drafts] == [("T1", "Q1")]


@pytest.mark.parametrize(
    ("what", "more", "said"),
    [
        ("failed_after", {"cause": "part"}, "after how many days"),
        ("passed_soak", {"days": 3}, "days go with failed-after alone"),
        ("failed_first_power_up", {}, "what was the cause"),
        ("passed_soak", {"cause": "stage"}, "cause goes with a failure alone"),
        ("passed_soak", {"on": date(2026, 11, 1)}, "was fitted on 2026-11-02, after 2026-11-01"),
    ],
)
def test_what_does_not_go_together_is_refused_with_the_way_out(stage, what, more, said):
    with pytest.raises(UnusableInput, match=said):
        became(stage, what, "T1", **more)


def test_lot_may_be_returned_whole_and_never_failed_whole(book):
    facts = record_bag(book)
    with pytest.raises(UnusableInput, match="which part"):
        became(facts, "failed_after", of_lot=lot(facts), days=3, cause="part")
    facts = write(book, *became(facts, "returned", of_lot=lot(facts)))
    found = where_lot(facts, lot(facts))
    assert not found.drawer
    assert len(found.gone) == 6


def test_where_names_every_job_and_what_is_left(stage):
    facts = write(stage.book, fit(stage, "T4", job="club"))
    facts = write(stage.book, *became(facts, "failed_after", "T4", days=9, cause="not_known"))
    found = where_lot(facts, lot(facts))
    assert found.jobs == ["hall", "club"]
    assert [(one.part, one.position, one.out) for one in found.siblings] == [
        ("T1", "Q1", False), ("T2", "Q2", False), ("T4", "Q1", True),
    ]  # fmt: skip
    assert "failed in service after 9 days" in found.siblings[2].outcome
    assert [one.part for one in found.drawer] == ["T3", "T5", "T6"]
    assert [one.part for one in found.gone] == ["T4"]


def test_bias_names_the_part_that_sits_there(stage):
    drafts = bias_drafts(
        stage, "hall", {"Q1": 0.0112, "Q2": 0.0109}, resistor=0.22, ambient=296.0, minutes=20.0, by=None, on=DAY
    )
    facts = write(stage.book, *drafts)
    kept = [fact.of(BiasKept) for fact in facts.find("bias", job="hall")]
    assert [(one.part, one.volts) for one in kept] == [("T1", 0.0112), ("T2", 0.0109)]
    assert "50.9 mA" in show_job(facts, "hall").history[2].sentence
    with pytest.raises(UnusableInput, match=r"no part is fitted at position 'Q7'.*\n.*Q1, Q2"):
        bias_drafts(facts, "hall", {"Q7": 0.01}, resistor=None, ambient=None, minutes=None, by=None, on=DAY)


def test_history_of_a_part_ends_with_its_outcome(stage):
    facts = write(stage.book, *became(stage, "failed_first_power_up", "T1", cause="stage"))
    shown = show_part(facts, part(facts, "T1"))
    assert [line.kind for line in shown.history] == ["part", "fitted", "outcome"]
    assert "cause: the stage" in shown.history[-1].sentence
    assert facts.latest("outcome", part="T1").of(OutcomeKept).job == "hall"
    assert "failed at first power-up" in shown.parts[0].fitted


def test_facts_read_the_book_anew(book):
    record_bag(book)
    assert Facts(book).latest("screening").seq == 6
