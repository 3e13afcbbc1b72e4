"""Bad input: one clear message with file, row, column and the way out; the good parts go on."""

import numpy as np
import pytest
from openpyxl import Workbook

from partscreen.readings.import_files import read_files
from tests.readings.bench_files import codes, imported, write

HEADER = "lot,part,ic [A],ib [mA],vce [V]\n"
GOOD = "".join(f"A,P{p},{ic},{ic * 10},5\n" for p in (1, 2) for ic in (0.1, 0.5, 1.0))


def _only(batch):
    assert len(batch.problems) == 1, [str(problem) for problem in batch.problems]
    return batch.problems[0]


def _good_parts_stand(batch):
    part = {name: i for i, name in enumerate(batch.part_names)}
    for name in ("P1", "P2"):
        rows = (batch.points.part == part[name]) & batch.points.use
        assert np.array_equal(batch.points.ic[rows], [0.1, 0.5, 1.0])
        assert part[name] not in batch.condition


@pytest.mark.parametrize(
    ("name", "content", "code", "row", "what", "fix"),
    [
        ("empty.csv", b"", "EMPTY_FILE", 0, "the file is empty", "export the readings again"),
        ("blank.csv", b" \r\n\n", "EMPTY_FILE", 0, "the file is empty", "export the readings again"),
        ("head.csv", HEADER.encode(), "NO_ROWS", 1, "a header but no row below", "one row a reading"),
        (
            "tilde.csv",
            (HEADER + GOOD).replace(",", "~").encode(),
            "NO_HEADER",
            1,
            "lot~part~ic",
            "use one of these separators",
        ),
        (
            "two_marks.csv",
            (HEADER + GOOD.replace(",", ";")).encode(),
            "WRONG_DELIMITER",
            2,
            "the header has 5 columns, but 6 of the 6 rows do not come apart likewise",
            "use one separator",
        ),
        ("noise.csv", bytes(range(256)) * 4, "BINARY_FILE", 0, "binary data", "export the readings as CSV"),
        ("sheet.pdf", b"%PDF-1.7 something", "BINARY_FILE", 0, "a PDF", "export the readings as CSV"),
        (
            "broken.xlsx",
            b"PK\x03\x04 not a workbook",
            "WORKBOOK_UNREADABLE",
            0,
            "cannot be opened",
            "save it again as .xlsx",
        ),
        ("words.csv", b"dear sir\nthe transistors are here\n", "NO_HEADER", 1, "'dear sir'", "name the columns"),
        (
            "commas.csv",
            b"part,ic [A],hfe\nP1,0,435,80\nP2,0,5,81\n",
            "TOO_MANY_CELLS",
            2,
            "4 cells where the header has 3 (2 of 2 rows",
            "save the file with semicolons",
        ),
        (
            "bag.csv",
            b"ic [A],hfe\n1,80\n1,80\n1,80\n",
            "MISSING_PART",
            1,
            "no column that names the part",
            "add a column part",
        ),
        ("notes.csv", b"lot,part,remark\nA,1,fine\n", "NO_READINGS", 1, "no column of currents", "name the columns ic"),
    ],
)
def test_a_file_that_cannot_be_used_says_so_once_and_the_others_go_on(tmp_path, name, content, code, row, what, fix):
    good = write(tmp_path, "good.csv", HEADER + GOOD)
    batch = read_files([write(tmp_path, name, content), good]).batch
    problem = _only(batch)
    assert (problem.code, problem.file, problem.row) == (code, name, row)
    assert what in problem.what
    assert fix in problem.fix
    assert [one.code for one in batch.inputs[0].problems] == [code]
    assert batch.inputs[1].problems == []
    _good_parts_stand(batch)


