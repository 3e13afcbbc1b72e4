"""What people add and what they correct: overrides, quarantine, observations, stress, checks of instruments."""

from datetime import date, timedelta

import pytest

from partscreen.book.checks_typed import day_of, picture_type
from partscreen.book.corrections import entry_correction
from partscreen.book.entries import BiasKept, FittedKept, KitKept, ObservationKept, OutcomeKept
from partscreen.book.facts import Facts
from partscreen.book.jobs import bias_drafts, fitted_draft, outcome_drafts
from partscreen.book.notes import (
    approval_draft,
    kit_check_draft,
    kits_overdue,
    observation_draft,
    override_draft,
    photo_hash,
    quarantine_draft,
    stress_draft,
)
from partscreen.book.show import show_lot, show_part
from partscreen.book.standing import standing_of
from partscreen.errors import UnusableInput
from tests.book.domain_runs import bag_run, judged, lot, part, record_bag, write

DAY = date(2026, 11, 2)
PNG = b"\x89PNG\r\n\x1a\n" + bytes(40)
PERSONS = ("first bench", "second bench")


def overridden(facts, name="T3", to="hold"):
    return override_draft(facts, part(facts, name), to, reason="read again with a fresh socket", by=PERSONS[0], on=DAY)


def test_override_is_shown_with_the_original_and_its_reason(book):
    facts = write(book, overridden(record_bag(book)))
    standing = standing_of(facts, part(facts, "T3"))
    assert (standing.disposition, standing.original) == ("hold", "reject")
    (shown,) = (one for one in show_lot(facts, lot(facts)).parts if one.part == "T3")
    assert (shown.disposition, shown.original, shown.overridden_by) == ("hold", "reject", "first bench")
    assert "fresh socket" in shown.reason
    with pytest.raises(UnusableInput, match="held already"):
        overridden(facts)


def test_second_person_is_somebody_else(book):
    facts = write(book, overridden(record_bag(book)))
    seq = facts.latest("override").seq
    with pytest.raises(UnusableInput, match="cannot be the second person"):
        approval_draft(facts, seq, by=" First  Bench", agrees=True, note=None, on=DAY)
    with pytest.raises(UnusableInput, match="is no override"):
        approval_draft(facts, 1, by="second bench", agrees=True, note=None, on=DAY)
    with pytest.raises(UnusableInput, match="there is no entry 99"):
        approval_draft(facts, 99, by="second bench", agrees=True, note=None, on=DAY)
    facts = write(book, approval_draft(facts, seq, by=PERSONS[1], agrees=True, note=None, on=DAY))
    assert standing_of(facts, part(facts, "T3")).approved_by == ("second bench",)


def test_override_older_than_the_newest_judgement_is_marked(book):
    write(book, overridden(record_bag(book)))
    assert not standing_of(Facts(book), part(Facts(book), "T3")).stale
    facts = record_bag(book, risk=0.1)
    assert standing_of(facts, part(facts, "T3")).stale


def test_lot_and_parts_are_set_aside_and_released(book):
    facts = record_bag(book)

    def aside(place, release=False):
        return quarantine_draft(
            Facts(book), place, where=None if release else "red box", release=release, reason=None, by=None, on=DAY
        )

    with pytest.raises(UnusableInput, match="not in quarantine"):
        aside(part(facts, "T1"), release=True)
    facts = write(book, aside(lot(facts)))
    assert {one.quarantine for one in show_lot(facts, lot(facts)).parts} == {"red box"}
    facts = write(book, aside(part(facts, "T1"), release=True))
    assert [one.part for one in show_lot(facts, lot(facts)).parts if one.quarantine is None] == ["T1"]
    facts = write(book, aside(lot(facts), release=True))
    assert {one.quarantine for one in show_lot(facts, lot(facts)).parts} == {None}


def test_photo_that_is_no_picture_is_refused_and_a_picture_is_kept_until_erased(book):
    facts = record_bag(book)
    with pytest.raises(UnusableInput, match="no picture"):
        observation_draft(part(facts), None, "ink", [("note.txt", b"plain words")], by=None, on=DAY)
    with pytest.raises(UnusableInput, match="nothing was observed"):
        observation_draft(part(facts), None, "  ", [], by=None, on=DAY)
    draft, blobs = observation_draft(part(facts), None, "ink comes off", [("top.png", PNG)], by=None, on=DAY)
    facts = write(book, draft, blobs=blobs)
    (photo,) = facts.latest("observation").of(ObservationKept).blobs
    assert book.blob(photo.sha256).content == PNG
    with pytest.raises(UnusableInput, match="no photo of the book begins"):
        photo_hash(facts, facts.latest("file").payload.sha256[:12])
    book.erase_blob(photo_hash(facts, photo.sha256[:12]), "a face was on it")
    assert book.blob(photo.sha256) is None
    assert book.verify().ok
    assert show_part(Facts(book), part(facts)).history[-1].sentence.endswith("ink comes off (1 photo)")


@pytest.mark.parametrize("content", [b"", b"BM", b"\x89PNG", b"<svg/>", b"%PDF-1.7", b"RIFF....WAVE"])
def test_no_picture_is_taken_for_one(content):
    assert picture_type(content) is None


def test_stress_stands_in_the_history_of_the_part(book):
    facts = record_bag(book)
    figures = {"current": 0.005, "volts": 9.0, "seconds": 2.0}
    draft = stress_draft(part(facts), "avalanche_base_emitter", figures, survived=True, note=None, by=None, on=DAY)
    facts = write(book, draft)
    line = show_part(facts, part(facts)).history[-1].sentence
    assert line == "base-emitter junction driven into breakdown on 2026-11-02: 0.005 A, 9 V, 2 s, survived"


