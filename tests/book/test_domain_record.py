"""A screening in the book: complete, once, and beside what was there."""

import hashlib
import math
from dataclasses import fields

import numpy as np
import pytest

from partscreen.book.entries import UNFIT_FOR_CERTAIN, LotKept, PartKept, ScreeningKept
from partscreen.book.facts import ANY, Facts
from partscreen.book.readings_kept import batch_of
from partscreen.book.show import show_lot
from partscreen.book.standing import lot_evidence, standing_of, standings_of_lot
from partscreen.errors import UnusableInput
from partscreen.workflow import ScreenOptions, record_screening, screen_files
from partscreen.workflow.book.record import keep, raw_files
from tests.book.domain_runs import FILES, bag_run, judged, lot, part, record_bag


def test_everything_of_a_run_is_kept_and_the_book_verifies(book):
    facts = record_bag(book)
    kinds = [entry.kind for entry in book.entries()]
    assert {kind: kinds.count(kind) for kind in set(kinds)} == {
        "file": 3, "kit": 1, "lot": 1, "screening": 1, "part": 6,
    }  # fmt: skip
    for path in FILES:
        content = path.read_bytes()
        assert book.blob(hashlib.sha256(content).hexdigest()).content == content
    one = facts.latest("screening", lot="bag").of(ScreeningKept)
    outcome, _ = judged()
    assert one.judgement == outcome.screening.lots[0].judgement
    assert one.versions.program == outcome.screening.version
    assert len(one.versions.library) == len(one.versions.reference) == 64
    assert one.settings["risk"] == 0.02
    assert one.kit == outcome.kit.name
    assert facts.latest("lot", lot="bag").of(LotKept).supplier == "Birch"
    assert book.verify().ok


def test_results_come_back_as_they_were(book):
    facts = record_bag(book)
    for result in judged()[0].screening.lots[0].parts:
        kept = facts.latest("part", part=result.part, lot="bag").of(PartKept)
        assert kept.result.model_dump(mode="json") == result.model_dump(mode="json")


def test_lot_recorded_again_writes_nothing_and_says_so(book):
    record_bag(book)
    head = book.head()
    told = keep(book, Facts(book), bag_run())
    assert book.head() == head
    assert not told.written
    assert [line.kind for line in told.known] == ["screening"]
    assert any("already in the book" in note for note in told.notes)


def test_same_readings_under_other_settings_are_a_second_judgement(book):
    record_bag(book)
    before = {entry.seq: entry.hash for entry in book.entries()}
    told = keep(book, Facts(book), bag_run(risk=0.1))
    facts = Facts(book)
    assert any("judged again" in note for note in told.notes)
    assert len(facts.find("screening", lot="bag")) == 2
    assert [entry.kind for entry in book.entries(after=max(before))] == ["screening", *["part"] * 6]
    assert {seq: h for seq, h in ((e.seq, e.hash) for e in book.entries()) if seq in before} == before
    assert {one.older for one in standings_of_lot(facts, lot(facts))} == {1}
    assert show_lot(facts, lot(facts)).lots[0].older_judgements == 1


def test_kept_readings_are_the_readings_that_were_judged(book):
    facts = record_bag(book)
    batch = judged()[0].batch
    again = batch_of([fact.of(PartKept) for fact in facts.find("part", lot="bag", supplier="Birch")])
    assert again.part_names == batch.part_names
    for name in (f.name for f in fields(batch.points)):
        old, new = getattr(batch.points, name), getattr(again.points, name)
        if name == "session":
            old, new = (np.array(b.sessions)[getattr(b.points, name)] for b in (batch, again))
        if name == "file":
            old, new = (np.array([i.sha256 for i in b.inputs])[b.points.file] for b in (batch, again))
        if name == "run":  # numbered anew, equal runs stay together
            old, new = (np.diff(runs) != 0 for runs in (old, new))
        np.testing.assert_array_equal(old, new, err_msg=name)
    assumed = {b.sessions[s] for b in (batch, again) for s in b.assumed_temp}
    assert assumed == {again.sessions[s] for s in again.assumed_temp}
    np.testing.assert_array_equal(again.spots.value, batch.spots.value)
    np.testing.assert_array_equal(again.spots.std, batch.spots.std)
    assert again.spots.conditions == batch.spots.conditions
    assert again.spots.quantity.tolist() == batch.spots.quantity.tolist()


