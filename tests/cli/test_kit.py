"""A kit is made by questions that refuse what cannot be, told in words, and warns when calibration is overdue."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.readings.instruments.kit import load_kit
from tests.docs.bag import FOLDER

KITS = sorted((Path(__file__).resolve().parents[2] / "docs" / "examples" / "kits").glob("*.toml"))
DEFAULTS = ["", "-", "", "", "1", "", "", "", "", "", "", "", "", "", "", "", "done"]


def run(*words: str, typed: list[str] | None = None):
    return CliRunner().invoke(app, list(words), input=None if typed is None else "".join(f"{t}\n" for t in typed))


def test_questions_answered_by_enter_make_a_kit_whose_figures_are_marked_as_assumed(tmp_path):
    out = tmp_path / "kit.toml"
    ran = run("kit", "--new", "--out", str(out), typed=DEFAULTS)
    assert ran.exit_code == 0, ran.output
    kit = load_kit(out)
    assert kit.instruments[0].reads == ("c_be", "c_cb")
    assert out.read_text().count("# assumption") == 4  # range, two accuracies, minutes
    assert "within" in ran.output
    assert not list(tmp_path.glob("*.answers"))


def test_every_kind_of_instrument_makes_a_kit_that_loads(tmp_path):
    for number in range(1, 6):
        out = tmp_path / f"kit{number}.toml"
        typed = ["", "-", "", "", str(number), *[""] * 50]
        ran = run("kit", "--new", "--out", str(out), typed=typed)
        assert ran.exit_code == 0, ran.output
        assert len(load_kit(out).instruments) == 1


def test_impossible_answers_are_refused_with_why(tmp_path):
    out = tmp_path / "kit.toml"
    typed = [
        "", "2099-01-01", "yesterday", "2026-01-05", "x", "24", "hot", "500", "22 degC", "perhaps", "", "9", "1", "",
        "hFE", "C_BE", "0 nF", "20 nF", "0 %", "0.00001 %", "70 %", "2 % + 3 digits of 5 nF", "1 % + 2 digits of 1 pF",
        "12 V", "0 V", "1", "100 kHz", "2.5", "2.5 pF", "0 pF", "0.3 pF", "0", "0.3", "done",
    ]  # fmt: skip
    ran = run("kit", "--new", "--out", str(out), typed=typed)
    assert ran.exit_code == 0, ran.output
    for why in (
        "still to come", "year-month-day", "whole months", "no temperature", "no room temperature", "yes or no",
        "1 to 5", "not among", "above zero", "zero is not believable", "better than any bench", "is it 0.7 %",
        "leaves no reading", "break down from about 5 V", "has no unit", "write minutes",
    ):  # fmt: skip
        assert why in ran.output, why
    assert ran.output.count("\n! ") == 18
    kit = load_kit(out)
    assert kit.calibration_months == 24
    assert kit.temperature == 22.0
    assert kit.instruments[0].fixture_capacitance.std == pytest.approx(0.3e-12)


def test_stopped_questions_go_on_and_back_changes_an_answer(tmp_path):
    out = tmp_path / "kit.toml"
    ran = run("kit", "--new", "--out", str(out), typed=["my desk", "stop"])
    assert ran.exit_code == 3
    assert not out.exists()
    ran = run("kit", "--new", "--out", str(out), typed=["back", "your desk", *DEFAULTS[1:]])
    assert ran.exit_code == 0, ran.output
    assert load_kit(out).name == "your desk"


def test_kit_that_is_there_is_not_written_over(tmp_path):
    out = tmp_path / "kit.toml"
    out.write_text("mine")
    assert run("kit", "--new", "--out", str(out), typed=DEFAULTS).exit_code == 3
    assert out.read_text() == "mine"


def test_four_example_kits_are_shipped_and_each_figure_is_marked_as_an_example():
    assert len(KITS) == 4
    for path in KITS:
        kit = load_kit(path)
        assert kit.calibrated_on
        assert kit.calibration_months
        assert kit.name.startswith("example: ")
        lines = path.read_text().splitlines()
        assert all("# assumption" in line for line in lines if line.startswith("accuracy."))


@pytest.mark.parametrize("path", KITS, ids=lambda p: p.stem)
def test_words_of_an_example_kit_name_all_it_reads(path):
    ran = run("kit", str(path), "--on", "2026-11-25")
    assert ran.exit_code == 0
    assert "overdue" not in ran.output
    assert ran.output.count("reads ") == sum(len(i.reads) for i in load_kit(path).instruments)


def overdue_kit(folder: Path) -> Path:
    path = folder / "old.toml"
    text = KITS[0].read_text().replace("calibrated_on = 2026", "calibrated_on = 2019")
    path.write_text(text)
    return path


def test_overdue_calibration_is_warned_of_by_kit_and_by_screen(tmp_path):
    kit = overdue_kit(tmp_path)
    assert "calibration is overdue" in run("kit", str(kit)).output
    ran = run("screen", str(FOLDER / "bag.csv"), "--type", "2SC5200", "--kit", str(kit))
    assert "calibration is overdue" in ran.stderr
    ran = run("screen", str(FOLDER / "bag.csv"), "--type", "2SC5200")
    assert "calibration" not in ran.stderr


def test_kit_file_with_an_impossible_accuracy_stops_a_screening_with_the_place(tmp_path):
    kit = tmp_path / "kit.toml"
    kit.write_text(KITS[0].read_text().replace("count_size = 1e-5", "count_size = 1e-1"))
    ran = run("screen", str(FOLDER / "bag.csv"), "--type", "2SC5200", "--kit", str(kit))
    assert ran.exit_code == 3
    assert "leaves no reading" in ran.output
    assert "accuracy.ib" in ran.output


def test_neither_file_nor_new_is_a_usage_error():
    assert run("kit").exit_code == 2
    assert run("kit", str(KITS[0]), "--new").exit_code == 2
