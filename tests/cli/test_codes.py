"""`partscreen codes` says what a code means; a code that there is not ends with 3, and the others are told."""

from __future__ import annotations

import json

from typer.testing import CliRunner

from partscreen.cli.app import app


def asked(*words):
    return CliRunner().invoke(app, ["codes", *words], prog_name="partscreen")


def test_a_code_is_told_with_what_to_do_however_it_is_written():
    for word in ("REACH_SHORT", "reach-short"):
        ran = asked(word)
        assert ran.exit_code == 0
        assert "REACH_SHORT" in ran.stdout
        assert "To do:" in ran.stdout


def test_an_unknown_code_ends_with_3_and_the_known_one_is_still_told():
    ran = asked("AS_MARKED", "AS_MARKT")
    assert ran.exit_code == 3
    assert ran.stdout.startswith("AS_MARKED")
    assert "codes near it: AS_MARKED" in ran.stderr


def test_without_a_code_all_are_listed_and_json_goes_to_standard_output():
    assert "LIMIT_BROKEN" in asked().stdout
    told = json.loads(asked("LIMIT_BROKEN", "--json").stdout)
    assert told["schema"] == "partscreen.codes/1"
    assert set(told["codes"][0]) == {"code", "says", "means", "do", "theme"}