@pytest.mark.parametrize(
    ("rows", "code", "row", "column", "what"),
    [
        ("A,P3,nan,1,5\nA,P3,1,10,5\n", "NOT_A_NUMBER", 8, "ic [A]", "'nan' is no reading"),
        ("A,P3,1,inf,5\nA,P3,1,10,5\n", "INFINITE", 8, "ib [mA]", "'inf' is no reading"),
        ("A,P3,1,1e999,5\nA,P3,1,10,5\n", "INFINITE", 8, "ib [mA]", "too large"),
        ("A,P3,one,10,5\nA,P3,1,10,5\n", "NOT_A_NUMBER", 8, "ic [A]", "'one' is not a number"),
        ("A,P3,OL,10,5\nA,P3,1,10,5\n", "OVERRANGE", 8, "ic [A]", "over its range"),
        ("A,P3,<1,10,5\nA,P3,1,10,5\n", "BOUND_NOT_VALUE", 8, "ic [A]", "a bound, not a reading"),
        ("A,P3,1500,10,5\nA,P3,1,10,5\n", "IMPOSSIBLE_SIZE", 8, "ic [A]", "IC of 1500 A is impossible"),
        (
            "A,P3,1 V,10,5\nA,P3,1,10,5\n",
            "UNKNOWN_UNIT",
            8,
            "ic [A]",
            "'V' after the figure is no unit of collector current",
        ),
        ("A,P3,1 MA,10,5\nA,P3,1,10,5\n", "AMBIGUOUS_UNIT", 8, "ic [A]", "milli (mA) or as mega (MA)"),
    ],
)
def test_a_bad_cell_is_named_and_its_part_goes_on_with_the_other_rows(tmp_path, rows, code, row, column, what):
    batch = imported(tmp_path, HEADER + GOOD + rows)
    problem = _only(batch)
    assert (problem.code, problem.file, problem.row, problem.column) == (code, "bag.csv", row, column)
    assert (problem.lot, problem.part) == ("A", "P3")
    assert what in problem.what
    assert problem.fix
    _good_parts_stand(batch)
    mine = batch.points.part == 2
    assert batch.points.use[mine].tolist() == [False, True]
    assert [(note.code, note.figures["rows"], note.used) for note in batch.quality[2]] == [("BAD_CELLS", 1, False)]


def test_negative_gain_is_refused_and_told(tmp_path):
    batch = imported(tmp_path, "part,ic [A],hfe\nP1,1,-50\nP1,2,50\nP2,1,60\n")
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == ("NEGATIVE_HFE", 2, "hfe")
    assert "-50" in problem.what
    assert batch.points.use.tolist() == [False, True, True]


def test_many_bad_cells_of_a_column_are_one_message(tmp_path):
    rows = "".join(f"A,P9,bad{i},1,5\n" for i in range(40))
    problem = _only(imported(tmp_path, HEADER + GOOD + rows))
    assert "(also rows 9, 10, 11, 12, 13, 14, 15, 16 and 31 more)" in problem.what


def test_an_enormous_line_is_left_out_and_the_rest_is_read(tmp_path):
    batch = imported(tmp_path, HEADER + GOOD + "A,P3," + "1" * 1_100_000 + ",1,5\n")
    problem = _only(batch)
    assert (problem.code, problem.row) == ("LINE_TOO_LONG", 8)
    assert "1,100,009 characters" in problem.what
    _good_parts_stand(batch)


def test_a_quote_that_never_closes_does_not_swallow_the_file(tmp_path):
    text = HEADER + GOOD + 'A,"P3,1,10,5\n' + "".join(f"A,P4,{i / 100},{i / 10},5\n" for i in range(1, 60))
    batch = imported(tmp_path, text)
    _good_parts_stand(batch)
    assert (batch.points.part == batch.part_names.index("P4")).sum() == 59


def test_ambiguous_number_stops_its_column_with_both_readings(tmp_path):
    batch = imported(tmp_path, 'part,hfe,ic [A]\nP1,"1,234",5\nP2,"1,100",5\n')
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == ("AMBIGUOUS_NUMBER", 2, "hfe")
    assert "'1,234' can be read as 1.234 or as 1234" in problem.what
    assert 'decimal = ","' in problem.fix
    assert np.isnan(batch.points.hfe).all()


