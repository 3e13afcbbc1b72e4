"""`--figures` of the commands: every figure of the result in three forms, one line that says so."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.docs.bag import FOLDER
from tests.docs.pages import ROOT


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words], prog_name="partscreen")


def forms(folder):
    """Names of the figures in a folder; each is there as SVG, PNG and PDF."""
    names = {path.stem for path in folder.iterdir()}
    assert {path.name for path in folder.iterdir()} == {f"{n}.{end}" for n in names for end in ("svg", "png", "pdf")}
    return names


@pytest.fixture(scope="module")
def screened(tmp_path_factory):
    folder = tmp_path_factory.mktemp("figures")
    files = (FOLDER / "bag.csv", FOLDER / "capacitance.csv")
    lot = "bag type=2SC5200 supplier=Birch files=bag.csv;capacitance.csv"
    ran = run("screen", *files, "--lot", lot, "--figures", folder / "drawn", "--json", folder / "result.json")
    return ran, folder


def test_screen_draws_lots_and_the_parts_somebody_has_to_be_shown(screened):
    ran, folder = screened
    assert ran.exit_code in (3, 4), ran.output
    names = forms(folder / "drawn")
    assert {"lot-bag-gain", "lot-bag-area"} <= names
    result = json.loads((folder / "result.json").read_text())
    rejected = {p["part"] for lot in result["lots"] for p in lot["parts"] if p["disposition"] == "reject"}
    accepted = {p["part"] for lot in result["lots"] for p in lot["parts"] if p["disposition"] == "accept"}
    drawn = {name.split("-part-")[1].rpartition("-")[0] for name in names if "-part-" in name}
    assert drawn
    assert drawn <= rejected | {p["part"] for lot in result["lots"] for p in lot["parts"]} - accepted
    (line,) = [line for line in ran.output.splitlines() if "files of figures" in line]
    assert f"{3 * len(names)} files" in line


def test_figures_of_watched_files_are_not_offered(tmp_path):
    ran = run("screen", "--watch", tmp_path, "--figures", tmp_path / "drawn")
    assert ran.exit_code == 2
    assert "--figures" in ran.output


def test_stage_and_plan_draw_theirs(tmp_path):
    run("stage", ROOT / "docs" / "examples" / "stage.toml", "--figures", tmp_path / "stage")
    assert "load-line-1" in forms(tmp_path / "stage")
    assert run("plan", "--lot-size", 50, "--figures", tmp_path / "plan").exit_code == 0
    assert forms(tmp_path / "plan") == {"operating-curve"}


def test_a_result_without_figures_is_told(screened, tmp_path):
    ran = run("trust", "--from", screened[1] / "result.json", "--figures", tmp_path / "drawn")
    assert ran.exit_code == 3
    assert "nothing to draw" in ran.output
    assert not (tmp_path / "drawn").exists()
