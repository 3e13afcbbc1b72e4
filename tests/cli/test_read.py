"""`partscreen read`: shows how files are understood, in words and as JSON."""

import json

from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.readings.bench_files import lines, write


def _run(*arguments):
    return CliRunner().invoke(app, ["read", *map(str, arguments)])


def test_read_shows_columns_units_and_parts(tmp_path):
    path = write(tmp_path, "bag.csv", "\n".join(lines(";", ",")))
    done = _run(path)
    assert done.exit_code == 0
    assert "cells separated by semicolon; decimal comma; header in row 1" in done.stdout
    assert "9 rows, 3 part(s): 9 gain" in done.stdout
    assert "ic [A]       ic in A" in done.stdout


def test_read_writes_json_to_stdout_and_problems_to_stderr(tmp_path):
    path = write(tmp_path, "bag.csv", "part,IC [MA],hfe\n1,1,80\n")
    done = _run(path, "--json")
    assert done.exit_code == 3
    told = json.loads(done.stdout)
    assert told["schema"] == "partscreen.read/1"
    assert told["files"][0]["delimiter"] == "comma"
    assert [problem["code"] for problem in told["problems"]] == ["AMBIGUOUS_UNIT"]
    assert "bag.csv, row 1, column IC [MA]" in done.stderr


def test_read_saves_a_column_map_that_reads_the_file_again(tmp_path):
    path = write(tmp_path, "bag.csv", "\n".join(lines(";", ",")))
    first = _run(path, "--save-columns", tmp_path / "map.toml")
    again = _run(path, "--columns", tmp_path / "map.toml")
    assert (first.exit_code, again.exit_code) == (0, 0)
    assert "9 rows, 3 part(s): 9 gain" in again.stdout


def test_read_of_nothing_usable_exits_with_three(tmp_path):
    done = _run(write(tmp_path, "empty.csv", ""), "--save-columns", tmp_path / "map.toml")
    assert done.exit_code == 3
    assert "the file is empty" in done.stderr
    assert not (tmp_path / "map.toml").exists()