@pytest.mark.parametrize(
    ("text", "hfe"),
    [
        ("part\thfe\tic [A]\n1\t1,234\t5\n2\t98,5\t5\n", [1.234, 98.5]),  # another cell of the column
        ("part\thfe\tic [A]\n1\t1,234\t0,5\n", [1.234]),  # another column
        ('part,hfe,ic [A]\n1,"1,234",0.5\n', [1234.0]),  # another column, the other way
        ("part;hfe;ic [A]\n1;1,234;5\n", [1.234]),  # the semicolon
        ('part,hfe,ic [A]\n1,"1,234.5",5\n2,"1,234",5\n', [1234.5, 1234.0]),  # both marks in one cell
        ("part;hfe;ic [A]\n1;0,435;5\n", [0.435]),  # never 435
        ("part;hfe;ic [A]\n1;13,75;5\n", [13.75]),  # never 1375
    ],
)
def test_evidence_in_the_file_settles_the_decimal_mark(tmp_path, text, hfe):
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    np.testing.assert_allclose(batch.points.hfe, hfe, rtol=1e-12)


def test_a_column_with_both_marks_is_read_cell_by_cell_where_certain(tmp_path):
    batch = imported(tmp_path, "part;vbe [V];ic [A]\n1;0,61;1\n2;0.62;1\n3;1,234;1\n")
    problem = _only(batch)
    assert (problem.code, problem.row) == ("AMBIGUOUS_NUMBER", 4)
    np.testing.assert_allclose(batch.points.vbe[:2], [0.61, 0.62])


@pytest.mark.parametrize("header", ["IC [MA]", "ic (MA)", "IC/MA", "IC_MA"])
def test_a_prefix_of_doubtful_case_is_asked_about_never_guessed(tmp_path, header):
    batch = imported(tmp_path, f"part,{header},hfe\n1,500,80\n")
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == ("AMBIGUOUS_UNIT", 1, header)
    assert "milli (mA) or as mega (MA)" in problem.what
    assert np.isnan(batch.points.ic).all()
    assert not batch.points.use.any()


@pytest.mark.parametrize("unit", ["nf", "NF", "nfd"])
def test_a_case_slip_with_one_reading_is_accepted_with_a_notice(tmp_path, unit):
    batch = imported(tmp_path, f"part,quantity,value,unit\n1,C_BE,4.8,{unit}\n")
    assert batch.problems == ()
    np.testing.assert_allclose(batch.spots.value, [4.8e-9])
    assert any("read as nF" in notice for notice in batch.notices) or unit == "nfd"


def test_temperature_without_unit_is_read_only_where_one_reading_is_left(tmp_path):
    celsius = imported(tmp_path, "part,ic [A],hfe,case_temp\n1,1,80,25\n")
    kelvin = imported(tmp_path, "part,ic [A],hfe,case_temp\n1,1,80,298.15\n")
    mixed = imported(tmp_path, "part,ic [A],hfe,case_temp\n1,1,80,25\n2,1,80,298.15\n")
    assert celsius.points.case_temp.tolist() == kelvin.points.case_temp.tolist() == [298.15]
    assert any("degrees Celsius" in notice for notice in celsius.notices)
    assert codes(mixed) == ["NO_UNIT"]
    assert np.isnan(mixed.points.case_temp).all()


def test_duplicate_part_is_unusable_and_the_others_go_on(tmp_path):
    batch = imported(
        tmp_path, HEADER + GOOD + "A,P3,0.1,1.1,5\nA,P3,0.5,5.5,5\nA,P4,1,10,5\nA,P3,0.1,1.4,5\nA,P3,0.5,6,5\n"
    )
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == ("DUPLICATE_PART", 11, "part")
    assert (problem.part, problem.lot) == ("P3", "A")
    assert "give the second part its own number" in problem.fix
    assert {batch.part_names[i]: c.code for i, c in batch.condition.items()} == {"P3": "DUPLICATE_PART"}
    _good_parts_stand(batch)


