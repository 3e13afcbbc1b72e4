"""What a column map can say besides columns: the header row, the separator, and maps of single files."""

from __future__ import annotations

import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.columns.column_map import MapLine, column_map_text, load_column_map
from partscreen.readings.import_files import read_files
from partscreen.readings.saved_maps import forget_map, remember_map, saved_maps

BODY = "".join(f"T1;{i};{10 * i};5;0,6{i}\n" for i in range(1, 6))
TWO_HEADERS = f"part;IC [mA];IB [mA];VCE [V];VBE [V]\nmade by hand\npart;IC [A];IB [mA];VCE [V];VBE [V]\n{BODY}"
LINES = [
    MapLine("part", "a"), MapLine("ic", "b", "A"), MapLine("ib", "c", "mA"), MapLine("vce", "d", "V"),
    MapLine("vbe", "e", "V"),
]  # fmt: skip


def written(tmp_path, text: str, name: str = "map.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_header_row_told_by_hand_is_the_header_and_columns_are_still_recognised(tmp_path):
    file = written(tmp_path, TWO_HEADERS, "two.csv")
    told = read_files([file], column_map=written(tmp_path, "header_row = 3\n"))
    assert told.understanding[0].header_row == 3
    assert told.batch.points.ic.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert read_files([file]).understanding[0].header_row == 1  # what is found without it


def test_a_header_of_words_nobody_knows_is_cut_at_the_told_row_by_the_separator_that_fits(tmp_path):
    file = written(tmp_path, f"made on a Monday, by hand\na;b;c;d;e\n{BODY}", "odd.csv")
    text = column_map_text(LINES, ",", "", 2)
    found = read_files([file], column_map=written(tmp_path, text))
    assert found.understanding[0].delimiter == "semicolon"
    assert found.batch.points.vbe.tolist() == [0.61, 0.62, 0.63, 0.64, 0.65]


@pytest.mark.parametrize("row", [2, 30])
def test_a_told_row_that_holds_nothing_is_said(tmp_path, row):
    file = written(tmp_path, f"part;IC [A]\n\n{BODY}", "odd.csv")
    found = read_files([file], column_map=written(tmp_path, f"header_row = {row}\n"))
    (problem,) = [one for one in found.batch.problems if one.code == "NO_HEADER"]
    assert f"row {row}, which was told to be the header" in problem.what


def test_each_file_is_read_by_its_own_map_and_the_others_as_without_one(tmp_path):
    odd = written(tmp_path, f"a;b;c;d;e\n{BODY}", "odd.csv")
    milli = written(tmp_path, f"a;b;c;d;e\n{BODY.replace('T1', 'T2')}", "milli 2.csv")
    plain = written(tmp_path, f"part;IC [A];IB [mA];VCE [V];VBE [V]\n{BODY.replace('T1', 'T3')}", "plain.csv")
    in_milli = [MapLine("ic", "b", "mA") if one.role == "ic" else one for one in LINES]
    text = column_map_text(LINES, file="odd.csv") + column_map_text(in_milli, ",", file="milli*.csv")
    found = read_files([odd, milli, plain], column_map=written(tmp_path, text))
    assert not found.batch.problems
    points = found.batch.points
    first = {found.batch.part_names[p]: points.ic[points.part == p][0] for p in range(3)}
    assert first == {"T1": 1.0, "T2": 0.001, "T3": 1.0}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("header_row = 0.5\n", "MAP_HEADER_ROW"),
        ("header_row = 4000\n", "MAP_HEADER_ROW"),
        ("files = 3\n", "MAP_FILES"),
        ("[[files]]\nheader_row = 2\n", "MAP_FILES"),
        ('[[files]]\nname = "a"\n[[files.files]]\nname = "b"\n', "MAP_FILES"),
        ('[[files]]\nname = "a"\n[files.columns]\nnonsense = "x"\n', "MAP_UNKNOWN_ROLE"),
        ('format = "long"\n', "MAP_EMPTY"),
    ],
)
def test_what_a_map_cannot_say_is_refused(tmp_path, text, code):
    with pytest.raises(UnusableInput) as refused:
        load_column_map(written(tmp_path, text))
    assert code in [one.code for one in refused.value.problems]


def test_saved_maps_are_listed_by_what_they_are_called_and_taken_away():
    assert remember_map('[columns]\npart = "a"\n', ["a", "b"], "my\n tester") is not None
    remember_map('[columns]\npart = "x"\n', ["x", "y"])
    remember_map('[columns]\npart = "b"\n', ["a", "b"])  # as the command saves it: the name stays
    called = {one.title: one for one in saved_maps()}
    assert called["my tester"].columns == "a, b"
    assert called["my tester"].text.endswith('part = "b"\n')
    assert called["x, y"].text.endswith('part = "x"\n')
    for one in called.values():
        forget_map(one.key)
    assert not {"my tester", "x, y"} & {one.title for one in saved_maps()}
