"""Ready arrays of a lot's figures: the control piece as it was followed, the type's capacitance as it is known."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.reference.population import population_for
from partscreen.report.collect_lot import REACH_OF_95, capacitance_region
from partscreen.simulate.scenario import demo_files
from partscreen.workflow import ScreenOptions, screen_files
from partscreen.workflow.settings import load_library

LIBRARY = load_library()


@pytest.fixture(scope="module")
def outcome():
    files = demo_files()
    readings = [path for path in files.readings if path.name in ("A1.csv", "capacitance.csv")]
    return screen_files(readings, ScreenOptions(lots=files.lots, kit=files.kit))


def test_the_course_of_the_control_piece_is_what_the_result_tells_of_it(outcome):
    (lot,) = [lot for lot in outcome.screening.lots if lot.lot == "A1"]
    (course,) = outcome.report.lots["A1"].control
    (told,) = lot.control
    assert course.session == told.session
    assert course.at.size == told.readings == 3
    assert course.gain[np.argmax(np.abs(course.gain))] == pytest.approx(told.gain_change)
    assert course.vbe[np.argmax(np.abs(course.vbe))] == pytest.approx(told.vbe_change)
    assert course.gain[0] == course.vbe[0] == 0
    assert course.at[0] < course.at[-1]


def test_the_figure_of_two_groups_holds_every_part_that_has_it(outcome):
    (lot,) = [lot for lot in outcome.screening.lots if lot.lot == "A1"]
    assert lot.groups.parts == [part.part for part in lot.parts]
    arrays = outcome.report.lots["A1"].parts
    for name, value in zip(lot.groups.parts, lot.groups.values, strict=True):
        read = arrays[name]
        assert value == pytest.approx(read.hfe[-1] / read.hfe[0], rel=1e-6)  # all parts were read at the same currents
    assert not lot.groups.two
    assert lot.groups.statistic < lot.groups.bar


def test_the_region_of_a_capacitance_is_that_of_the_population_about_the_printed_figure(outcome):
    region = outcome.report.lots["A1"].c_cb
    # 2SC5200/FJL4315 data sheet, Fairchild, Rev. A2: Cob typically 200 pF at VCB = 10 V, f = 1 MHz
    assert region.low < 200e-12 < region.high
    population = population_for(LIBRARY.find("2SC5200").type)
    assert population is not None
    sd = population.sd()[_place("cjc")]
    # The centre is a fit to all the sheets say; the width is that of one part of an unknown lot, at the sheet's bias.
    assert np.log(region.high / region.low) == pytest.approx(2 * REACH_OF_95 * sd, rel=0.02)
    read = [part.c_cb for part in outcome.report.lots["A1"].parts.values()]
    assert all(region.low < value < region.high for value in read)


def _place(name: str) -> int:
    from partscreen.device.parameters import INDEX

    return INDEX[name]


def test_a_printed_maximum_cuts_the_region_off_and_an_unknown_bias_has_none():
    kind = LIBRARY.find("MJL21194").type
    population = population_for(kind)
    # MJL21193/MJL21194 data sheet, onsemi: Cob at most 500 pF at VCB = 10 V, f = 1 MHz
    at_sheet = capacitance_region(kind, population, "c_cb", 10.0)
    assert at_sheet.high <= 500e-12
    assert "printed maximum" in at_sheet.origin
    elsewhere = capacitance_region(kind, population, "c_cb", 0.0)
    assert "printed" not in elsewhere.origin
    assert elsewhere.low > at_sheet.low  # without bias a junction has more capacitance
    assert capacitance_region(kind, population, "c_cb", None) is None
    alone = capacitance_region(kind, None, "c_cb", 10.0)
    assert np.isnan(alone.low)
    assert alone.high == pytest.approx(500e-12)
    assert capacitance_region(kind, None, "c_be", 0.0) is None


def test_the_region_leaves_out_one_part_in_twenty_of_the_population():
    kind = LIBRARY.find("2SC5200").type
    population = population_for(kind)
    region = capacitance_region(kind, population, "c_cb", 10.0)
    prior = population.part_prior()
    rng = np.random.default_rng(11)
    drawn = rng.normal(prior.mean[_place("cjc")], np.sqrt(prior.covariance[_place("cjc"), _place("cjc")]), 20_000)
    from partscreen.device.capacitance import junction_capacitance

    values = junction_capacitance(np.exp(drawn), 10.0, prior.constants.vjc, prior.constants.mjc, prior.constants.fc)
    outside = np.mean((values < region.low) | (values > region.high))
    assert 0.03 < outside < 0.06
