"""Workbooks, JSON and Parquet that are broken, too large or meant to do harm: one clear message, no crash, no flood."""

import io
import json
import zipfile
import zlib

import pytest
from openpyxl import Workbook

from partscreen.readings import sizes
from partscreen.readings.forms import parquet_tables
from partscreen.readings.import_files import read_files
from tests.readings.bench_files import codes, imported, write
from tests.readings.one_lot import ods, ods_cell

HEADER = ["part", "ic [A]", "hfe"]


def _saved(book):
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _book(rows):
    book = Workbook()
    for row in rows:
        book.active.append(row)
    return book


def _with_member(data, name, content, *, stated_size=None):
    """A copy of a zip archive with one member replaced; `stated_size` lies about what it unpacks to."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            new.writestr(info.filename, content if info.filename == name else old.read(info.filename))
    if stated_size is None:
        return out.getvalue()
    changed = bytearray(out.getvalue())
    for mark, at in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        place = 0
        while (place := changed.find(mark, place)) >= 0:
            head = place + (30 if mark == b"PK\x03\x04" else 46)
            if changed[head : head + len(name)] == name.encode():
                changed[place + at : place + at + 4] = stated_size.to_bytes(4, "little")
            place += 4
    return bytes(changed)


SHEET = "xl/worksheets/sheet1.xml"
FLOOD = b"<worksheet><sheetData>" + b" " * (sizes.MAX_UNPACKED + 1000) + b"</sheetData></worksheet>"


@pytest.fixture(scope="module")
def flood():
    packed = zlib.compressobj(9, zlib.DEFLATED, -15)
    assert len(packed.compress(FLOOD) + packed.flush()) < 300_000
    good = _saved(_book([HEADER, ["1", 1, 80]]))
    return _with_member(good, SHEET, FLOOD), _with_member(good, SHEET, FLOOD, stated_size=900)


@pytest.mark.parametrize("which", ["says its size", "hides its size"])
def test_a_workbook_that_unpacks_to_too_much_is_refused_before_it_is_read(tmp_path, flood, which, monkeypatch):
    monkeypatch.setattr("python_calamine.CalamineWorkbook.from_filelike", None, raising=False)
    batch = imported(tmp_path, flood[which == "hides its size"], "bag.xlsx")
    assert codes(batch) == ["TOO_LARGE"]
    assert "unpacks to more than 256 MiB" in batch.problems[0].what


def test_two_cells_at_the_corners_of_a_sheet_ask_for_no_memory(tmp_path):
    book = _book([HEADER, ["1", 1, 80]])
    book.active["ZZ200000"] = 3
    batch = imported(tmp_path, _saved(book), "bag.xlsx")
    assert codes(batch) == ["TOO_LARGE"]
    assert "blank ones included" in batch.problems[0].what


def test_formatted_blank_cells_far_out_are_nothing(tmp_path):
    from openpyxl.styles import Font

    book = _book([HEADER, ["1", 1, 80]])
    book.active["ZZ200000"].font = Font(bold=True)
    assert imported(tmp_path, _saved(book), "bag.xlsx").problems == ()


def test_repeated_cells_of_an_open_document_sheet_ask_for_no_memory(tmp_path):
    row = f"<table:table-row>{''.join(map(ods_cell, HEADER))}</table:table-row>"
    wide = ' table:number-columns-repeated="16000"'
    many = f'<table:table-row table:number-rows-repeated="1000000">{ods_cell(1, wide)}</table:table-row>'
    batch = imported(tmp_path, ods([("Bag", [row, many])]), "bag.ods")
    assert codes(batch) == ["TOO_LARGE"]
    blank = many.replace(ods_cell(1, wide), ods_cell(None, wide))
    good = f"<table:table-row>{ods_cell('1')}{ods_cell(1.0)}{ods_cell(80.0)}</table:table-row>"
    fine = imported(tmp_path, ods([("Bag", [row, good, blank])]), "bag.ods")
    assert fine.problems == ()
    assert fine.points.hfe.tolist() == [80.0]


def test_long_texts_repeated_in_every_cell_are_refused(tmp_path):
    text = "x" * 30_000
    row = f"<table:table-row>{''.join(map(ods_cell, HEADER))}</table:table-row>"
    many = f'<table:table-row table:number-rows-repeated="100000">{ods_cell(text)}</table:table-row>'
    assert codes(imported(tmp_path, ods([("Bag", [row, many])]), "bag.ods")) == ["TOO_LARGE"]


ENTITIES = '<!DOCTYPE x [<!ENTITY a "1"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>'


@pytest.mark.parametrize("form", ["xlsx", "ods"])
def test_entities_are_not_expanded(tmp_path, form):
    if form == "ods":
        data = ods([("Bag", [f"<table:table-row>{ods_cell('part')}</table:table-row>"])], ENTITIES)
    else:
        data = _with_member(_saved(_book([HEADER])), SHEET, (ENTITIES + "<worksheet>&b;</worksheet>").encode())
    batch = imported(tmp_path, data, f"bag.{form}")
    assert codes(batch) == ["WORKBOOK_ENTITIES"]
    assert "not expanded" in batch.problems[0].what


def test_damaged_and_locked_workbooks_are_told(tmp_path):
    good = _saved(_book([HEADER, ["1", 1, 80]]))
    assert codes(imported(tmp_path, good[: len(good) // 2], "cut.xlsx")) == ["WORKBOOK_UNREADABLE"]
    locked = bytearray(good)
    place = locked.find(b"PK\x01\x02")
    locked[place + 8] |= 1
    batch = imported(tmp_path, bytes(locked), "locked.xlsx")
    assert codes(batch) == ["WORKBOOK_UNREADABLE"]
    assert "password" in batch.problems[0].what


def test_formulas_are_read_by_their_stored_value_and_named_where_they_have_none(tmp_path):
    book = _book([HEADER, ["1", "=2/2", 80], ["2", 1, 81], ["3", 1, "=40*2"], ["=4", 1, 70]])
    batch = imported(tmp_path, _saved(book), "bag.xlsx")
    assert codes(batch) == ["FORMULA_NO_VALUE", "FORMULA_NO_VALUE", "FORMULA_NO_VALUE", "MISSING_PART"]
    told = {(problem.column, problem.row): problem.what for problem in batch.problems[:3]}
    assert told["Sheet!B (ic [A])", 2] == "cell B2: '=2/2' is a formula without a stored value"
    assert ("Sheet!C (hfe)", 4) in told
    assert ("Sheet!A (part)", 5) in told
    assert "save it" in batch.problems[0].fix
    content = zipfile.ZipFile(io.BytesIO(_saved(book))).read(SHEET)
    stored = content
    for formula, value in ((b"2/2", b"1"), (b"40*2", b"80"), (b"4", b"4")):
        stored = stored.replace(b"<f>%s</f><v />" % formula, b"<f>%s</f><v>%s</v>" % (formula, value))
    batch = imported(tmp_path, _with_member(_saved(book), SHEET, stored), "bag.xlsx")
    assert batch.problems == ()
    assert batch.points.hfe.tolist() == [80.0, 81.0, 80.0, 70.0]


def test_a_formula_below_the_last_figure_is_not_lost(tmp_path):
    batch = imported(tmp_path, _saved(_book([HEADER, ["1", 1, 80], ["2", 1, 81], [None, None, "=C3"]])), "bag.xlsx")
    assert codes(batch)[0] == "FORMULA_NO_VALUE"
    assert batch.problems[0].row == 4


def test_formulas_and_errors_of_open_document_sheets_are_told(tmp_path):
    rows = [
        "".join(map(ods_cell, HEADER)),
        ods_cell("1") + '<table:table-cell table:formula="of:=1+1"/>' + ods_cell(80.0),
        ods_cell("2") + ods_cell(1.0, ' table:formula="of:=2/2"') + ods_cell(81.0),
        ods_cell("3") + '<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
        'calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>' + ods_cell(82.0),
    ]
    data = ods([("Bag", [f"<table:table-row>{row}</table:table-row>" for row in rows])])
    batch = imported(tmp_path, data, "bag.ods")
    assert codes(batch) == ["FORMULA_NO_VALUE"]
    assert "cell B2: '=1+1'" in batch.problems[0].what
    assert "also row 4" in batch.problems[0].what
    assert batch.points.use.tolist() == [False, True, False]


def test_merged_cells_of_an_open_document_sheet_are_named(tmp_path):
    rows = [
        "".join(map(ods_cell, HEADER)),
        ods_cell("1", ' table:number-rows-spanned="2"') + ods_cell(1.0) + ods_cell(80.0),
        "<table:covered-table-cell/>" + ods_cell(2.0) + ods_cell(70.0),
        ods_cell("2") + ods_cell(1.0) + ods_cell(81.0),
    ]
    batch = imported(tmp_path, ods([("Bag", [f"<table:table-row>{row}</table:table-row>" for row in rows])]), "b.ods")
    assert codes(batch) == ["MERGED_CELLS"]
    assert "A2:A3" in batch.problems[0].what
    assert batch.points.hfe.tolist() == [81.0]


def test_further_sheets_are_named(tmp_path):
    book = _book([["only a title"]])
    for name in ("one", "two"):
        sheet = book.create_sheet(name)
        sheet.append(HEADER)
        sheet.append([name, 1, 80])
    batch = imported(tmp_path, _saved(book), "bag.xlsx")
    assert batch.part_names == ("one", "two")
    assert any("2 sheets hold readings and were read: one, two" in notice for notice in batch.notices)
    assert any("sheet(s) without known column names: Sheet" in notice for notice in batch.notices)


@pytest.mark.parametrize(
    ("text", "code", "what"),
    [
        ("[" * 100_000, "JSON_UNREADABLE", "too deeply"),
        ('{"readings": ' + "[" * 5000 + "]" * 5000 + "}", "JSON_UNREADABLE", "too deeply"),
        ('{"part": "1",', "JSON_UNREADABLE", "line 1"),
        ('{"part": "1", "hfe": 80}', "JSON_FORM", "the file has the keys 'part', 'hfe'"),
        ("80", "JSON_FORM", "one figure"),
        ("[]", "JSON_FORM", "no record"),
        ('[{"part": "1"}, 7]', "JSON_FORM", "no list of records"),
        ('[{"part": "1", "hfe": 80, "hfe": 90}]', "JSON_KEY_TWICE", "'hfe' stands twice"),
        ('[{"colour": "red"}]', "NO_HEADER", "colour"),
        ('{"columns": ["part", "hfe"], "rows": 3}', "JSON_FORM", "rows is no list"),
        ('{"columns": ["part", 3], "rows": []}', "JSON_FORM", "no list of names"),
        ('{"columns": ["part", "hfe"], "units": ["1"], "rows": []}', "JSON_FORM", "units does not fit"),
    ],
)
def test_json_of_another_form_is_told(tmp_path, text, code, what):
    batch = imported(tmp_path, text, "bag.json")
    assert codes(batch) == [code]
    assert what in batch.problems[0].what
    assert batch.problems[0].fix


def test_bad_rows_and_cells_of_json_are_told_and_the_rest_is_read(tmp_path):
    rows = [["1", 1, 80], ["2", [1, 2], 81], ["3", 1], ["4", float("nan"), 82], ["5", 1, None], "x", ["6", 1, 83]]
    batch = imported(tmp_path, json.dumps({"columns": HEADER, "rows": rows, "bench": 2}), "bag.json")
    assert [(problem.code, problem.row) for problem in batch.problems] == [
        ("TOO_MANY_CELLS", 3),
        ("JSON_FORM", 2),
        ("NOT_A_NUMBER", 2),
        ("UNKNOWN_SWEEP", 5),
    ]
    assert batch.points.hfe[batch.points.use].tolist() == [80.0, 83.0]
    assert any("keys that hold no readings: bench" in notice for notice in batch.notices)


def test_json_units_booleans_and_texts_are_read_as_in_a_table(tmp_path):
    said = {
        "columns": ["part", "IC", "hfe", "control", "pulse"],
        "units": ["", "mA", "", "", "us"],
        "rows": [["1", 1000, 80, True, 300], ["2", "1.000,5", 81.5, False, "300"]],
    }
    batch = imported(tmp_path, json.dumps(said), "bag.json")
    assert batch.problems == ()
    assert batch.points.ic.tolist() == [1.0, 1.0005]
    assert batch.points.control.tolist() == [True, False]
    assert batch.points.pulsed.all()


def test_figures_of_absurd_length_in_json_are_told_quickly(tmp_path):
    batch = imported(tmp_path, '[{"part": "1", "hfe": ' + "9" * 300_000 + "}]", "bag.json")
    assert codes(batch) == ["INFINITE"]


def test_json_larger_than_its_limit_is_refused(tmp_path, monkeypatch):
    from partscreen.readings.forms import json_tables

    monkeypatch.setattr(json_tables, "MAX_JSON", 1000)
    batch = imported(tmp_path, json.dumps([{"part": "1", "hfe": 80}] * 100), "bag.json")
    assert codes(batch) == ["TOO_LARGE"]


def test_a_file_at_its_limit_is_read_and_one_byte_more_is_refused(tmp_path):
    path = write(tmp_path, "big.csv", "x" * 1000)
    assert len(sizes.read_capped(path, 1000)) == 1000
    with pytest.raises(sizes.TooLarge, match="larger than"):
        sizes.read_capped(path, 999)


def test_an_endless_file_is_refused(monkeypatch):
    from partscreen.readings.forms import sources

    monkeypatch.setattr(sources, "read_capped", lambda path: sizes.read_capped(path, 10_000))
    batch = read_files(["/dev/zero"]).batch
    assert codes(batch) == ["TOO_LARGE"]


def test_parquet_without_its_library_says_how_to_install_it(tmp_path, monkeypatch):
    import builtins

    real = builtins.__import__

    def without(name, *rest, **more):
        if name.startswith("pyarrow"):
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    batch = imported(tmp_path, b"PAR1 and so on PAR1", "bag.parquet")
    assert codes(batch) == ["PARQUET_NOT_INSTALLED"]
    assert "pip install 'partscreen[parquet]'" in batch.problems[0].fix


def test_parquet_types_are_read_and_what_is_no_figure_is_told(tmp_path):
    import pyarrow as pa
    from pyarrow import parquet

    table = pa.table(
        {
            "part": pa.array([1, 2, 3], pa.int16()),
            "ic [A]": pa.array([0.1, 0.2, None], pa.float32()),
            "hfe": pa.array([80.0, float("nan"), 82.0]),
            "sweep": pa.array(["gain", "gain", "gain"]).dictionary_encode(),
            "vbe [V]": pa.array([[0.6], [0.7], [0.7]]),
            "control": pa.array([True, False, None]),
        }
    )
    path = tmp_path / "bag.parquet"
    parquet.write_table(table, path)
    found = read_files([path])
    batch = found.batch
    assert batch.part_names == ("1", "2", "3")
    assert [(problem.code, problem.row) for problem in batch.problems] == [("PARQUET_CELL", 0), ("NOT_A_NUMBER", 2)]
    assert batch.points.ic.tolist()[:2] == [0.1, 0.2]
    assert found.understanding[0].encoding == "Parquet"
    parquet.write_table(pa.table({"colour": ["red"]}), path)
    assert codes(read_files([path]).batch) == ["NO_HEADER"]


def test_large_or_broken_parquet_is_refused_from_its_foot(tmp_path, monkeypatch):
    import pyarrow as pa
    from pyarrow import parquet

    path = tmp_path / "bag.parquet"
    parquet.write_table(pa.table({"part": ["1"] * 5000, "hfe": [80.0] * 5000}), path)
    monkeypatch.setattr(parquet_tables, "MAX_PARQUET_CELLS", 9_000)
    batch = read_files([path]).batch
    assert codes(batch) == ["TOO_LARGE"]
    assert "10,000 cells" in batch.problems[0].what
    # Like cells are kept once, so that only different ones fill the memory.
    monkeypatch.setattr(parquet_tables, "MAX_PARQUET_CELLS", 10_000)
    monkeypatch.setattr(parquet_tables, "MAX_CELLS", 100)
    assert codes(read_files([path]).batch) == []
    many = tmp_path / "many.parquet"
    parquet.write_table(pa.table({"part": ["1"] * 200, "hfe": [80.0 + 0.01 * i for i in range(200)]}), many)
    batch = read_files([many]).batch
    assert codes(batch) == ["TOO_LARGE"]
    assert "100 different cells" in batch.problems[0].what
    assert codes(imported(tmp_path, path.read_bytes()[:-20], "cut.parquet")) == ["PARQUET_UNREADABLE"]
    assert codes(imported(tmp_path, b"part,hfe\n", "text.parquet")) != []