def test_kit_without_a_good_check_names_the_lots_judged_with_it(book):
    facts = record_bag(book, kit=judged()[0].kit.model_copy(update={"calibrated_on": None}))
    name = facts.latest("kit").of(KitKept).name
    today = date.today() + timedelta(days=30)
    (due,) = kits_overdue(facts, within=365, today=today)
    assert (due.kit, due.last_good, [place.lot for place, _, _ in due.lots]) == (name, None, ["bag"])

    def checked(day, good):
        return kit_check_draft(Facts(book), name, good=good, note=None, by=None, on=day)

    facts = write(book, checked(date.today() - timedelta(days=1), True))
    assert kits_overdue(facts, within=365, today=today) == []
    (due,) = kits_overdue(facts, within=7, today=today)
    assert (due.days, len(due.lots)) == (31, 1)  # judged after the check: nothing good stands behind it since
    facts = write(book, checked(date.today(), False))
    (due,) = kits_overdue(facts, within=365, today=today)
    assert (due.bad_since, len(due.lots)) == (date.today(), 1)
    facts = write(book, checked(date.today(), True))
    assert kits_overdue(facts, within=365, today=today) == []
    assert kit_check_draft(facts, "another", good=True, note=None, by=None, on=DAY)[1]


def test_calibration_day_of_the_kit_file_counts(book):
    kit = judged()[0].kit.model_copy(update={"calibrated_on": date.today()})
    facts = record_bag(book, kit=kit)
    (due,) = kits_overdue(facts, within=10, today=date.today() + timedelta(days=20))
    assert (due.from_file, due.days) == (True, 20)


def test_day_that_lies_ahead_or_is_none_is_refused():
    today = date(2026, 11, 25)
    assert day_of(None, today=today) == today
    with pytest.raises(UnusableInput, match="lies in the future"):
        day_of("2026-11-26", today=today)
    with pytest.raises(UnusableInput, match=r"'25.11.2026' is no date.*\n.*year-month-day"):
        day_of("25.11.2026", today=today)


def test_typed_entry_is_corrected_by_a_new_one_and_the_old_stays(book):
    facts = record_bag(book)
    facts = write(book, fitted_draft(facts, part(facts), "hall", "Q1", channel=None, by=None, on=DAY))
    first = facts.latest("fitted").seq
    bodies = {entry.seq: entry.body for entry in book.entries()}

    def corrected(seq, **changes):
        return write(book, entry_correction(Facts(book), seq, changes, reason="misread", by=None, on=DAY))

    facts = corrected(first, position="Q2")
    facts = corrected(first, part="T2", channel="left")
    (fact,) = facts.find("fitted", lot="bag")
    assert (fact.of(FittedKept).position, fact.of(FittedKept).part) == ("Q2", "T2")
    assert fact.older == (first, first + 1)
    assert facts.find("fitted", part="T1") == []
    assert [f.first for f in facts.find("fitted", part="T2")] == [first]
    shown = show_part(facts, part(facts, "T2")).history[-1]
    assert (shown.entry, shown.older) == (first + 2, [first, first + 1])
    assert {seq: body for seq, body in ((e.seq, e.body) for e in book.entries()) if seq in bodies} == bodies
    assert book.verify().ok


def test_words_and_figures_are_corrected_as_they_are_typed_at_the_bench(book):
    facts = record_bag(book)
    facts = write(book, fitted_draft(facts, part(facts), "hall", "Q1", channel=None, by=None, on=DAY))
    drafts = [
        *bias_drafts(facts, "hall", {"Q1": 0.01}, resistor=0.2, ambient=290.0, minutes=None, by=None, on=DAY),
        *outcome_drafts(
            facts, "passed_soak", ref=part(facts), lot=None, job=None, position=None, days=None, cause=None, note=None,
            by=None, on=DAY,
        ),
    ]  # fmt: skip
    facts = write(book, *drafts)
    bias, outcome = facts.latest("bias"), facts.latest("outcome")

    def corrected(fact, **changes):
        return write(book, entry_correction(Facts(book), fact.seq, changes, reason="misread", by=None, on=DAY))

    facts = corrected(bias, volts="0,0112", ambient="23.5", resistor="")
    kept = facts.latest("bias").of(BiasKept)
    assert (kept.volts, kept.ambient, kept.resistor) == (0.0112, 296.65, None)
    facts = corrected(outcome, what="failed-after", days="4", cause="not-known")
    kept = facts.latest("outcome").of(OutcomeKept)
    assert (kept.what, kept.days, kept.cause) == ("failed_after", 4, "not_known")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"colour": "red"}, "its fields are"),
        ({}, "nothing is to be changed"),
        ({"on": "yesterday"}, "date"),
        ({"position": "Q1"}, "says that already"),
        ({"position": ""}, "position"),
    ],
)
def test_correction_that_does_not_fit_is_refused_with_the_way_out(book, changes, said):
    facts = record_bag(book)
    facts = write(book, fitted_draft(facts, part(facts), "hall", "Q1", channel=None, by=None, on=DAY))
    with pytest.raises(UnusableInput, match=said):
        entry_correction(facts, facts.latest("fitted").seq, changes, reason="misread", by=None, on=DAY)


def test_judgement_is_not_typed_and_is_not_corrected_by_hand(book):
    facts = record_bag(book)
    with pytest.raises(UnusableInput, match=r"nobody types.*\n.*book rescreen"):
        entry_correction(facts, facts.latest("part").seq, {"part": "T9"}, reason="x", by=None, on=DAY)
    assert bag_run().screening.lots[0].lot == "bag"
