"""Slips are asked about, sound lines are not; figures exchanged between neighbours are told."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.readings.typed.line import Cell
from partscreen.readings.typed.neighbours import exchanged_neighbours
from partscreen.readings.typed.plausible import Usual, doubts, usual_of_parts
from partscreen.workflow.typed.known import usual_of_type
from tests.readings.typed_lots import COLUMNS, population, sound_lot

TYPES = ("2SC5200", "2SA1943", "MJ15003", "2SC5171")
LOTS = 40  # of 20 parts each a type: 3200 lines


@pytest.fixture(scope="module")
def lots():
    rng = np.random.default_rng(20)
    return [(name, sound_lot(rng, population(name), 20)) for name in TYPES for _ in range(LOTS)]


def cells(row) -> dict[int, Cell]:
    return {i: Cell("", float(v)) for i, v in enumerate(row) if np.isfinite(v)}


def test_lines_of_sound_parts_are_hardly_ever_asked_about(lots):
    of_type = {name: usual_of_type(COLUMNS, population(name)) for name in TYPES}
    lines = asked = 0
    for name, values in lots:
        for i, row in enumerate(values):
            lines += 1
            asked += bool(doubts(cells(row), COLUMNS, usual_of_parts(values[:i]), of_type[name]))
    assert lines == 3200
    # 5 seen, on drawn parts whose gain has collapsed at 1 A (0.1 to 9; one saturates at 1.7 V): far tails of the prior.
    assert asked <= 6  # one in 500


def test_sound_neighbours_are_hardly_ever_taken_for_exchanged(lots):
    remarked = sum(len(exchanged_neighbours(values, COLUMNS)) for _, values in lots)
    assert remarked <= 6  # of 3040 pairs of neighbours


@pytest.mark.parametrize("power", [1, -1, 3, -3])
@pytest.mark.parametrize("column", [0, 1, 2, 6, 8])
def test_decimal_mark_or_prefix_slipped_is_asked_about_with_the_figure_meant(lots, power, column):
    found = right = 0
    for _, values in lots[:LOTS]:
        row = values[10].copy()
        meant = row[column]
        row[column] *= 10.0**power
        asked = doubts(cells(row), COLUMNS, usual_of_parts(values[:10]), [None] * 9)
        found += bool(asked)
        right += bool(asked) and asked[0].instead.get(column) == pytest.approx(meant)
    assert found == right
    assert found >= 0.95 * LOTS


def test_base_voltage_typed_in_volts_under_millivolts_is_asked_about_without_any_part_before():
    asked = doubts({3: Cell("0.65", 0.65e-3)}, COLUMNS, [None] * 9, [None] * 9)
    assert asked[0].instead[3] == pytest.approx(0.65)


def test_capacitances_in_each_others_columns_are_asked_about(lots):
    for name, values in lots[::LOTS]:
        row = values[5].copy()
        swapped = {0: Cell("", row[1] / 1e-12 * 1e-9), 1: Cell("", row[0] / 1e-9 * 1e-12)}
        (asked,) = doubts(swapped, COLUMNS, usual_of_parts(values[:5]), usual_of_type(COLUMNS, population(name)))
        assert asked.code == "COLUMNS_EXCHANGED"
        assert asked.instead == pytest.approx({0: row[0], 1: row[1]})


def test_figures_typed_with_their_unit_are_not_taken_for_another_columns():
    usual: list[Usual | None] = [Usual(2e-9, 0.02, 5), Usual(2e-10, 0.02, 5), *[None] * 7]
    asked = doubts({0: Cell("2nF", 2e-9, True), 1: Cell("190", 1.9e-10)}, COLUMNS, usual, [None] * 9)
    assert asked == []


def test_smaller_die_is_not_asked_about(lots):
    # A third of the area: capacitance a third, gain and VBE another. It must come in as it is.
    asked = 0
    for _, values in lots[:LOTS]:
        row = values[10].copy()
        row[:2] /= 3.0
        row[3:8:2] += 0.026 * np.log(3.0)
        asked += bool(doubts(cells(row), COLUMNS, usual_of_parts(values[:10]), [None] * 9))
    assert asked == 0


def test_one_gain_exchanged_with_the_next_part_is_told(lots):
    told = looked = 0
    for _, values in lots[:LOTS]:
        if abs(np.log(values[8, 2] / values[9, 2])) < 0.2:
            continue  # too alike for anybody to see
        looked += 1
        wrong = values.copy()
        wrong[[8, 9], 4] = wrong[[9, 8], 4]
        found = exchanged_neighbours(wrong, COLUMNS, 9)
        told += any((one.first, one.second) == (8, 9) for one in found)
    assert looked >= 8
    assert told >= 0.8 * looked


def test_line_continued_one_part_too_early_is_told(lots):
    told = looked = 0
    for _, values in lots[:LOTS]:
        if abs(np.log(values[8, 2] / values[9, 2])) < 0.2:
            continue
        looked += 1
        wrong = values.copy()
        wrong[[8, 9], 4:] = wrong[[9, 8], 4:]
        told += bool(exchanged_neighbours(wrong, COLUMNS, 9))
    assert looked >= 8
    assert told >= 0.8 * looked


def test_few_parts_or_one_reading_of_a_kind_say_nothing_of_neighbours(lots):
    values = lots[0][1]
    assert exchanged_neighbours(values[:5], COLUMNS) == []
    assert exchanged_neighbours(values[:, [2, 3]], [COLUMNS[2], COLUMNS[3]]) == []
