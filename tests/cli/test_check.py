"""`partscreen check`: exit codes, words to standard output, messages to standard error, JSON."""

import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.results import Screening


def _run(*arguments):
    return CliRunner().invoke(app, ["check", *map(str, arguments)])


def test_held_part_exits_with_five_and_says_what_to_measure_next():
    done = _run("2N3055", "C_BE=1.0 nF")
    assert done.exit_code == 5
    assert done.stdout.startswith("[?] hold  one part marked 2N3055\n  Capacitance cannot decide this one")
    assert "  Next: " in done.stdout
    assert "    Caution: " in done.stdout
    assert done.stderr == ""


def test_rejected_part_exits_with_four():
    done = _run("BDV64B", "hFE=100 @ IC=5 A, VCE=4 V")
    assert done.exit_code == 4
    assert done.stdout.startswith("[x] reject")


def test_unreadable_reading_exits_with_three_and_prints_nothing_to_standard_output():
    done = _run("2SC5200", "C_CB=118 pF @ VCB=10 V", "gain of 90")
    assert done.exit_code == 3
    assert done.stdout == ""
    assert "reading 2, character 1" in done.stderr
    assert '"C_CB=118 pF @ VCB=10 V' in done.stderr


def test_part_without_a_usable_reading_exits_with_three_and_still_answers():
    done = _run("BDV64B", "hFE=900")
    assert done.exit_code == 3
    assert "kept, not judged" in done.stdout


def test_missing_kit_and_impossible_temperature_exit_with_three():
    assert "no such file" in _run("BDV64B", "hFE=900 @ IC=5 A", "--kit", "nowhere.toml").stderr
    done = _run("BDV64B", "hFE=900 @ IC=5 A", "--temperature", "900")
    assert (done.exit_code, done.stdout) == (3, "")
    assert "900 degC is no case temperature" in done.stderr


def test_missing_reading_and_share_out_of_range_are_usage_errors():
    assert _run("2SC5200").exit_code == 2
    assert _run("2SC5200", "hFE=90 @ IC=1 A", "--prior-share", "1.5").exit_code == 2


@pytest.mark.parametrize("readings", [["hFE=2000 @ IC=5 A, VCE=4 V"], ["hFE=2000"]])
def test_json_is_one_lot_of_one_part_and_reads_back(readings):
    done = _run("BDV64B", *readings, "--json")
    told = json.loads(done.stdout)
    assert told["schema"] == "partscreen.screening/1"
    assert [lot["n_parts"] for lot in told["lots"]] == [1]
    assert told["settings"]["type"] == "BDV64B"
    found = Screening.model_validate_json(done.stdout)
    step = found.lots[0].parts[0].next_measurement
    assert step.recipe.startswith("Caution:")
