"""A typed line is taken apart without a guess: figures, units, decimal commas, names."""

from __future__ import annotations

import math

import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.typed.columns import columns_from
from partscreen.readings.typed.line import Marks, read_line

COLUMNS = columns_from(
    ["C_BE [nF] @ VEB=0 V, f=1 MHz", "C_CB [pF] @ VCB=10 V", "hFE @ IC=1 A, VCE=5 V", "VBE [mV] @ IC=1 A, VCE=5 V"]
)
AS_MEANT = (1.92e-9, 190e-12, 95.0, 0.655)


def values(text: str, marks: Marks | None = None) -> list[float]:
    line = read_line(text, COLUMNS, marks or Marks())
    assert not line.problems, [str(problem) for problem in line.problems]
    return [line.cells[i].value for i in sorted(line.cells)]


def codes(text: str) -> list[str]:
    return [problem.code for problem in read_line(text, COLUMNS, Marks()).problems]


@pytest.mark.parametrize(
    "text",
    [
        "1.92 190 95 655",
        "1,92 190 95 655",
        "1.92; 190; 95; 655",
        "1.92nF 190pF 95 655mV",
        "1.92 nF 190 pF 95 655 mV",
        "1920pF 0,19nF 95 0,655 V",
        "1.92e-9F 1.9e-10 F 9.5e1 0.655V",
        "hFE=95 C_BE=1.92 VBE=655 C_CB = 190",
        "VBE=0.655 V hFE@1A=95 C_CB=190 C_BE=1,92",
        "1.92 190 95 -655 mV",
        "1.92 190 95 −655",
    ],
)
def test_ways_of_writing_one_line_mean_the_same(text):
    assert values(text) == pytest.approx(AS_MEANT, rel=1e-12)


def test_dash_is_not_measured_and_keeps_the_order():
    found = values("- 190 - 655")
    assert math.isnan(found[0])
    assert math.isnan(found[2])
    assert found[1] == pytest.approx(190e-12)


def test_part_in_front_is_told_apart_from_figures():
    line = read_line("T7: 1.92 190 95 655", COLUMNS, Marks())
    assert (line.part, len(line.cells)) == ("T7", 4)
    assert read_line("A1-T0007:1.92 190 95 655", COLUMNS, Marks()).part == ""


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("1.92 190 95", "TOO_FEW_FIGURES"),
        ("1.92 190 95 655 3", "TOO_MANY_FIGURES"),
        ("1.92 C_BE=2 hFE=3", "READING_TWICE"),
        ("1.92 nV 190 95 655", "UNKNOWN_UNIT"),
        ("1.92 190 95 655 MV", "AMBIGUOUS_UNIT"),
        ("1,234 190 95 655", "AMBIGUOUS_NUMBER"),
        ("OL 190 95 655", "OVERRANGE"),
        ("<2 190 95 655", "BOUND_NOT_VALUE"),
        ("word", "NOT_A_NUMBER"),
        ("fT=3 190", "UNKNOWN_QUANTITY"),
        ("1.92 -190 95 655", "NEGATIVE_VALUE"),
    ],
)
def test_what_cannot_be_read_says_what_and_the_way_out(text, code):
    line = read_line(text, COLUMNS, Marks())
    assert code in codes(text)
    assert all(problem.fix and "column map" not in problem.fix for problem in line.problems)


def test_decimal_mark_shown_once_settles_a_figure_with_two_readings():
    marks = Marks()
    marks.learn(["0,65"])
    assert values("1,234 190 95 655", marks)[0] == pytest.approx(1.234e-9)
    marks.learn(["0.65"])
    assert "AMBIGUOUS_NUMBER" in [p.code for p in read_line("1,234 190 95 655", COLUMNS, marks).problems]


def test_figure_that_no_part_reads_is_marked_and_never_a_plain_value():
    line = read_line("1920 190 95 655", COLUMNS, Marks())
    assert line.cells[0].beyond
    assert line.cells[0].value == pytest.approx(1.92e-6)


def test_name_that_stands_twice_is_asked_about():
    columns = columns_from(["hFE @ IC=0.1 A, VCE=5 V", "hFE @ IC=1 A, VCE=5 V"])
    line = read_line("hFE=90 hFE@1=80", columns, Marks())
    assert [problem.code for problem in line.problems] == ["WHICH_READING"]
    assert "hFE@0.1A" in line.problems[0].fix
    assert read_line("hFE@0.1A=90 hFE at 1=80", columns, Marks()).cells[0].value == 90.0


def test_every_header_that_names_no_reading_is_told_at_once():
    with pytest.raises(UnusableInput) as caught:
        columns_from(["C_BE [nF] @ VEB=0 V", "wishes", "C_BE [pF] @ VEB=0 V", "VCE @ IC=1 A", ""])
    assert len(caught.value.problems) == 4
