"""Commands as programs see them: exit codes, streams, usage, help."""

from __future__ import annotations

import json
import re

import pytest
import typer
from typer.testing import CliRunner

from partscreen import __version__
from partscreen.cli.app import app
from tests.docs.bag import FOLDER

COMMANDS = typer.main.get_command(app).commands
BAG = str(FOLDER / "bag.csv")
GOOD = "part,ic_a,vce_v,vbe_v,hfe\n" + "".join(
    f"T{p},{ic},5,{vbe + 0.002 * p:.4f},{hfe + p}\n"
    for p in (1, 2, 3)
    for ic, vbe, hfe in [(0.05, 0.56, 95), (0.1, 0.58, 97), (0.2, 0.6, 98), (0.5, 0.63, 97), (1.0, 0.66, 95)]
)


def run(*words: str, **variables: str):
    return CliRunner().invoke(app, list(words), prog_name="partscreen", env=variables)


@pytest.fixture
def good(tmp_path) -> str:
    path = tmp_path / "good.csv"
    path.write_text(GOOD, encoding="utf-8")
    return str(path)


def test_version_is_printed_to_standard_output():
    ran = run("--version")
    assert ran.exit_code == 0
    assert ran.stdout == f"partscreen {__version__}\n"
    assert ran.stderr == ""


def test_help_lists_every_command():
    ran = run("--help")
    assert ran.exit_code == 0
    assert set(COMMANDS) >= {"demo", "read", "types", "screen"}
    assert all(re.search(rf"^  {name}\b", ran.stdout, re.MULTILINE) for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_a_command_lists_its_options_and_says_what_each_does(name):
    ran = run(name, "--help", COLUMNS="200", TERMINAL_WIDTH="200")
    assert ran.exit_code == 0
    for parameter in COMMANDS[name].params:
        for option in parameter.opts:
            if option.startswith("--"):
                assert option in ran.stdout
        if parameter.name != "help":
            assert getattr(parameter, "help", None), f"{name} {parameter.name} says nothing"


@pytest.mark.parametrize(
    "words",
    [
        ("screen",),
        ("read",),
        ("nothing",),
        ("screen", BAG, "--risk", "2"),
        ("screen", BAG, "--risk", "small"),
        ("screen", BAG, "--reach", "1.5"),
        ("screen", BAG, "--no-such-option"),
        ("types", "2SC5200", "2SA1943"),
    ],
    ids=" ".join,
)
def test_usage_errors_end_with_2_and_say_so_on_standard_error(words):
    ran = run(*(word.replace(BAG, str(FOLDER / "bag.csv")) for word in words))
    assert ran.exit_code == 2
    assert ran.stdout == ""
    assert "Usage: partscreen" in ran.stderr


def test_no_command_shows_help():
    ran = run()
    assert ran.exit_code == 2
    assert "screen" in ran.output


def test_held_parts_end_with_5(good):
    ran = run("screen", good, "--type", "2SC5201")
    assert ran.exit_code == 5


def test_rejected_parts_end_with_4():
    ran = run("screen", BAG, "--type", "2SC5200")
    assert ran.exit_code == 4
    assert "[x] reject" in ran.stdout


def test_what_could_not_be_used_wins_over_what_was_rejected(tmp_path):
    ran = run("screen", BAG, str(tmp_path / "absent.csv"), "--type", "2SC5200")
    assert ran.exit_code == 3
    assert "[x] reject" in ran.stdout
    assert "absent.csv" in ran.stderr


@pytest.mark.parametrize(
    "options",
    [
        ("--kit", "absent.toml"),
        ("--reference", "absent.toml"),
        ("--temperature", "900"),
        ("--lot", "A1 colour=red"),
        ("--columns", "absent.toml"),
        ("--lots", "absent.csv"),
    ],
    ids=lambda o: o[0],
)
def test_setting_that_cannot_be_used_ends_with_3_and_the_way_out(options, good):
    ran = run("screen", good, "--type", "2SC5200", *options)
    assert ran.exit_code == 3, ran.output
    assert "->" in ran.stderr
    assert "Traceback" not in ran.output


def test_place_that_cannot_be_written_to_is_told(tmp_path, good):
    ran = run("screen", good, "--type", "2SC5200", "--json", str(tmp_path / "no" / "such" / "folder.json"))
    assert ran.exit_code == 3
    assert "cannot write" in ran.stderr


def test_json_to_standard_output_is_json_and_nothing_else(tmp_path):
    ran = run(
        "screen",
        BAG,
        str(tmp_path / "absent.csv"),
        "--type",
        "2SC5200",
        "--json",
        "-",
        "--table",
        str(tmp_path / "t.csv"),
    )
    result = json.loads(ran.stdout)
    assert result["schema"] == "partscreen.screening/1"
    assert "t.csv" in ran.stderr


def test_results_go_to_standard_output_and_messages_to_standard_error(tmp_path):
    ran = run("screen", BAG, "--type", "2SC5200", "--out", str(tmp_path / "out"))
    assert "Lot bag" in ran.stdout
    assert "written:" in ran.stderr
    assert "written:" not in ran.stdout
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"report.html", "result.json", "parts.csv"}


