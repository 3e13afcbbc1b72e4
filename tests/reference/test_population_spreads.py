"""The file of process spreads."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from pydantic import ValidationError

from partscreen.device.parameters import AREA_DIRECTION, INDEX
from partscreen.reference.library import packaged_directory
from partscreen.reference.population_spreads import SPREADS_FILE, ReadingFigure, Spreads, load_spreads


@pytest.fixture
def tables():
    return tomllib.loads((packaged_directory() / SPREADS_FILE).read_text(encoding="utf-8"))


def test_a_figure_without_its_basis_is_refused(tables):
    del tables["spreads"]["bf"]["basis"]
    with pytest.raises(ValidationError, match="basis"):
        Spreads.model_validate(tables)


def test_a_basis_that_says_neither_computed_nor_assumed_is_refused(tables):
    tables["spreads"]["bf"]["basis"] = "everybody knows this"
    with pytest.raises(ValidationError, match="starts with none of"):
        Spreads.model_validate(tables)


def test_a_missing_parameter_is_named(tables):
    del tables["ratings"]["ikf"]
    with pytest.raises(ValidationError, match=r"\[ratings\] lacks or does not know: ikf"):
        Spreads.model_validate(tables)


def test_a_type_of_unknown_voltage_is_known_less_well_where_voltage_matters():
    spreads = load_spreads()
    known, unknown = (np.sqrt(np.diag(spreads.rating_prior(10.0, v)[1])) for v in (100.0, None))
    assert unknown[INDEX["vaf"]] > known[INDEX["vaf"]] * 1.05
    assert unknown[INDEX["is"]] == pytest.approx(known[INDEX["is"]])


def test_a_rating_far_outside_the_cards_is_known_less_well():
    spreads = load_spreads()
    inside, outside = (spreads.rating_prior(ic, 100.0)[1][INDEX["is"], INDEX["is"]] for ic in (5.0, 500.0))
    assert outside > 1.15 * inside


def test_spreads_hold_a_common_area_error():
    within = load_spreads().spread("within")
    along = AREA_DIRECTION / np.linalg.norm(AREA_DIRECTION)
    assert along @ within @ along > along @ np.diag(np.diag(within)) @ along


def test_the_models_misfit_grows_towards_the_rated_current():
    figure = load_spreads().readings["hFE"]
    assert isinstance(figure, ReadingFigure)
    low, high = figure.misfit_std(100.0, [0.01, 1.0])
    assert low == pytest.approx(figure.shape, rel=0.01)
    assert high > 5 * low