@pytest.mark.parametrize("column", ["run", "time [s]", "control"])
def test_a_repeat_that_is_meant_is_no_duplicate(tmp_path, column):
    first, second = ("yes", "yes") if column == "control" else ("1", "2")
    text = f"part,ic [A],hfe,{column}\n1,1,80,{first}\n2,1,85,{'no' if column == 'control' else '1'}\n1,1,81,{second}\n"
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    assert batch.points.run.tolist() == [0, 1, 2]
    assert batch.points.part.tolist() == [0, 0, 1]


def test_a_spot_reading_given_twice_apart_is_a_duplicate(tmp_path):
    batch = imported(tmp_path, "part,quantity,value,unit\n1,C_BE,4.8,nF\n2,C_BE,4.7,nF\n1,C_BE,2.1,nF\n")
    assert codes(batch) == ["DUPLICATE_PART"]
    assert batch.condition[0].status == "unusable"


def test_part_in_two_lots_makes_both_copies_unusable(tmp_path):
    batch = imported(tmp_path, HEADER + GOOD + "A,P3,1,10,5\nB,P3,1,10,5\n")
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column, problem.part) == ("PART_IN_TWO_LOTS", 9, "lot", "P3")
    assert "2 lots: A, B" in problem.what
    assert sorted(batch.condition) == [2, 3]
    assert all(condition.status == "unusable" for condition in batch.condition.values())
    _good_parts_stand(batch)


def test_part_in_two_lots_is_found_across_files_unless_it_is_a_bare_number(tmp_path):
    one = write(tmp_path, "a.csv", "part,ic [A],hfe\nX7,1,80\n3,1,80\n")
    two = write(tmp_path, "b.csv", "part,ic [A],hfe\n3,1,82\nX7,1,81\n")
    problem = _only(read_files([one, two]).batch)
    assert (problem.code, problem.file, problem.row, problem.part) == ("PART_IN_TWO_LOTS", "b.csv", 3, "X7")


def test_bags_that_each_count_from_one_are_told_apart_with_a_notice(tmp_path):
    rows = [f"{lot},{part},{ic},80" for lot in "AB" for part in (1, 2, 3, 4) for ic in (0.5, 1)]
    batch = imported(tmp_path, "lot,part,ic [A],hfe\n" + "\n".join(rows))
    assert batch.problems == ()
    assert batch.n_parts == 8
    assert any("number their parts 1, 2, 3" in notice for notice in batch.notices)


def test_a_stray_number_in_a_second_lot_is_a_slip(tmp_path):
    rows = [f"A,{part},1,80" for part in range(1, 9)] + ["B,8,1,80", "B,9,1,80", "B,10,1,80"]
    batch = imported(tmp_path, "lot,part,ic [A],hfe\n" + "\n".join(rows))
    assert codes(batch) == ["PART_IN_TWO_LOTS"]


def test_rows_without_part_or_lot_are_listed_as_not_judged(tmp_path):
    batch = imported(tmp_path, HEADER + GOOD + "A,,1,10,5\n,P9,1,10,5\n")
    assert [(p.code, p.row, p.column) for p in batch.problems] == [
        ("MISSING_PART", 8, "part"),
        ("MISSING_LOT", 9, "lot"),
    ]
    assert [(one.lot, one.part) for one in batch.not_judged] == [("A", None), (None, "P9")]
    _good_parts_stand(batch)


def test_one_sweep_without_a_part_column_is_one_part_with_a_notice(tmp_path):
    batch = imported(tmp_path, "ic [A],hfe\n0.1,80\n0.5,85\n1,80\n", name="q7.csv")
    assert batch.part_names == ("q7",)
    assert any("taken as one part, named 'q7'" in notice for notice in batch.notices)


