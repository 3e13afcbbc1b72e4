"""Column maps say what columns are, and every mistake in one is told at once."""

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.columns.column_map import column_map_from, load_column_map
from partscreen.readings.columns.understanding import save_column_map
from partscreen.readings.import_files import read_files
from partscreen.readings.tables import Sweep
from tests.readings.bench_files import codes, write

DATA = "sample;strom;basis;spannung\nK1;-0,5;-5,0;0,71\nK1;-1,0;-11,0;0,74\n"
MAP = """
format = "long"
[columns]
part = "sample"
ic = { column = "strom", unit = "A", sign = -1 }
ib = { column = "basis", unit = "mA" }
vbe = { column = "spannung", unit = "V" }
vce = { constant = 5.0, unit = "V" }
case_temp = { constant = 25, unit = "degC" }
sweep = { constant = "gain" }
lot = { value = "A1" }
"""


def test_map_names_columns_units_sign_and_constants(tmp_path):
    batch = read_files([write(tmp_path, "x.csv", DATA)], column_map=write(tmp_path, "map.toml", MAP)).batch
    assert batch.problems == ()
    assert [lot.name for lot in batch.lots] == ["A1"]
    points = batch.points
    assert points.ic.tolist() == [0.5, 1.0]
    np.testing.assert_allclose(points.ib, [5e-3, 11e-3])
    assert points.vce.tolist() == [5.0, 5.0]
    np.testing.assert_allclose(points.case_temp, 298.15)
    assert set(points.sweep.tolist()) == {Sweep.GAIN}
    assert batch.part_sign.tolist() == [1]  # the sign of IC was turned by the map


def test_map_reads_only_what_it_names(tmp_path):
    data = write(tmp_path, "x.csv", "sample,ic [A],hfe,vce [V]\n1,1,80,5\n")
    found = read_files(
        [data], column_map=column_map_from({"columns": {"part": "sample", "ic": "ic [A]", "hfe": "hfe"}}, "m")
    )
    assert np.isnan(found.batch.points.vce).all()
    assert [(c.header, c.role) for c in found.understanding[0].columns if c.role is None] == [("vce [V]", None)]


def test_absent_column_is_one_error_with_the_map_the_header_and_close_names(tmp_path):
    good = write(tmp_path, "good.csv", DATA)
    other = write(tmp_path, "other.csv", DATA.replace("strom", "strom_c"))
    batch = read_files([other, good], column_map=write(tmp_path, "map.toml", MAP)).batch
    assert codes(batch) == ["ABSENT_COLUMN"]
    problem = batch.problems[0]
    assert (problem.file, problem.row, problem.column) == ("other.csv", 1, "strom")
    assert "the column map map.toml reads ic from a column 'strom'" in problem.what
    assert "did you mean 'strom_c'?" in problem.fix
    assert batch.n_parts == 1
    assert len(batch.points.ic) == 2


def test_a_file_without_any_mapped_column_names_them_all(tmp_path):
    data = write(tmp_path, "x.csv", "part,ic [A],hfe\n1,1,80\n")
    batch = read_files([data], column_map=write(tmp_path, "map.toml", MAP)).batch
    assert set(codes(batch)) == {"ABSENT_COLUMN"}
    assert [problem.column for problem in batch.problems] == ["sample", "strom", "basis", "spannung"]


def test_map_settles_an_ambiguous_number(tmp_path):
    data = write(tmp_path, "x.csv", 'part,hfe,ic [A]\n1,"1,234",5\n')
    columns = {"part": "part", "hfe": "hfe", "ic": {"column": "ic [A]", "unit": "A"}}
    point = read_files([data], column_map=column_map_from({"decimal": ".", "columns": columns}, "m")).batch
    comma = read_files([data], column_map=column_map_from({"decimal": ",", "columns": columns}, "m")).batch
    assert point.points.hfe.tolist() == [1234.0]
    assert comma.points.hfe.tolist() == [1.234]


def test_map_may_name_an_odd_delimiter(tmp_path):
    data = write(tmp_path, "x.csv", "part~ic [A]~hfe\n1~1~80\n")
    columns = {"part": "part", "ic": "ic [A]", "hfe": "hfe"}
    batch = read_files([data], column_map=column_map_from({"delimiter": "~", "columns": columns}, "m")).batch
    assert batch.problems == ()
    assert batch.points.hfe.tolist() == [80.0]