def test_likelihoods_are_kept_and_a_limit_or_a_dead_part_counts_as_certain(book):
    facts = record_bag(book)
    (found,) = lot_evidence(facts).values()
    results = {one.part: one for one in judged()[0].screening.lots[0].parts}
    assert (found["T3"].evidence, found["T3"].because) == (UNFIT_FOR_CERTAIN, "limit")
    assert (found["T5"].evidence, found["T5"].because) == (UNFIT_FOR_CERTAIN, "dead")
    for name in ("T1", "T2", "T4", "T6"):
        assert found[name].because == "evidence"
        assert math.isclose(found[name].evidence, results[name].evidence)


def test_two_suppliers_may_sell_lots_of_one_name(book):
    record_bag(book, "Birch")
    facts = record_bag(book, "Cedar")
    with pytest.raises(UnusableInput, match=r"from Birch, Cedar.*\n.*--supplier"):
        lot(facts)
    with pytest.raises(UnusableInput, match="--supplier"):
        part(facts, "T1", "bag")
    with pytest.raises(UnusableInput, match=r"several lots.*Birch"):
        part(facts, "T1", None)
    assert lot(facts, supplier="Cedar").supplier == "Cedar"
    assert standing_of(facts, part(facts, supplier="Cedar")).older == 0
    assert len(facts.find("part", lot="bag", supplier=ANY)) == 12


def test_lot_without_supplier_is_found_and_is_not_the_lot_of_a_supplier(book):
    record_bag(book, "Birch")
    facts = record_bag(book, "")
    with pytest.raises(UnusableInput, match="Birch, not stated"):
        lot(facts)
    assert len(facts.find("screening", lot="bag", supplier=None)) == 1
    assert len(facts.find("screening", lot="bag", supplier="Birch")) == 1


def test_unknown_lot_and_part_are_told_with_close_names(book):
    facts = record_bag(book)
    with pytest.raises(UnusableInput, match="close names: bag"):
        lot(facts, "bags")
    with pytest.raises(UnusableInput, match=r"no lot 'bag' from 'Cedar'.*\n.*from Birch"):
        lot(facts, supplier="Cedar")
    with pytest.raises(UnusableInput, match="close numbers: T6, T5, T4"):
        part(facts, "T7")
    with pytest.raises(UnusableInput, match="no part 'X9'"):
        part(facts, "X9", None)


def test_file_that_changed_while_it_was_judged_is_not_recorded(tmp_path, where):
    path = tmp_path / "bag.csv"
    path.write_bytes(FILES[0].read_bytes())
    chosen = ScreenOptions(type_name="2SC5200")
    outcome = screen_files([path], chosen, figures=False)
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(UnusableInput, match="changed while it was judged"):
        record_screening(outcome, [path], chosen, where)


def test_nothing_judged_is_nothing_recorded(tmp_path, where):
    missing = tmp_path / "absent.csv"
    outcome = screen_files([missing], ScreenOptions(), figures=False)
    with pytest.raises(UnusableInput, match="no lot was judged"):
        record_screening(outcome, [missing], ScreenOptions(), where)


def test_one_name_that_the_book_cannot_hold_does_not_stop_the_rest(book):
    from dataclasses import replace

    run = bag_run()
    (one,) = run.screening.lots
    parts = [p.model_copy(update={"part": "x" * 500}) if p.part == "T2" else p for p in one.parts]
    screening = run.screening.model_copy(update={"lots": [one.model_copy(update={"parts": parts})]})
    told = keep(book, Facts(book), replace(run, screening=screening))
    assert any("longer than 400 bytes; give it another name" in note for note in told.notes)
    assert sorted(e.body["part"] for e in book.entries(kind="part")) == ["T1", "T3", "T4", "T5", "T6"]
    assert show_lot(Facts(book), lot(Facts(book))).lots[0].parts == 6


def test_raw_files_of_a_run_have_their_roles():
    outcome, chosen = judged()
    assert [raw.role for raw in raw_files(outcome, FILES, chosen)] == ["readings", "readings", "kit"]
