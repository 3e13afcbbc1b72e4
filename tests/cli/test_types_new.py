"""A data sheet on paper becomes a reference file by questions; every figure names its sheet and page."""

from __future__ import annotations

import tomllib
from pathlib import Path

from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.reference.library import Library
from partscreen.reference.limits import limits

# Figures of the 2SC5200 as the library holds them (Fairchild, Rev. A2, March 2008; Toshiba: recalled).
FIRST = ["", "", "TO-264", "2SA1943", "2SC5200/FJL4315 sheet", "Fairchild", "Rev. A2, March 2008", ""]
RATINGS = ["1", "230 V", "230", "5 V", "15 A p. 3", "", "", "150 W", "150 degC", "0.83 degC/W"]
ROWS = [
    "2", "min 55 max 110", "VCE=5 V, IC=1 A", "", "R", "80 to 160", "VCE=5 V, IC=1 A", "", "O", "min 35 p. 4",
    "VCE=5 V, IC=7 A", "", "", "-", "max 1.5 V", "VCE=5 V, IC=7 A", "", "-", "max 3 V", "IC=8 A, IC/IB=10", "", "-",
    "min 230 V", "IC=5 mA, base=open", "", "-", "max 5 uA", "VCB=230 V", "", "-", "-", "typ 200 pF",
    "VCB=10 V, f=1 MHz", "", "-", "-", "-",
]  # fmt: skip
ONE_SHEET = [*FIRST, "-", "R O", *RATINGS, *ROWS, "last letter of the print"]


def run(out: Path, typed: list[str], number: str = "2SC5200"):
    words = ["types", "--new", number, "--out", str(out)]
    return CliRunner().invoke(app, words, input="".join(f"{line}\n" for line in typed))


def test_a_sheet_becomes_a_file_that_validate_accepts_and_screens(tmp_path):
    out = tmp_path / "own.toml"
    ran = run(out, ONE_SHEET)
    assert ran.exit_code == 0, ran.output
    assert "can be used" in ran.output
    assert CliRunner().invoke(app, ["types", "--validate", str(out)]).exit_code == 0
    data = tomllib.loads(out.read_text())
    assert all(row["where"].startswith("page ") for table in ("ratings", "characteristics") for row in data[table])
    assert {row["where"] for row in data["ratings"] if row["symbol"] == "IC"} == {"page 3"}
    kind = Library.load(extra_files=[out]).find("2SC5200").type
    assert kind.gain_groups == ("R", "O")
    ours = {(r.symbol, r.side, r.value, r.gain_group) for r in limits(kind) if r.symbol in ("hFE", "VBE", "VCE(sat)")}
    shipped = {
        (r.symbol, r.side, r.value, r.gain_group) for r in limits(Library.load().find("2SC5200").type, "fairchild")
    }
    assert ours <= shipped
    assert len(ours) == 7


def test_two_makers_are_two_editions_and_recalled_figures_are_memory(tmp_path):
    out = tmp_path / "own.toml"
    typed = [
        *FIRST,
        "2SC5200 sheet",
        "Toshiba",
        "recalled",
        "no",
        "",
        "-",
        "-",
        *RATINGS,
        *[r for r in ROWS if r not in "RO"],
    ]
    typed = [*FIRST, "2SC5200 sheet", "Toshiba", "recalled", "no", "no", "-", "-", *RATINGS, *[""] * 10,
             *["1", "230 V", *[""] * 8], *["2", "min 35", "VCE=5 V, IC=7 A", "", "", *[""] * 8]]  # fmt: skip
    ran = run(out, typed)
    assert ran.exit_code == 0, ran.output
    data = tomllib.loads(out.read_text())
    assert [edition["maker"] for edition in data["editions"]] == ["Fairchild", "Toshiba"]
    assert data["sources"][1]["basis"] == "memory"


def test_answers_that_cannot_be_are_refused_with_why(tmp_path):
    typed = [
        "", "", "", "", "", "2SC5200/FJL4315 sheet", "Fairchild", "Rev. A2", "perhaps", "yes", "-", "R,LONGWORD", "-",
        "page one", "1", "230 pF", "230 kV", "230 V", "23 V", "230 V", "", "15", "1.5 A", "", "", "", "", "",
        "2", "90", "min 160 max 55", "min 55 max 160", "VCE=5 V", "colour=red", "VCE=5 V, IC=1 A", "warm", "25",
        *[""] * 12,
    ]  # fmt: skip
    ran = run(tmp_path / "own.toml", typed)
    for why in (
        "an answer is needed", "yes or no", "letters with spaces", "page alone", "does not fit", "no transistor's",
        "is below VCEO", "is below IC", "say whether it is min", "is above max", "IC missing", "'colour' is not known",
    ):  # fmt: skip
        assert why in ran.output, why


def test_stopping_and_crashing_lose_no_answer(tmp_path):
    out, whole = tmp_path / "own.toml", tmp_path / "whole.toml"
    run(whole, ONE_SHEET)
    for start in range(0, len(ONE_SHEET), 11):  # eleven answers, then the input ends
        ran = run(out, ONE_SHEET[start : start + 11])
        assert ran.exit_code == (0 if start + 11 >= len(ONE_SHEET) else 3), ran.output
    assert out.read_text() == whole.read_text()
    assert not list(tmp_path.glob("*.answers"))


def test_pnp_signs_are_left_out_and_jis_numbers_tell_the_polarity(tmp_path):
    out = tmp_path / "own.toml"
    typed = [*FIRST, "-", "-", "1", "-230 V", "-230 V", "-5 V", "-15 A", *[""] * 5, "2", "55 to 160",
             "VCE=-5 V, IC=-1 A", *[""] * 12]  # fmt: skip
    ran = run(out, typed, "2SA1943")
    assert ran.exit_code == 0, ran.output
    data = tomllib.loads(out.read_text())
    assert data["device"]["polarity"] == "PNP"
    assert {row["symbol"]: row["value"] for row in data["ratings"]} == {"VCEO": 230, "VCBO": 230, "VEBO": 5, "IC": 15}
    assert data["characteristics"][0]["conditions"] == {"VCE": 5.0, "IC": 1.0}


def test_file_that_is_there_is_not_written_over(tmp_path):
    out = tmp_path / "own.toml"
    out.write_text("mine")
    assert run(out, ONE_SHEET).exit_code == 3
    assert out.read_text() == "mine"


def test_new_goes_with_out_alone():
    for words in (["types", "2SC5200", "--new", "XY1"], ["types", "--out", "x.toml"]):
        assert CliRunner().invoke(app, words).exit_code == 2
