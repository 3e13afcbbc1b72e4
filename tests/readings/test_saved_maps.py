"""Column maps saved for a header: remembered in the user's folder, offered by name, used only when asked for."""

import numpy as np
import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.errors import UnusableInput
from partscreen.readings.import_files import read_files
from partscreen.readings.saved_maps import header_key, known_maps, remember_map, saved_map
from tests.readings.bench_files import write

MAP = '[columns]\npart = "Piece"\nic = { column = "I1", unit = "A" }\nhfe = "B2"\n'
FILE = "Piece;I1;B2\nT1;1,5;80\nT2;1,5;81\n"


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    """A configuration folder of its own for every test."""
    monkeypatch.setattr("platformdirs.user_config_path", lambda *_, **__: tmp_path / "config")


def _run(*arguments):
    return CliRunner().invoke(app, list(map(str, arguments)))


def test_a_saved_map_is_offered_for_files_of_the_same_header_and_never_used_unasked(tmp_path):
    path, a_map = write(tmp_path, "one.csv", FILE), write(tmp_path, "map.toml", MAP)
    saved = _run("read", path, "--columns", a_map, "--save-columns", a_map)
    assert saved.exit_code == 0, saved.stderr
    assert "map.toml is remembered for files of this header" in saved.stdout
    other = write(tmp_path, "two.csv", FILE.replace("80", "90"))
    plain = read_files([other]).batch
    assert plain.points.ic.size == 0
    assert any("two.csv: a column map saved on 2" in notice and "--columns saved" in notice for notice in plain.notices)
    asked = _run("read", other, "--columns", "saved")
    assert asked.exit_code == 0, asked.stderr
    assert "2 rows, 2 part(s): 2 gain" in asked.stdout


def test_screen_reads_with_the_saved_map_when_asked(tmp_path):
    path = write(tmp_path, "one.csv", FILE)
    remember_map(MAP, ["Piece", "I1", "B2"])
    done = _run("screen", path, "--type", "2SC5200", "--columns", "saved", "--json", tmp_path / "r.json")
    assert done.exit_code in (0, 4, 5), done.stderr
    assert "T1" in done.stdout


def test_saved_maps_are_found_in_every_form(tmp_path):
    from openpyxl import Workbook

    kept = remember_map(MAP, ["Piece", "I1", "B2"])
    book = Workbook()
    for row in (["bench"], ["Piece", "I1", "B2"], ["T1", 1.5, 80]):
        book.active.append(row)
    book.save(tmp_path / "bag.xlsx")
    write(tmp_path, "bag.json", '[{"Piece": "T1", "I1": 1.5, "B2": 80}]')
    write(tmp_path, "bag.txt", "title\n\n" + FILE.replace(";", "\t"))
    for name in ("bag.xlsx", "bag.json", "bag.txt"):
        assert saved_map([tmp_path / name]) == kept
        batch = read_files([tmp_path / name], column_map=kept).batch
        assert batch.problems == ()
        np.testing.assert_allclose(batch.points.ic, 1.5)


def test_a_header_of_other_order_or_names_is_another_header():
    assert header_key(["a", "b", ""]) == header_key([" a", "b"])
    assert len({header_key(cells) for cells in (["a", "b"], ["b", "a"], ["a", "B"], ["a"], ["ab"])}) == 5


def test_without_a_saved_map_saved_is_refused(tmp_path):
    path = write(tmp_path, "one.csv", FILE)
    done = _run("read", path, "--columns", "saved")
    assert done.exit_code == 3
    assert "no column map was saved for a header of this file" in done.stderr
    remember_map(MAP, ["Piece", "I1", "B2"])
    remember_map(MAP.replace("B2", "B3"), ["Piece", "I1", "B3"])
    other = write(tmp_path, "two.csv", FILE.replace("B2", "B3"))
    with pytest.raises(UnusableInput, match="need 2 different saved maps"):
        saved_map([path, other])


def test_a_folder_that_cannot_be_written_stops_nothing(tmp_path):
    write(tmp_path, "config", "a file where the folder should be")
    assert remember_map(MAP, ["a"]) is None
    assert known_maps() == {}
    path = write(tmp_path, "one.csv", "part;ic [A];hfe\nT1;1,5;80\n")
    assert _run("read", path, "--save-columns", tmp_path / "map.toml").exit_code == 0


def test_a_file_that_is_understood_as_a_whole_is_offered_no_map(tmp_path):
    text = "part;ic [A];hfe\nT1;1,5;80\n"
    path = write(tmp_path, "one.csv", text)
    assert _run("read", path, "--save-columns", tmp_path / "map.toml").exit_code == 0
    assert not any("saved" in notice for notice in read_files([path]).batch.notices)
