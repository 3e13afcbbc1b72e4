"""A sitting keeps every confirmed line, alters none by itself, and goes on where it ended."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.import_files import import_files
from partscreen.readings.typed.columns import columns_from
from partscreen.readings.typed.journal import SAME_SITTING, Begun, Journal
from partscreen.readings.typed.order import Order
from partscreen.readings.typed.sitting import Sitting
from partscreen.readings.typed.table_file import table_text, write_table

COLUMNS = columns_from(["C_BE [nF] @ VEB=0 V", "C_CB [pF] @ VCB=10 V", "hFE @ IC=1 A, VCE=5 V"])
BEGUN = Begun("A1", "2SC5200", tuple(column.header for column in COLUMNS))


@pytest.fixture
def place(tmp_path) -> Path:
    return tmp_path / "a1.csv.journal"


def sat(journal: Journal, **order) -> Sitting:
    return Sitting(COLUMNS, Order("A1", **order), journal)


def typed(place: Path, *lines: str, **order) -> Sitting:
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal, **order)
        for line in lines:
            sitting.take(line)
    return sitting


def test_lines_stand_in_the_journal_before_the_reply_comes_back(place):
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        for n, line in enumerate(("1.92 190 95", "1.88 187 93"), start=2):
            assert sitting.take(line).kept is not None
            assert len(place.read_text().splitlines()) == n


def test_a_second_sitting_goes_on_with_the_next_part(place):
    typed(place, "1.92 190 95", "1.88 187 93")
    with Journal(place, BEGUN) as journal:
        assert journal.went_on
        sitting = sat(journal)
        assert sitting.prompt == "A1-T0003 = "
        assert [entry.values[2] for entry in sitting.entries] == [95.0, 93.0]


@pytest.mark.parametrize("cut", [1, 10, 40])
def test_a_line_cut_off_in_the_middle_is_left_out_and_the_next_is_whole(place, cut):
    typed(place, "1.92 190 95", "1.88 187 93")
    whole = place.read_bytes()
    place.write_bytes(whole[:-cut])
    with Journal(place, BEGUN) as journal:
        assert journal.torn
        assert len(sat(journal).entries) == 1
        sat(journal).take("1.7 170 90")
    assert [entry.values[2] for entry in typed(place).entries] == [95.0, 90.0]


def test_undo_takes_back_lines_one_after_the_other_and_survives(place):
    sitting = typed(place, "1.92 190 95", "1.88 187 93", "skip", "undo", "undo")
    assert [entry.part for entry in sitting.entries] == ["A1-T0001"]
    assert typed(place, "undo", "undo").entries == []
    assert len(place.read_text().splitlines()) == 7  # nothing is ever rubbed out: the beginning, 3 lines, 3 undos


def test_undo_of_a_replacement_brings_the_old_line_back(place):
    sitting = typed(place, "1.92 190 95", "1.88 187 93", "T1: 1.7 171 90", "keep")
    assert [entry.values[2] for entry in sitting.entries] == [90.0, 93.0]
    assert [entry.values[2] for entry in typed(place, "undo").entries] == [95.0, 93.0]


def test_part_that_is_in_is_replaced_only_when_told_so(place):
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        sitting.take("1.92 190 95")
        reply = sitting.take("1: 1.7 171 90")
        assert reply.kept is None
        assert "is in already" in reply.say[0]
        sitting.take("drop")
        assert sitting.entries[0].values[2] == 95.0


def test_slip_is_asked_about_and_each_answer_does_what_it_says(place):
    for answer, expected in (("yes", 1.9e-9), ("keep", 1.9e-12), ("drop", None), ("1.91 187 94", 1.91e-9)):
        place.unlink(missing_ok=True)
        sitting = typed(place, "1.92 190 95", "1.88 187 93", "1.9 188 96", "0.0019 186 92", answer)
        found = sitting.entries[3].values[0] if len(sitting.entries) > 3 else None
        assert found == (None if expected is None else pytest.approx(expected)), answer
        assert sitting.entries[-1].typed != "keep"


def test_an_open_question_keeps_nothing(place):
    sitting = typed(place, "1.92 190 95", "1.88 187 93", "1.9 188 96", "0.0019 186 92")
    assert sitting.asks
    assert len(typed(place).entries) == 3


def test_figure_that_no_part_reads_cannot_be_kept(place):
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        for line in ("1.92 190 95", "1.88 187 93", "1.9 188 96"):
            sitting.take(line)
        sitting.take("1900 186 92")
        assert sitting.asks
        assert "yes" in sitting.take("keep").say[0]
        assert len(sitting.entries) == 3
        assert sitting.take("yes").kept.values[0] == pytest.approx(1.9e-9)


def test_same_line_twice_is_asked_about(place):
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        sitting.take("1.92 190 95")
        assert "typed twice" in sitting.take("1.92 190 95").say[0]
        sitting.take("keep")
        assert len(sitting.entries) == 2


def test_control_piece_is_asked_first_every_tenth_and_last(place):
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal, count=12, control="REF")
        asked = []
        for n in range(15):
            asked.append(sitting.prompt.split(" ")[0])
            sitting.take(f"{1.9 + 0.001 * n:.3f} {190 + n} {95 + 0.1 * n:.1f}")
    assert [i for i, name in enumerate(asked) if name == "REF"] == [0, 11, 14]
    assert asked[1] == "A1-T0001"
    assert asked[13] == "A1-T0012"
    assert sitting.prompt.startswith("all are in")


def test_other_lot_type_or_readings_are_told_and_nothing_is_changed(place):
    typed(place, "1.92 190 95")
    before = place.read_bytes()
    with pytest.raises(UnusableInput) as caught:
        Journal(place, Begun("B1", "2SA1943", ("hFE @ IC=1 A",)))
    assert len(caught.value.problems) == 3
    assert place.read_bytes() == before


def test_two_programs_do_not_write_one_journal(place):
    pytest.importorskip("fcntl")
    with Journal(place, BEGUN), pytest.raises(UnusableInput, match="another type-in"):
        Journal(place, BEGUN)


def test_file_that_is_no_journal_is_left_alone(place):
    place.write_text("lot,part\nA1,T1\n")
    with pytest.raises(UnusableInput, match="cannot be read"):
        Journal(place, BEGUN)
    assert place.read_text() == "lot,part\nA1,T1\n"


def test_going_on_after_a_long_break_is_another_session(place):
    typed(place, "1.92 190 95")
    events = [json.loads(line) for line in place.read_text().splitlines()]
    long_ago = datetime.now().astimezone() - timedelta(seconds=SAME_SITTING + 60)
    for event in events:
        event["at"] = long_ago.isoformat(timespec="seconds")
    place.write_text("".join(json.dumps(event) + "\n" for event in events))
    assert [entry.session for entry in typed(place, "1.88 187 93").entries] == [1, 2]


def test_the_table_is_read_back_as_typed(place, tmp_path):
    sitting = typed(place, "1.92 190 95", "1,88nF - 93", "skip", "C_BE=1900pF hFE=96")
    path = tmp_path / "a1.csv"
    write_table(path, table_text("A1", COLUMNS, sitting.entries))
    batch = import_files([path], type_name="2SC5200")
    assert not batch.problems
    assert batch.part_names == ("A1-T0001", "A1-T0002", "A1-T0004")
    spots = batch.spots
    read = {(batch.part_names[p], str(q)): v for p, q, v in zip(spots.part, spots.quantity, spots.value, strict=True)}
    assert read["A1-T0002", "c_be"] == pytest.approx(1.88e-9, rel=1e-12)
    assert read["A1-T0004", "c_be"] == pytest.approx(1.9e-9, rel=1e-12)
    assert ("A1-T0002", "c_cb") not in read
    assert np.isclose(read["A1-T0001", "hfe"], 95.0)


def test_remark_of_a_part_far_off_the_parts_before_comes_with_the_line(place):
    rng = np.random.default_rng(3)
    lines = [f"{1.9 * (1 + 0.02 * e):.3f} {190 * (1 + 0.02 * e):.1f} {95 * (1 + 0.03 * f):.1f}"
             for e, f in rng.standard_normal((8, 2))]  # fmt: skip
    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        said = [sitting.take(line).say for line in lines]
        assert not any("middle of the" in text for reply in said for text in reply)
        assert any("times below the middle of the 8 parts" in text for text in sitting.take("0.8 80 95").say)


def test_words_that_are_no_commands_and_empty_lines_do_no_harm(place):
    sitting = typed(place, "hello", "T9:", "- - -", "yes", "settle x", "list", "?", "more", "undo")
    assert sitting.entries == []


def test_five_hundred_parts_are_taken_line_after_line_without_growing_slow(place):
    import time

    with Journal(place, BEGUN) as journal:
        sitting = sat(journal)
        rng = np.random.default_rng(5)
        took = []
        for n in range(500):
            begun = time.process_time()
            sitting.take(f"{1.9 * np.exp(0.05 * rng.standard_normal()):.4f} {190 + n / 100:.2f} {95 + n / 100:.2f}")
            took.append(time.process_time() - begun)
    assert len(sitting.entries) == 500
    assert float(np.median(took[-20:])) < 0.05


def test_gain_of_a_tester_that_tells_no_current_is_read_back_too(tmp_path):
    columns = columns_from(["hFE", "C_CB [pF] @ VCB=10 V"])
    begun = Begun("A1", "2SC5200", tuple(column.header for column in columns))
    with Journal(tmp_path / "j", begun) as journal:
        sitting = Sitting(columns, Order("A1"), journal)
        sitting.take("95 190")
    assert sitting.heading()[1] == "  1. hFE"
    for kept in (columns, columns[:1]):
        write_table(tmp_path / "a1.csv", table_text("A1", kept, sitting.entries))
        batch = import_files([tmp_path / "a1.csv"], type_name="2SC5200")
        assert not batch.problems
        assert "hfe" in batch.spots.quantity
