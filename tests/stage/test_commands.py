"""`partscreen stage` and `partscreen replace`: exit codes, cautions first, JSON, page."""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.results.stage import ReplaceResult, StageResult
from tests.stage.stages import EXAMPLE, part
from tests.stage.test_judge import screened


def run(*arguments):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def written(tmp_path, *changes):
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "stage.toml"
    path.write_text(text, encoding="utf-8")
    return path


def results(tmp_path):
    paths = []
    for of in ("2SC5200", "2SA1943"):
        path = tmp_path / f"{of}.json"
        parts = [part(f"{of}-{i}", of, gain=g, std=0.005) for i, g in enumerate((1.0, 1.02))]
        path.write_text(screened(*parts, lot=of, of=of).model_dump_json(by_alias=True), encoding="utf-8")
        paths.append(path)
    return paths


def test_cautions_come_first():
    done = run("stage", EXAMPLE)
    assert done.stdout.startswith("Cautions first:\n  - Mains voltage kills.")


def test_not_known_and_marginal_exit_with_five():
    assert run("stage", EXAMPLE).exit_code == 5


def test_not_ok_exits_with_four(tmp_path):
    done = run("stage", written(tmp_path, ('found = "T 5 A"', 'found = "T 10 A"')))
    assert done.exit_code == 4
    assert "[x] not ok" in done.stdout
    assert "above the specified rating" in done.stdout


def test_all_ok_exits_with_zero(tmp_path):
    path = written(
        tmp_path, ('gain_group = "O"', ""), ('"42 V"  ', '"36 V"  '), ('"38 V"', '"33 V"'), ('"60 W"', '"40 W"')
    )
    done = run("stage", path, *results(tmp_path))
    assert done.exit_code == 0, done.stdout
    assert not re.search(r"\[[x~?]\]", done.stdout)


def test_bad_files_exit_with_three_and_all_problems_are_told(tmp_path):
    wrong = tmp_path / "wrong.json"
    wrong.write_text('{"schema": "other"}', encoding="utf-8")
    done = run(
        "stage", written(tmp_path, ('resistance = "8 ohm"', 'resistance = "-8 ohm"')), wrong, tmp_path / "no.json"
    )
    assert done.exit_code == 3
    assert done.stdout == ""
    for word in ("-8 ohm", "wrong.json", "no.json", "3 problem(s)"):
        assert word in done.stderr


def test_json_goes_to_a_file_or_to_standard_output(tmp_path):
    target = tmp_path / "out.json"
    done = run("stage", EXAMPLE, "--json", target)
    assert StageResult.model_validate_json(target.read_text(encoding="utf-8")).checks
    assert "Cautions first" in done.stdout
    alone = run("stage", EXAMPLE, "--json", "-")
    assert json.loads(alone.stdout)["schema"] == "partscreen.stage/1"
    for check in json.loads(alone.stdout)["checks"]:
        assert {"code", "result", "value", "limit", "unit", "margin", "sentence", "source"} <= set(check)


def test_page_stands_alone_with_cautions_before_checks(tmp_path):
    done = run("stage", EXAMPLE, "--out", tmp_path / "page")
    page = (tmp_path / "page" / "stage.html").read_text(encoding="utf-8")
    assert "stage.html" in done.stderr
    assert page.index("Mains voltage kills") < page.index("marginal-h")
    assert page.count("<svg") == 5
    assert not re.search(r'(src|href)="http', page)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))


def test_names_of_a_file_cannot_write_into_the_page(tmp_path):
    path = written(tmp_path, ("Invented stage, two pairs", "<script>alert(1)</script>"))
    run("stage", path, "--out", tmp_path / "page")
    assert "<script>" not in (tmp_path / "page" / "stage.html").read_text(encoding="utf-8")


def test_a_place_that_cannot_be_written_to_exits_with_three(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    assert run("stage", EXAMPLE, "--out", blocked).exit_code == 3
    assert run("stage", EXAMPLE, "--json", tmp_path / "no" / "out.json").exit_code == 3


def test_replace_ends_with_zero_and_cautions_first():
    done = run("replace", "C3281")
    assert done.exit_code == 0
    assert done.stdout.startswith("Cautions first:")
    assert re.search(r"^  1\. ", done.stdout, re.MULTILINE)


def test_replace_in_a_stage_and_as_json():
    done = run("replace", "2SC5200", EXAMPLE, "--json", "-")
    found = ReplaceResult.model_validate_json(done.stdout)
    assert all(c.stage for c in found.candidates)


@pytest.mark.parametrize("arguments", [("2SC9999",), ("2SC5200", "none.toml"), ("MJL21194", EXAMPLE)])
def test_replace_with_what_cannot_be_used_exits_with_three(arguments):
    done = run("replace", *arguments)
    assert done.exit_code == 3
    assert done.stderr
