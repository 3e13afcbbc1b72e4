"""What waits and what is overdue, from what the book holds; jobs, parts and lots in full; search."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from partscreen.book import day
from partscreen.book.corrections import find_file, reading_correction
from partscreen.book.day import Bench
from partscreen.book.entries import ReadingCorrected
from partscreen.book.facts import Facts
from partscreen.book.in_full import entry_shown, lot_in_full, part_in_full
from partscreen.book.job_shown import all_jobs, job_in_full
from partscreen.book.jobs import bias_drafts, fitted_draft, outcome_drafts
from partscreen.book.notes import approval_draft, kit_check_draft, last_good_checks, override_draft, quarantine_draft
from partscreen.book.search import find
from partscreen.errors import UnusableInput
from partscreen.results import QualityNote
from tests.book.domain_runs import bag_run, lot, part, record_bag, write

TODAY = date(2026, 11, 25)


def bench(facts: Facts, today: date = TODAY) -> Bench:
    return Bench(facts, today)


def fit(facts, name, position, job="hall", on=date(2026, 10, 1), channel=None):
    return fitted_draft(facts, part(facts, name), job, position, channel=channel, by=None, on=on)


def became(facts, what, name=None, of_lot=None, days=None, cause=None, on=TODAY):
    ref = part(facts, name) if name else None
    return outcome_drafts(
        facts, what, ref=ref, lot=of_lot, job=None, position=None, days=days, cause=cause, note=None, by=None, on=on
    )


def told_by_sheet(**told: str):
    """The bag's run with more on its lot sheet."""
    run = bag_run()
    (bag,) = run.batch.lots
    return {"batch": replace(run.batch, lots=(replace(bag, extra={**bag.extra, **told}),))}


def noted(code: str):
    """The bag's run with a quality note on every part."""
    screening = bag_run().screening
    note = QualityNote(code=code, sentence="told by the test", run="1")
    (bag,) = screening.lots
    parts = [one.model_copy(update={"quality": [*one.quality, note]}) for one in bag.parts]
    return {"screening": screening.model_copy(update={"lots": [bag.model_copy(update={"parts": parts})]})}


def test_lot_to_send_back_counts_the_days_its_sheet_leaves(book):
    facts = record_bag(book, **told_by_sheet(return_by="2026-11-20"))
    (one,) = day.lots_waiting(bench(facts))
    assert (one.judgement, one.return_by, one.days_left) == ("return", "2026-11-20", -5)
    facts = write(book, *became(facts, "returned", of_lot=lot(facts)))
    (one,) = day.lots_waiting(bench(facts))
    assert one.why == "sent back, no refund told yet"
    facts = write(book, *became(facts, "refunded", of_lot=lot(facts)))
    assert not day.lots_waiting(bench(facts))


def test_day_on_the_lot_sheet_that_is_none_is_left_out_and_the_lot_still_waits(book):
    facts = record_bag(book, **told_by_sheet(return_by="next week"))
    (one,) = day.lots_waiting(bench(facts))
    assert (one.return_by, one.days_left) == (None, None)


def test_part_that_is_fitted_failed_or_sent_back_is_not_held_at_the_bench(book):
    facts = record_bag(book)
    for name in ("T3", "T5", "T4"):
        facts = write(book, override_draft(facts, part(facts, name), "hold", reason="look", by="a", on=TODAY))
    assert [one.part for one in day.held_lots(bench(facts))[0].parts] == ["T3", "T4", "T5"]
    facts = write(book, fit(facts, "T3", "Q1"))
    facts = write(book, *became(facts, "returned", "T5"))
    assert [one.part for one in day.held_lots(bench(facts))[0].parts] == ["T4"]
    facts = write(book, *became(facts, "failed_after", "T3", days=2, cause="part"))
    assert [one.part for one in day.held_lots(bench(facts))[0].parts] == ["T4"]


