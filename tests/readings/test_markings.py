"""One lot, two types: told by the sheet, on the command line, or in the rows; never silently one of them."""

import pytest

from partscreen.readings.import_files import read_files
from partscreen.readings.rows.lot_sheet import load_lot_sheet
from partscreen.readings.tables import SEVERAL_TYPES, Lot
from tests.readings.bench_files import codes, write

READINGS = "lot,part,ic [A],hfe\nA,P1,1,80\n"


def rows(*types):
    return "lot,part,type,ic [A],hfe\n" + "".join(f"A,P{i + 1},{name},1,8{i}\n" for i, name in enumerate(types))


def test_a_lot_that_the_sheet_gives_two_types_is_of_neither_whatever_else_says(tmp_path):
    sheet = write(tmp_path, "lots.csv", "lot,type\nA,2SC5200\nA,2SA1943\nA,MJL21194\n")
    problems = load_lot_sheet(sheet).problems
    assert [p.code for p in problems] == ["LOT_TWICE", "LOT_TWICE"]
    assert "2SC5200 and 2SA1943" in problems[0].what
    assert "held" in problems[0].fix
    batch = read_files([write(tmp_path, "x.csv", READINGS)], lot_sheet=sheet, type_name="2SC5200").batch
    assert batch.lots[0].type is None
    assert batch.lots[0].extra[SEVERAL_TYPES] == "2SC5200, 2SA1943, MJL21194"


def test_a_lot_that_stands_twice_with_one_type_keeps_it(tmp_path):
    sheet = load_lot_sheet(write(tmp_path, "lots.csv", "lot,type,count\nA,2SC5200,3\nA,C5200,4\n"))
    assert [p.code for p in sheet.problems] == ["LOT_TWICE"]
    assert (sheet.lots["A"].type, sheet.lots["A"].count) == ("2SC5200", 3)


def test_a_lot_told_twice_on_the_command_line_is_of_neither_type(tmp_path):
    told = [Lot("A", "2SC5200"), Lot("A", "2SA1943")]
    batch = read_files([write(tmp_path, "x.csv", READINGS)], default_lots=told).batch
    assert codes(batch) == ["LOT_TWICE"]
    assert batch.lots[0].type is None
    assert batch.lots[0].extra[SEVERAL_TYPES] == "2SC5200, 2SA1943"


def test_the_command_line_wins_over_the_sheet_and_says_so(tmp_path):
    sheet = write(tmp_path, "lots.csv", "lot,type\nA,2SA1943\n")
    data = write(tmp_path, "x.csv", READINGS)
    batch = read_files([data], lot_sheet=sheet, default_lots=[Lot("A", "2SC5200")]).batch
    assert batch.lots[0].type == "2SC5200"
    assert "lot A: the lot sheet says 2SA1943, --lot says 2SC5200: --lot holds" in batch.notices


def test_a_part_marked_otherwise_than_its_lot_is_unusable_and_the_others_go_on(tmp_path):
    data = write(tmp_path, "x.csv", rows("2SC5200", "2SA1943", "C5200"))
    batch = read_files([data], type_name="2SC5200").batch
    (problem,) = batch.problems
    assert (problem.code, problem.file, problem.row, problem.part) == ("TYPE_CONFLICT", "x.csv", 3, "P2")
    assert "2SA1943" in problem.what
    assert "2SC5200" in problem.what
    assert {code: c.status for code, c in batch.condition.items()} == {1: "unusable"}


def test_rows_of_several_types_in_a_lot_of_no_stated_type_leave_it_without_one(tmp_path):
    batch = read_files([write(tmp_path, "x.csv", rows("2SC5200", "2SA1943", "2SC5200"))]).batch
    assert codes(batch) == ["TYPE_CONFLICT"]
    assert batch.lots[0].type is None
    assert batch.lots[0].extra[SEVERAL_TYPES] == "2SC5200, 2SA1943"


def test_rows_of_one_type_name_that_of_a_lot_that_nothing_else_names(tmp_path):
    batch = read_files([write(tmp_path, "x.csv", rows("2SC5200", "2SC5200"))]).batch
    assert codes(batch) == []
    assert batch.lots[0].type == "2SC5200"
    assert any("was taken as 2SC5200" in notice for notice in batch.notices)


@pytest.mark.parametrize("word", ["gain", "NPN", "saturation", ""])
def test_a_column_type_that_holds_no_type_numbers_is_no_marking(tmp_path, word):
    batch = read_files([write(tmp_path, "x.csv", rows(word, word))], type_name="2SC5200").batch
    assert codes(batch) == []
    assert batch.lots[0].type == "2SC5200"