@pytest.mark.parametrize(
    ("text", "code", "what"),
    [
        ("[columns", "MAP_NOT_TOML", "no valid TOML"),
        ('format = "long"', "MAP_EMPTY", "no [columns]"),
        ('format = "heap"\n[columns]\nic = "a"', "MAP_FORMAT", "'heap' is not read"),
        ('colums = 1\n[columns]\nic = "a"', "MAP_UNKNOWN_KEY", "'colums' is not known"),
        ('[columns]\ntype = "a"', "MAP_UNKNOWN_ROLE", "'type' is nothing a column can be"),
        ('[columns]\nic = { unit = "A" }', "MAP_ENTRY", "either a column or a constant"),
        ('[columns]\nic = { column = "a", unit = "V" }', "MAP_ENTRY", "unit 'V' does not fit collector current"),
        ('[columns]\nic = { column = "a", unit = "MA" }', "MAP_ENTRY", "milli (mA) or as mega (MA)"),
        ('[columns]\nic = { column = "a", sign = 2 }', "MAP_ENTRY", "sign 2 is neither 1 nor -1"),
        ("[columns]\nvce = { constant = 5 }", "MAP_ENTRY", "a constant needs its unit"),
        ('[columns]\nvce = { constant = "5", unit = "V" }', "MAP_ENTRY", "'5' is not a number"),
        ('[columns]\npart = { column = "a", unit = "V" }', "MAP_ENTRY", "part takes no unit"),
        ('[columns]\nic = { colum = "a" }', "MAP_ENTRY", "'colum' is not known"),
        ('decimal = "x"\n[columns]\nic = "a"', "MAP_DECIMAL", "no decimal mark"),
    ],
)
def test_a_faulty_map_says_what_is_wrong(tmp_path, text, code, what):
    path = write(tmp_path, "map.toml", text)
    with pytest.raises(UnusableInput) as caught:
        load_column_map(path)
    assert [problem.code for problem in caught.value.problems] == [code]
    assert what in caught.value.problems[0].what
    assert caught.value.problems[0].file == "map.toml"
    batch = read_files([write(tmp_path, "x.csv", DATA)], column_map=path).batch
    assert (batch.n_parts, codes(batch)) == (0, [code])


def test_all_faults_of_a_map_are_listed_at_once(tmp_path):
    path = write(tmp_path, "map.toml", 'x = 1\n[columns]\nkind = "a"\nic = { sign = 3 }')
    with pytest.raises(UnusableInput, match="3 problem") as caught:
        load_column_map(path)
    assert len(caught.value.problems) == 3


def test_missing_map_leaves_nothing_readable_and_says_so(tmp_path):
    batch = read_files([write(tmp_path, "x.csv", DATA)], column_map=tmp_path / "none.toml").batch
    assert codes(batch) == ["MAP_MISSING"]
    assert [one.file for one in batch.inputs] == ["x.csv"]


def test_saved_map_reads_the_file_as_it_was_understood(tmp_path):
    data = write(
        tmp_path, "x.csv", "part;Ic [mA];IB (µA);Uce/V;case temp\n1;-100,5;-1000;5;25,5\n1;-200;-2100;5;25,5\n"
    )
    first = read_files([data])
    save_column_map(tmp_path / "map.toml", first.understanding[0])
    again = read_files([data], column_map=tmp_path / "map.toml").batch
    assert again.problems == ()
    for name in ("ic", "ib", "vce", "case_temp", "hfe"):
        assert np.array_equal(getattr(first.batch.points, name), getattr(again.points, name), equal_nan=True), name


def test_saved_map_keeps_constants_and_signs(tmp_path):
    data = write(tmp_path, "x.csv", DATA)
    first = read_files([data], column_map=write(tmp_path, "map.toml", MAP))
    save_column_map(tmp_path / "saved.toml", first.understanding[0])
    saved, told = load_column_map(tmp_path / "saved.toml"), load_column_map(tmp_path / "map.toml")
    assert saved.entries["vce"] == told.entries["vce"]
    assert saved.entries["ic"].sign == -1
    assert saved.entries["lot"].constant == "A1"