def test_control_piece_that_moved_waits_until_the_kit_is_found_good(book):
    facts = record_bag(book, **noted("CONTROL_DRIFT"))
    (one,) = day.control_moved(bench(facts), last_good_checks(facts))
    assert (one.lot, one.supplier) == ("bag", "Birch")
    kit = facts.find("screening")[0].payload.kit
    facts = write(book, kit_check_draft(facts, kit, good=False, note=None, by=None, on=date.today()))
    assert day.control_moved(bench(facts), last_good_checks(facts))
    facts = write(book, kit_check_draft(facts, kit, good=True, note=None, by=None, on=date.today()))
    assert not day.control_moved(bench(facts), last_good_checks(facts))


def test_other_remarks_on_readings_are_no_control_piece_that_moved(book):
    facts = record_bag(book, **noted("OTHER"))
    assert not day.control_moved(bench(facts), {})


def test_corrected_reading_waits_until_its_lot_is_judged_again(book):
    facts = record_bag(book)
    file = find_file(facts, "bag.csv")
    cell = ReadingCorrected(
        file="bag.csv", sha256=file.kept.sha256, row=8, column="IB [mA]", was="94.891", now="94.981"
    )
    draft = reading_correction(facts, file, cell, {"lot": "bag", "supplier": "Birch"}, reason="r", by=None, on=TODAY)
    facts = write(book, draft)
    (one,) = day.to_judge_again(bench(facts))
    assert (one.lot, one.corrections) == ("bag", [13])
    facts = record_bag(book, corrections=(13,), rescreened=True)
    assert not day.to_judge_again(bench(facts))


def test_override_waits_for_a_second_person_and_again_after_a_newer_judgement(book):
    facts = record_bag(book)
    facts = write(book, override_draft(facts, part(facts, "T3"), "hold", reason="look", by="a", on=TODAY))
    (one,) = day.voices_wanted(bench(facts))
    assert (one.part, one.second) == ("T3", True)
    facts = write(book, approval_draft(facts, one.entry, by="b", agrees=True, note=None, on=TODAY))
    assert not day.voices_wanted(bench(facts))
    facts = record_bag(book, risk=0.05)
    (one,) = day.voices_wanted(bench(facts))
    assert (one.part, one.second) == ("T3", False)


def test_failed_part_is_read_again_unless_it_went_back(book):
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1", "Q1"))
    facts = write(book, *became(facts, "failed_first_power_up", "T1", cause="not_known"))
    assert [one.part for one in day.to_read_again(bench(facts))] == ["T1"]
    facts = write(book, *became(facts, "returned", "T1"))
    assert not day.to_read_again(bench(facts))


def test_what_is_set_aside_is_listed_until_it_is_released(book):
    facts = record_bag(book)
    aside = {"where": "red box", "release": False, "reason": None, "by": None, "on": TODAY}
    facts = write(book, quarantine_draft(facts, part(facts, "T5"), **aside))
    assert [(one.part, one.place) for one in day.set_aside(bench(facts))] == [("T5", "red box")]
    facts = write(book, quarantine_draft(facts, part(facts, "T5"), **{**aside, "release": True, "where": None}))
    assert not day.set_aside(bench(facts))


def test_job_is_overdue_from_the_day_on_that_was_asked_for(book):
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1", "Q1", on=TODAY - timedelta(days=30)))
    facts = write(book, fit(facts, "T2", "Q2", on=TODAY))
    (one,) = all_jobs(facts, today=TODAY, after=30).jobs
    assert (one.inside, one.silent, one.days, one.overdue) == (2, 2, 30, True)
    assert not all_jobs(facts, today=TODAY, after=31).jobs[0].overdue
    facts = write(book, *became(facts, "passed_soak", "T1"))
    (one,) = all_jobs(facts, today=TODAY, after=30).jobs
    assert (one.silent, one.days, one.overdue) == (1, 0, False)


def test_job_that_is_opened_under_a_name_close_to_another_is_asked_about(book):
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1", "Q1", job="village-hall"))
    assert fit(facts, "T2", "Q2", job="village-hall")[1] == ()
    assert fit(facts, "T2", "Q2", job="club")[1] == ()
    (hint,) = fit(facts, "T2", "Q2", job="vilage-hall")[1]
    assert "the book holds village-hall" in hint