def test_brief_leaves_out_covariances_and_curves_only(tmp_path):
    full, brief = (
        json.loads(run("screen", BAG, "--type", "2SC5200", "--json", "-", *more).stdout) for more in ((), ("--brief",))
    )
    for one, two in zip(full["lots"][0]["parts"], brief["lots"][0]["parts"], strict=True):
        if one["fit"]:
            assert one["fit"].pop("covariance")
        one.pop("curves")
        assert {k: v for k, v in two.items() if k != "curves"} == one


def test_unknown_type_is_told_with_close_names():
    ran = run("types", "2SC5201")
    assert ran.exit_code == 3
    assert "2SC5200" in ran.stderr
    assert ran.stdout == ""


def test_types_as_json_is_json():
    listed = json.loads(run("types", "--json").stdout)
    assert len(listed["types"]) >= 82
    one = json.loads(run("types", "2SC5200", "--json").stdout)
    assert one["schema"] == "partscreen.types/1"


def test_read_as_json_is_json(good):
    ran = run("read", good, "--json")
    assert ran.exit_code == 0
    assert json.loads(ran.stdout)


@pytest.mark.parametrize("variables", [{}, {"NO_COLOR": "1"}, {"FORCE_COLOR": "1"}], ids=str)
def test_output_has_no_colour_whatever_is_asked(variables):
    for words in (("--help",), ("types", "2SC5200"), ("screen", BAG, "--type", "2SC5200"), ("screen",)):
        assert "\x1b" not in run(*words, **variables).output


def test_lot_told_in_words_is_the_lot_of_the_file(good):
    ran = run("screen", good, "--lot", "A7 type=2SC5200 supplier='the corner shop'", "--json", "-")
    (lot,) = json.loads(ran.stdout)["lots"]
    assert (lot["lot"], lot["type"], lot["supplier"]) == ("A7", "2SC5200", "the corner shop")


def test_words_of_the_summary_name_no_part_by_what_only_a_maker_could_prove():
    for words in (("screen", BAG, "--type", "2SC5200"), ("types", "2SC5200"), ("types",), ("screen", "--help")):
        assert not re.search(r"\b(genuine|fake|counterfeit)\b", run(*words).output, re.IGNORECASE)


def test_slip_of_the_lot_sheet_is_told_with_row_and_column_and_kept_in_the_result(good, tmp_path):
    sheet = tmp_path / "lots.csv"
    sheet.write_text("lot,type,count,files\ngood,2SC5200,six,good.csv\n", encoding="utf-8")
    ran = run("screen", good, "--lots", str(sheet), "--json", str(tmp_path / "r.json"))
    assert ran.exit_code == 3
    assert "lots.csv, row 2, column count" in ran.stderr
    told = json.loads((tmp_path / "r.json").read_text())["inputs"]
    assert [item["file"] for item in told if item["problems"]] == ["lots.csv"]
