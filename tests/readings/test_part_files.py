"""Lots that name their files by names, patterns and ranges; files of one part each."""

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.import_files import read_files
from partscreen.readings.rows.lot_files import file_names, read_range
from partscreen.readings.rows.lot_sheet import parse_lot_option
from partscreen.readings.tables import Lot
from tests.readings.bench_files import codes, write

SWEEP = "ic [A],hfe,vce [V]\n0.1,{},5\n1,85,5\n2,84,5\n"


def _bag(folder, numbers):
    return [write(folder, f"T{number:04d}.csv", SWEEP.format(80 + number)) for number in numbers]


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("T0001-T0003", ["T0001", "T0002", "T0003"]),
        ("T0001-T0003.csv", ["T0001", "T0002", "T0003"]),
        ("T8-T11", ["T8", "T9", "T10", "T11"]),
        ("001..003", ["001", "002", "003"]),
        ("A1-07-A1-09", ["A1-07", "A1-08", "A1-09"]),
        ("A1-02", None),
        ("A1-02.csv", None),
        ("T0003-T0001", None),
        ("T01-T003", None),
        ("T1-U3", None),
        ("T1-T99999", None),
        ("bag.csv", None),
    ],
)
def test_a_range_is_read_only_where_it_can_be_counted_through(text, parts):
    found = read_range(text)
    assert (None if found is None else list(found.parts)) == parts


def test_files_of_a_range_are_one_part_each_of_one_lot_and_session(tmp_path):
    paths = _bag(tmp_path, (1, 2, 3))
    lot = parse_lot_option("A1 type=2SC5200 supplier=Birch files=T0001-T0003")
    batch = read_files(paths, default_lots=[lot]).batch
    assert codes(batch) == []
    assert batch.part_names == ("T0001", "T0002", "T0003")
    assert [one.name for one in batch.lots] == ["A1"]
    assert batch.sessions == ("T0001-T0003",)
    assert any("3 files of one part each (T0001-T0003) were taken as one session" in text for text in batch.notices)


def test_missing_files_of_a_range_are_named_one_by_one_and_the_rest_is_read(tmp_path):
    sheet = write(tmp_path, "lots.csv", "lot,type,files\nA1,2SC5200,T0001-T0005\nB2,2SC5200,U01-U09\n")
    batch = read_files(_bag(tmp_path, (1, 2, 4)), lot_sheet=sheet).batch
    assert [(one.code, one.file, one.part, one.lot) for one in batch.problems] == [
        ("FILE_NOT_GIVEN", "T0003", "T0003", "A1"),
        ("FILE_NOT_GIVEN", "T0005", "T0005", "A1"),
    ]
    assert batch.part_names == ("T0001", "T0002", "T0004")
    assert any("no readings for lot(s) B2" in text for text in batch.notices)


def test_a_file_of_single_readings_or_of_one_wide_row_is_its_part_too(tmp_path):
    spots = 'quantity,value,unit,conditions\nC_BE,6.1,nF,"VEB=0 V"\n'
    paths = [write(tmp_path, "T0001.csv", spots), write(tmp_path, "T0002.csv", "C_BE [nF] @ VEB=0 V\n6.2\n")]
    batch = read_files(paths, default_lots=[parse_lot_option("A1 files=T0001-T0002")]).batch
    assert codes(batch) == []
    assert batch.part_names == ("T0001", "T0002")
    np.testing.assert_allclose(batch.spots.value, [6.1e-9, 6.2e-9])


def test_a_part_column_and_a_session_column_win_over_the_name_of_the_file(tmp_path):
    text = "part,session,ic [A],hfe\nX,mon,1,80\nY,mon,1,81\n"
    batch = read_files(
        [write(tmp_path, "T0001.csv", text)], default_lots=[parse_lot_option("A1 files=T0001-T0001")]
    ).batch
    assert batch.part_names == ("X", "Y")
    assert batch.sessions == ("mon",)


def test_patterns_take_names_without_folders(tmp_path):
    names = {"a1_one.csv": 80, "b.csv": 90}
    paths = [write(tmp_path, name, f"part,ic [A],hfe\n1,1,{gain}\n2,1,81\n") for name, gain in names.items()]
    lots = [Lot("A1", extra={"files": "a1_*.csv"}), Lot("B2", extra={"files": "bench/b.csv; b"})]
    batch = read_files(paths, default_lots=lots).batch
    assert [(one.code, one.lot) for one in batch.problems] == [("LOT_FILES", "B2")]
    assert "names a folder" in batch.problems[0].what
    assert [lot.name for lot in batch.lots] == ["A1", "B2"]
    assert file_names(lots[1]).patterns == ("b",)


def test_a_range_that_runs_backwards_is_told(tmp_path):
    batch = read_files(_bag(tmp_path, (1,)), default_lots=[Lot("A1", extra={"files": "T0009-T0001"})]).batch
    assert codes(batch) == ["LOT_FILES"]
    assert "upwards" in batch.problems[0].fix


def test_a_file_that_two_lots_name_is_told(tmp_path):
    lots = [Lot("A1", extra={"files": "T*"}), Lot("B2", extra={"files": "T0001-T0002"})]
    batch = read_files(_bag(tmp_path, (1, 2)), default_lots=lots).batch
    assert codes(batch) == ["FILE_OF_TWO_LOTS", "FILE_OF_TWO_LOTS"]
    assert "A1 and B2" in batch.problems[0].what


def test_a_lot_in_words_with_a_field_that_is_none_is_refused():
    with pytest.raises(UnusableInput, match="no field of a lot"):
        parse_lot_option("A1 type=2SC5200 fles=T0001-T0020")


def test_a_file_that_two_lots_share_is_no_fault_where_its_rows_name_the_lot(tmp_path):
    lots = [Lot("A1", extra={"files": "all.csv"}), Lot("B2", extra={"files": "all.csv"})]
    text = "lot,part,ic [A],hfe\nA1,x,1,80\nB2,y,1,81\n"
    batch = read_files([write(tmp_path, "all.csv", text)], default_lots=lots).batch
    assert codes(batch) == []