def test_job_in_full_keeps_channels_apart_that_share_a_position(book):
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1", "Q1", channel="left"))
    facts = write(book, fit(facts, "T2", "Q1", channel="right"))
    facts = write(book, fit(facts, "T4", "Q9", job="club"))
    common = {"resistor": None, "ambient": None, "minutes": None, "by": None, "on": TODAY}
    with pytest.raises(UnusableInput, match=r"several channels.*\n.*left Q1, right Q1"):
        bias_drafts(facts, "hall", {"Q1": 0.01}, **common)
    facts = write(book, *bias_drafts(facts, "hall", {"left Q1": 0.011, "right Q1": 0.012}, **common))
    found = job_in_full(facts, "hall", today=TODAY)
    assert [(one.part, one.channel, one.bias[0][:14], one.days) for one in found.places] == [
        ("T1", "left", "bias at Q1 on ", 55), ("T2", "right", "bias at Q1 on ", 55),
    ]  # fmt: skip
    assert "11 mV" in found.places[0].bias[0]
    assert "12 mV" in found.places[1].bias[0]
    assert [(one.part, one.job) for one in found.lots[0].elsewhere] == [("T4", "club")]
    assert [one.part for one in found.lots[0].drawer] == ["T3", "T5", "T6"]


def test_part_in_full_shows_its_readings_with_file_and_row(book):
    facts = record_bag(book)
    shown, kept = part_in_full(facts, part(facts, "T1"))
    assert shown.result == kept.result
    seven = next(one for one in shown.readings if "IC 7 A" in one.words)
    assert (seven.file, seven.row, seven.used) == ("bag.csv", 8, True)
    assert "IB 94.891 mA" in seven.words
    assert any(one.what == "single reading" and "pF" in one.words for one in shown.readings)
    assert {one.name for one in shown.files} == {"bag.csv", "capacitance.csv"}


def test_lot_in_full_has_sheet_reasons_and_files(book):
    facts = record_bag(book, **told_by_sheet(order="A-17"))
    shown = lot_in_full(facts, lot(facts))
    assert shown.sheet["order"] == "A-17"
    assert [one.role for one in shown.files] == ["readings", "readings", "kit"]
    assert shown.parts[0].part == "T1"


def test_entry_tells_the_fields_that_can_be_put_right_as_they_are_typed(book):
    facts = record_bag(book)
    facts = write(book, fit(facts, "T1", "Q1"))
    facts = write(book, *bias_drafts(
        facts, "hall", {"Q1": 0.0112}, resistor=0.22, ambient=296.15, minutes=20.0, by=None, on=TODAY
    ))  # fmt: skip
    fields = {one.name: one.text for one in entry_shown(facts, 14).fields}
    assert (fields["position"], fields["volts"], fields["ambient"], fields["on"]) == (
        "Q1",
        "0.0112",
        "23",
        "2026-11-25",
    )
    facts = write(book, *became(facts, "taken_out", "T1"))
    choices = {one.name: one.choices for one in entry_shown(facts, 15).fields}
    assert choices["cause"] == ["", "part", "stage", "not_known"]
    assert not entry_shown(facts, 6).fields


@pytest.mark.parametrize(
    ("text", "exact", "kinds"),
    [
        ("T3", True, ["part"]), (" t3  ", True, ["part"]), ("BAG", True, ["lot"]), ("birch", True, ["supplier"]),
        ("2SC5200", True, ["type"]), ("12", True, ["entry"]), ("999", False, []), ("T", False, ["part"] * 6),
        ("birk", False, ["supplier"]), ("", False, []), ("%", False, []),
    ],
)  # fmt: skip
def test_search_takes_the_name_itself_else_what_holds_it_else_what_is_close(book, text, exact, kinds):
    found, hits, more = find(record_bag(book), text)
    assert found is exact
    if text != "T":
        assert [one.kind for one in hits] == kinds
    else:
        assert [one.kind for one in hits][:6] == kinds
    assert more == 0
