"""What `partscreen types` shows."""

from __future__ import annotations

import json

import pytest
import typer
from typer.testing import CliRunner

from partscreen.cli.types import types
from partscreen.reference import Library
from partscreen.reference.listing import table_text, type_dict, type_summary, type_text
from partscreen.reference.wording import conditions_text, figure_text
from tests.reference.test_library import MINIMAL

LIBRARY = Library.load()
APP = typer.Typer()
APP.command()(types)


def run(*arguments):
    return CliRunner().invoke(APP, list(arguments))


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (2.2e-10, "F", "220 pF"),
        (0.1, "A", "100 mA"),
        (1e-3, "A", "1 mA"),
        (3e7, "Hz", "30 MHz"),
        (75.0, "1", "75"),
        (0.0, "A", "0 A"),
        (1.43, "W/degC", "1.43 W/degC"),
        (0.0005, "s", "500 us"),
        (1e6, "Hz", "1 MHz"),
    ],
)
def test_figures_are_written_as_a_sheet_writes_them(value, unit, text):
    assert figure_text(value, unit) == text


def test_conditions_are_written_on_one_line():
    assert conditions_text({"VCE": 5.0, "IC": 0.5}) == "VCE=5 V, IC=500 mA"
    assert conditions_text({"IC_over_IB": 10.0}) == "IC/IB=10"


def test_table_has_a_line_for_every_type():
    lines = table_text(LIBRARY).splitlines()
    assert [line.split()[0] for line in lines[1:83]] == list(LIBRARY.names)
    assert "82 types" in lines[-1]


def test_summary_tells_recalled_types_from_read_ones():
    assert (
        type_summary(LIBRARY.type("TTC5200"))["limits_from_memory"]
        == type_summary(LIBRARY.type("TTC5200"))["limits"]
        > 0
    )
    assert type_summary(LIBRARY.type("2N3055"))["limits_from_memory"] == 0


@pytest.mark.parametrize("name", LIBRARY.names)
def test_text_of_a_type_shows_every_source_every_edition_every_doubt_and_every_note(name):
    found = LIBRARY.find(name)
    text = type_text(found)
    kind = found.type
    assert all(f"[{s.id}] " in text for s in kind.sources)
    assert all(f"Edition {e.id}:" in text for e in kind.sheet_editions)
    shown = [r.doubt for t in ("ratings", "characteristics", "soa") for r in getattr(kind, t)]
    shown += [n.text for n in kind.notes] + [m.fact for m in kind.marking] + [r.circumstances for r in kind.readings]
    assert all(piece in text for piece in shown)
    if any(kind.basis(c.source) == "memory" for c in kind.characteristics):
        assert "MEMORY" in text


def test_texts_never_call_a_part_by_the_words_kept_out():
    for name in LIBRARY.names:
        text = type_text(LIBRARY.find(name)).lower()
        own = text.split("\nsources\n")[0]  # titles of published articles stay as they are
        assert not any(word in own for word in ("genuine", "fake", "counterfeit")), name


def test_both_sides_of_a_row_stand_on_one_line_and_one_sided_rows_keep_their_sign():
    text = type_text(LIBRARY.find("C5200O"))
    assert "hFE       55 to 160     VCE=5 V, IC=1 A  25 degC case  [FSC]" in text
    assert "hFE       >= 35" in text
    assert "hFE       80 to 160     group O" in text


def test_dict_of_a_type_is_json_without_nan_and_carries_limits():
    found = LIBRARY.find("C5200O")
    data = json.loads(json.dumps(type_dict(found), allow_nan=False))
    assert data["resolved"] == {"type": "2SC5200", "gain_group": "O", "how": found.how}
    group = [row for row in data["limits"] if row["gain_group"] == "O"]
    assert all(row["is_limit"] for row in group)
    assert data["readings"] == []


def test_command_lists_shows_and_reads_prints():
    assert run().exit_code == 0
    assert "2SC5200" in run().stdout
    shown = run("mjl3281ag")
    assert shown.exit_code == 0
    assert "Edition motorola" in shown.stdout
    assert len(json.loads(run("--json").stdout)["types"]) == 82
    assert json.loads(run("A1943", "--json").stdout)["device"]["type_number"] == "2SA1943"


def test_unknown_type_exits_3_with_close_names():
    result = run("MJL21195")
    assert result.exit_code == 3
    assert "MJL21194" in result.stderr
    assert result.stdout == ""


def test_validate_exits_3_with_problems_and_0_with_what_can_be_judged(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(MINIMAL, encoding="utf-8")
    good = run("--validate", str(file))
    assert good.exit_code == 0
    assert "judged with it: hFE" in good.stdout
    file.write_text(MINIMAL.replace("min = 50", "mni = 50"), encoding="utf-8")
    bad = run("--validate", str(file))
    assert bad.exit_code == 3
    assert "did you mean 'min'?" in bad.stderr
    listed = json.loads(run("--validate", str(file), "--json").stdout)
    assert listed["usable"] is False
    assert listed["problems"][0]["where"].endswith("characteristics row 1 (hFE), mni")


def test_a_reference_file_is_shown_before_the_library(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(MINIMAL.replace("XX1", "2SC5200"), encoding="utf-8")
    result = run("C5200", "--reference", str(file))
    assert result.exit_code == 0
    assert "sheet in the drawer" in result.stdout
    assert "2SC5200*" in run("--reference", str(file)).stdout
