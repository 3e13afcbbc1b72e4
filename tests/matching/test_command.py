"""The command `match`: files in, a table and a JSON file out, exit codes."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.results.matching import Matching
from tests.matching.bags import NPN, bag, lot, part, screening


@pytest.fixture
def result(tmp_path):
    path = tmp_path / "result.json"
    path.write_text(bag(8, 7).model_dump_json(by_alias=True), encoding="utf-8")
    return str(path)


def ran(*words):
    return CliRunner().invoke(app, ["match", *words], prog_name="partscreen")


def test_pairs_are_a_table_a_technician_can_act_on(result):
    answer = ran(result, "--pairs", "--per-rail", "1", "--emitter-resistor", "0.22")
    assert answer.exit_code == 0
    lines = answer.output.splitlines()
    assert lines[0].startswith("Matching is pointless here")
    assert sum("  |  " in line for line in lines) == 7
    assert any("No choice is better" in line for line in lines)
    assert max(map(len, lines)) <= 120


def test_json_goes_to_a_file_or_to_standard_output(result, tmp_path):
    out = tmp_path / "match.json"
    assert ran(result, "--sets", "2", "--per-rail", "2", "--json", str(out)).exit_code == 0
    written = Matching.model_validate_json(out.read_text(encoding="utf-8"))
    assert len(written.sets) == 2
    printed = ran(result, "--sets", "2", "--per-rail", "2", "--json", "-")
    assert json.loads(printed.stdout) == json.loads(out.read_text(encoding="utf-8"))


def test_usage_that_says_not_what_to_make_ends_with_2(result):
    for words in ((), ("--pairs", "--groups", "2"), ("--sets", "2")):
        assert ran(result, *words).exit_code == 2


def test_files_that_are_no_results_are_told_all_at_once_and_end_with_3(tmp_path, result):
    (tmp_path / "words.json").write_text("not JSON", encoding="utf-8")
    (tmp_path / "other.json").write_text('{"schema": "partscreen.plan/1"}', encoding="utf-8")
    (tmp_path / "broken.json").write_text('{"schema": "partscreen.screening/1"}', encoding="utf-8")
    names = ["words.json", "other.json", "broken.json", "missing.json"]
    answer = ran(*(str(tmp_path / name) for name in names), result, "--pairs")
    assert answer.exit_code == 3
    assert answer.output.startswith("4 problem(s)")
    assert all(name in answer.output for name in names)


def test_brief_result_ends_with_3_and_names_the_way_out(tmp_path):
    path = tmp_path / "brief.json"
    bare = [part("A1").model_copy(update={"curves": None})]
    path.write_text(screening(lot("A", NPN, bare)).model_dump_json(by_alias=True), encoding="utf-8")
    answer = ran(str(path), "--groups", "2")
    assert answer.exit_code == 3
    assert "without --brief" in answer.output


def test_place_that_cannot_be_written_to_ends_with_3(result, tmp_path):
    answer = ran(result, "--pairs", "--json", str(tmp_path / "no" / "such" / "folder.json"))
    assert answer.exit_code == 3
    assert "cannot write" in answer.output


def test_every_code_of_a_match_stands_on_its_page():
    import re
    from pathlib import Path

    root = Path(__file__).resolve().parents[2]
    page = (root / "docs" / "matching.md").read_text(encoding="utf-8")
    codes = set()
    house = root / "partscreen"
    for path in [*(house / "matching").glob("*.py"), house / "workflow" / "after" / "matching.py"]:
        source = path.read_text(encoding="utf-8")
        codes |= set(re.findall(r'(?:code=|Problem\(\s*)"([A-Z_]{3,})"', source))
    assert len(codes) > 20
    assert sorted(code for code in codes if f"`{code}`" not in page) == []
