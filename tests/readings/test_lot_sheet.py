"""Lot sheets and the one-line form of a lot."""

import pytest
from openpyxl import Workbook

from partscreen.errors import UnusableInput
from partscreen.readings.import_files import read_files
from partscreen.readings.rows.lot_sheet import load_lot_sheet, parse_lot_option
from partscreen.readings.tables import Lot
from tests.readings.bench_files import codes, write

SHEET = (
    "lot;supplier;type;maker;gain_group;count;known_good;bought_on;price;currency;shelf\n"
    "A1;Birch;2SC5200;;O;20;no;2026-03-01;2,40;EUR;7\n"
    "K;Alder;2SC5200;Toshiba;;5;yes;;;;\n"
)


def test_sheet_fills_the_lots_and_keeps_the_rest(tmp_path):
    sheet = load_lot_sheet(write(tmp_path, "lots.csv", SHEET))
    assert sheet.problems == []
    assert sheet.notices == ["lots.csv: columns not used: shelf"]
    assert sheet.lots["A1"] == Lot(
        "A1", "2SC5200", "Birch", None, "O", False, 20, {"bought_on": "2026-03-01", "price": "2,40", "currency": "EUR"}
    )
    assert sheet.lots["K"].known_good
    assert sheet.lots["K"].maker == "Toshiba"


def test_workbook_sheet_reads_alike(tmp_path):
    book = Workbook()
    for line in SHEET.splitlines():
        book.active.append([int(cell) if cell.isdigit() else cell or None for cell in line.split(";")])
    book.save(tmp_path / "lots.xlsx")
    from_book = load_lot_sheet(tmp_path / "lots.xlsx")
    assert from_book.lots == load_lot_sheet(write(tmp_path, "lots.csv", SHEET)).lots


@pytest.mark.parametrize(
    ("text", "code", "row", "column"),
    [
        ("lot,count\nA,many\n", "LOT_COUNT", 2, "count"),
        ("lot,known_good\nA,perhaps\n", "LOT_KNOWN_GOOD", 2, "known_good"),
        ("lot,type\nA,X\nA,Y\n", "LOT_TWICE", 3, "lot"),
        ("lot,type\n,X\n", "LOT_SHEET_NO_NAME", 2, "lot"),
        ("supplier,type\nBirch,X\n", "LOT_SHEET_NO_LOT", 1, ""),
        ("", "EMPTY_FILE", 0, ""),
    ],
)
def test_a_faulty_sheet_says_where(tmp_path, text, code, row, column):
    problems = load_lot_sheet(write(tmp_path, "lots.csv", text)).problems
    assert [(p.code, p.file, p.row, p.column) for p in problems] == [(code, "lots.csv", row, column)]


def test_lots_of_the_batch_take_what_the_sheet_says(tmp_path):
    data = write(tmp_path, "x.csv", "lot,part,ic [A],hfe\nA1,P1,1,80\na2,P2,1,80\n")
    batch = read_files([data], lot_sheet=write(tmp_path, "lots.csv", SHEET), type_name="2SA1943").batch
    assert [(lot.name, lot.type, lot.supplier) for lot in batch.lots] == [
        ("A1", "2SC5200", "Birch"),
        ("a2", "2SA1943", None),
    ]
    assert "lot a2 does not stand in the lot sheet; close names: A1" in batch.notices
    assert "no readings for lot(s) K of the lot sheet" in batch.notices


def test_missing_sheet_is_a_problem_and_the_readings_go_on(tmp_path):
    batch = read_files([write(tmp_path, "x.csv", "part,ic [A],hfe\nP1,1,80\n")], lot_sheet=tmp_path / "none.csv").batch
    assert codes(batch) == ["FILE_MISSING"]
    assert batch.n_parts == 1


def test_a_lot_on_one_line():
    lot = parse_lot_option('A1 type=2SC5200 supplier="Birch Parts" known_good=yes count=12 order=77')
    assert lot == Lot("A1", "2SC5200", "Birch Parts", None, None, True, 12, {"order": "77"})


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("", "names no lot"),
        ("type=2SC5200", "names no lot"),
        ("A1 typ=2SC5200", "'typ=2SC5200' is no field"),
        ("A1 good", "'good' is no field"),
        ("A1 count=x", "count 'x' is no number"),
        ('A1 supplier="Birch', "No closing quotation"),
    ],
)
def test_a_faulty_line_is_refused(text, what):
    with pytest.raises(UnusableInput) as caught:
        parse_lot_option(text)
    assert what in str(caught.value)


def test_a_single_lot_told_takes_the_files_that_name_none(tmp_path):
    data = write(tmp_path, "x.csv", "part,ic [A],hfe\nP1,1,80\n")
    batch = read_files([data], default_lots=[parse_lot_option("A1 type=2SC5200")]).batch
    assert [(lot.name, lot.type) for lot in batch.lots] == [("A1", "2SC5200")]


def test_files_named_by_a_lot_belong_to_it(tmp_path):
    one = write(tmp_path, "oak_1.csv", "part,ic [A],hfe\nP1,1,80\n")
    two = write(tmp_path, "elm.csv", "part,ic [A],hfe\nP2,1,80\n")
    sheet = write(tmp_path, "lots.csv", "lot,type,files\nA1,2SC5200,oak_*.csv\nB2,2SA1943,elm.csv\n")
    batch = read_files([one, two], lot_sheet=sheet).batch
    assert [(lot.name, lot.type) for lot in batch.lots] == [("A1", "2SC5200"), ("B2", "2SA1943")]