def test_merged_cells_are_named_and_their_rows_left_out(tmp_path):
    book = Workbook()
    sheet = book.active
    sheet.title = "Bag"
    sheet.append(["title over all", None, None])
    sheet.merge_cells("A1:C1")
    sheet.append(["part", "ic [A]", "hfe"])
    for part, ic, hfe in (("P1", 0.1, 80), ("P1", 0.5, 85), ("P2", 0.1, 70), (None, 0.5, 72)):
        sheet.append([part, ic, hfe])
    sheet.merge_cells("A5:A6")
    path = tmp_path / "bag.xlsx"
    book.save(path)
    batch = read_files([path]).batch
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == ("MERGED_CELLS", 5, "Bag!A")
    assert "A5:A6" in problem.what
    assert "undo the merging" in problem.fix
    assert batch.part_names == ("P1", "P2")
    assert batch.condition[1].code == "MERGED_CELLS"
    assert batch.points.part.tolist() == [0, 0]


def test_two_columns_of_one_meaning_are_not_chosen_between(tmp_path):
    batch = imported(tmp_path, "part,ic [A],Ic [mA],hfe\n1,1,900,80\n")
    problem = _only(batch)
    assert (problem.code, problem.row) == ("COLUMN_TWICE", 1)
    assert "neither was used" in problem.fix


def test_spot_quantity_as_a_column_beside_a_sweep_is_read_once_a_part(tmp_path):
    batch = imported(tmp_path, "part,ic [A],hfe,C_BE [nF]\n1,1,80,4.8\n1,2,70,4.8\n2,1,81,\n2,2,71,4.7\n")
    assert batch.problems == ()
    assert batch.points.hfe.tolist() == [80.0, 70.0, 81.0, 71.0]
    assert batch.spots.quantity.tolist() == ["c_be", "c_be"]
    assert batch.spots.row.tolist() == [2, 5]
    np.testing.assert_allclose(batch.spots.value, [4.8e-9, 4.7e-9])


@pytest.mark.parametrize(
    ("row", "code", "column", "what"),
    [
        ("1,C_BE,4800,,", "NO_UNIT", "unit", "C_BE of 4800 has no unit"),
        ("1,C_BX,4.8,nF,", "UNKNOWN_QUANTITY", "quantity", "'C_BX' is not known"),
        ("1,C_BE,4.8,nV,", "UNKNOWN_UNIT", "unit", "'nV' is no unit"),
        ("1,C_BE,4.8,mF,", "AMBIGUOUS_UNIT", "unit", "millifarad"),
        ("1,C_BE,4.8,F,", "IMPOSSIBLE_SIZE", "value", "C_BE of 4.8 F is impossible"),
        ("1,hFE,-3,,", "NEGATIVE_VALUE", "value", "cannot be negative"),
        ("1,C_BE,,nF,", "NO_VALUE", "value", "no value"),
        ("1,C_CB,118,pF,VXB=10 V", "UNKNOWN_CONDITION", "conditions", "'VXB' is not known"),
        ("1,C_CB,118,pF,f=1 mhz", "AMBIGUOUS_UNIT", "conditions", "megahertz"),
    ],
)
def test_a_bad_spot_row_is_named(tmp_path, row, code, column, what):
    batch = imported(tmp_path, f"part,quantity,value,unit,conditions\n2,C_BE,4.8,nF,\n{row}\n")
    problem = _only(batch)
    assert (problem.code, problem.row, problem.column) == (code, 3, column)
    assert what in problem.what
    assert batch.spots.part.tolist() == [0]
    assert batch.condition[1].code == "NO_USABLE_READING"


def test_missing_file_is_a_problem_beside_the_others(tmp_path):
    batch = read_files([tmp_path / "none.csv", write(tmp_path, "good.csv", HEADER + GOOD)]).batch
    problem = _only(batch)
    assert (problem.code, problem.file) == ("FILE_MISSING", "none.csv")
    _good_parts_stand(batch)


def test_the_same_file_twice_is_read_once(tmp_path):
    one = write(tmp_path, "a.csv", HEADER + GOOD)
    two = write(tmp_path, "copy.csv", HEADER + GOOD)
    problem = _only(read_files([one, two]).batch)
    assert (problem.code, problem.file) == ("SAME_FILE_TWICE", "copy.csv")
    assert "a.csv" in problem.what
