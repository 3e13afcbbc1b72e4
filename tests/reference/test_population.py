"""Populations of the packaged types and of small made-up ones."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from partscreen.device.parameters import INDEX
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.reference.library import Library
from partscreen.reference.models import ReferenceType
from partscreen.reference.population import Population, population_for, why_no_population
from partscreen.reference.population_constants import gain_temperature_exponent, junction_grading, rated_current

ROOM = 298.15
SOURCE = {"id": "S", "title": "made-up sheet", "basis": "stored copy"}
OTHER = {"id": "O", "title": "another made-up sheet", "basis": "stored copy"}
BAND = {"symbol": "hFE", "min": 60.0, "max": 120.0, "unit": "1", "conditions": {"IC": 1.0, "VCE": 5.0}, "source": "S"}


@pytest.fixture(scope="module")
def library() -> Library:
    return Library.load()


def made_up(*rows: dict[str, Any], curves: tuple[dict[str, Any], ...] = (), ic: float | None = 10.0) -> ReferenceType:
    ratings = [{"symbol": "VCEO", "value": 150.0, "unit": "V", "source": "S"}]
    if ic:
        ratings.append({"symbol": "IC", "value": ic, "unit": "A", "source": "S"})
    return ReferenceType.model_validate(
        {
            "device": {"type_number": "XX1", "polarity": "NPN"},
            "sources": [SOURCE, OTHER],
            "ratings": ratings,
            "characteristics": list(rows),
            "curves": list(curves),
        }
    )


def populated(of: ReferenceType, **options: Any) -> Population:
    found = population_for(of, **options)
    assert found is not None
    return found


def ln_hfe(population: Population, ic: float) -> tuple[float, float]:
    """ln hFE of the centre and its sd over parts."""
    prior = population.part_prior()
    at = predict_gain(prior.mean[None], prior.constants, np.array([ic]), 5.0, ROOM)
    assert at.d_ln_hfe is not None
    slope = at.d_ln_hfe[0, 0]
    return float(at.ln_hfe[0, 0]), float(np.sqrt(slope @ prior.covariance @ slope))


def test_every_packaged_type_has_a_usable_population_or_says_why_not(library):
    for of in library:
        found = population_for(of)
        if found is None:
            assert why_no_population(of), of.name
            continue
        assert not why_no_population(of)
        prior = found.part_prior()
        assert np.isfinite(prior.mean).all(), of.name
        assert np.linalg.eigvalsh(prior.covariance).min() > 0, of.name
        for kind in (found.centre_covariance, found.between, found.within):
            assert np.allclose(kind, kind.T), of.name
            assert np.linalg.eigvalsh(kind).min() > -1e-9, of.name
        assert set(found.sources) == set(INDEX)


def test_darlingtons_have_no_population(library):
    darlingtons = [of for of in library if of.is_darlington]
    assert darlingtons
    for of in darlingtons:
        assert population_for(of) is None
        assert "limits and lot statistics only" in why_no_population(of)


def test_two_ratings_and_one_gain_row_are_enough():
    found = populated(made_up(BAND))
    middle, sd = ln_hfe(found, 1.0)
    assert np.log(60.0) < middle < np.log(120.0)
    # A flat distribution over the band has ln(2)/sqrt(12); a seventh wider is allowed. Slopes differ a little
    # from those over the spread.
    assert sd < 1.5 * np.log(2.0) / np.sqrt(12.0)


def test_a_type_without_rated_current_and_gain_row_has_no_population():
    of = made_up(ic=None)
    assert population_for(of) is None
    assert "nothing sets the scale" in why_no_population(of)


def test_without_a_rated_current_the_gain_rows_set_the_scale():
    assert rated_current(made_up({**BAND, "conditions": {"IC": 4.0, "VCE": 5.0}}, ic=None)) == 8.0


def test_a_parameter_without_any_source_is_open():
    found = populated(made_up(BAND))
    sd = found.sd()
    for name in ("is", "rb", "irb", "re", "rc", "br", "cje", "leak"):
        assert sd[INDEX[name]] >= 1.0, name
        assert found.sources[name] in ("rating regression", "assumption", "limit interval")


def test_a_maximum_alone_pulls_less_than_a_typical_value_and_leaves_more_open():
    def row(**figures: float) -> dict[str, Any]:
        return {"symbol": "C_CB", "unit": "F", "conditions": {"VCB": 10.0}, "source": "S", **figures}

    at = INDEX["cjc"]
    typical, maximum = (populated(made_up(BAND, row(**{side: 300e-12}))) for side in ("typ", "max"))
    assert maximum.sources["cjc"] == "one-sided limit"
    assert typical.sources["cjc"] == "typical value"
    assert maximum.sd()[at] > 1.4 * typical.sd()[at]
    assert maximum.centre[at] < typical.centre[at]  # typical parts lie below a maximum
    wide = populated(made_up(BAND, row(max=3000e-12)))
    assert 0.0 < wide.centre[at] - maximum.centre[at] < 0.8 * np.log(10.0)


def test_a_base_emitter_capacitance_follows_from_a_collector_capacitance_a_little():
    row = {"symbol": "C_CB", "typ": 900e-12, "unit": "F", "conditions": {"VCB": 10.0}, "source": "S"}
    plain, told = populated(made_up(BAND)), populated(made_up(BAND, row))
    assert told.centre[INDEX["cje"]] > plain.centre[INDEX["cje"]]
    assert told.sd()[INDEX["cje"]] > 0.8  # cards allow no more: 0.65 falls to 0.60


def test_more_points_on_a_drawn_curve_are_no_more_witnesses():
    def drawn(n: int) -> dict[str, Any]:
        points = [[float(ic), float(100 / (1 + ic / 12))] for ic in np.geomspace(0.1, 5.0, n)]
        return {"quantity": "hFE", "x": "IC", "unit": "1", "conditions": {"VCE": 5.0}, "temperature_c": 25.0,
                "points": points,
                "reading_error": 0.03, "source": "S"}  # fmt: skip

    few, many = (ln_hfe(populated(made_up(BAND, curves=(drawn(n),))), 1.0) for n in (9, 90))
    assert many[1] > 0.97 * few[1]
    assert many[0] == pytest.approx(few[0], abs=0.03)


def test_a_limit_that_two_makers_print_counts_once():
    row = {"symbol": "VCE(sat)", "max": 1.5, "unit": "V", "conditions": {"IC": 5.0, "IB": 0.5}, "source": "S"}
    one = populated(made_up(BAND, row))
    two = populated(made_up(BAND, row, {**row, "source": "O"}, {**BAND, "source": "O"}))
    assert np.allclose(one.sd(), two.sd(), rtol=1e-6)
    assert np.allclose(one.centre, two.centre, atol=1e-6)


def test_leaving_a_source_out_leaves_its_figures_out():
    other = {**BAND, "min": 200.0, "max": 400.0, "source": "O"}
    of = made_up(BAND, other)
    without = populated(of, leave_out_sources=["O"])
    alone = populated(made_up(BAND))
    assert np.allclose(without.centre, alone.centre)
    assert ln_hfe(populated(of), 1.0)[0] > ln_hfe(without, 1.0)[0] + 0.2


def test_leaving_the_curves_out_widens_what_they_told(library):
    of = library.find("MJ2955").type
    everything = populated(of)
    without = populated(of, leave_out_curves=range(len(of.curves)))
    assert without.sd()[INDEX["re"]] > 1.2 * everything.sd()[INDEX["re"]]
    assert "digitised curve" in everything.sources.values()
    assert "digitised curve" not in without.sources.values()


def test_a_gain_group_narrows_the_gain_and_orders_it(library):
    of = library.find("2SC3281").type
    r, o, both = (ln_hfe(populated(of, gain_group=group), 1.0) for group in ("R", "O", None))
    assert r[0] < o[0]
    assert r[1] < both[1]
    assert o[1] < both[1]


def test_a_printed_thermal_resistance_places_its_parameter(library):
    of = library.find("MJ15003").type
    printed = of.rating("RTHJC")
    assert printed
    assert np.exp(populated(of).centre[INDEX["rth"]]) == pytest.approx(0.5 * printed)


def test_the_centre_follows_a_types_own_curves(library):
    """Digitised curves of the MJ2955 sheet (ON3055R6 in its file): the centre stays near what is drawn, edition
    spread left.
    """
    of = library.find("MJ2955").type
    found = populated(of)
    curve = next(c for c in of.curves if c.quantity == "VCE(sat)" and c.x == "IC")
    for ic, drawn in curve.points:
        if 0.3 < ic < 3.0:
            modelled = predict_saturation(found.centre[None], found.constants, np.array([ic]), ic / 10, ROOM).vce[0, 0]
            assert modelled == pytest.approx(drawn, rel=0.35), ic


def test_the_same_question_is_answered_from_memory_and_others_are_not():
    of = made_up(BAND)
    assert population_for(of) is population_for(of)
    assert population_for(of) is not population_for(of, leave_out_sources=["S"])
    assert population_for(of) is not population_for(made_up(BAND))


def test_own_curves_replace_the_usual_constants():
    def curve(degrees: float, factor: float) -> dict[str, Any]:
        points = [[0.1, 100.0 * factor], [1.0, 100.0 * factor]]
        return {"quantity": "hFE", "x": "IC", "unit": "1", "conditions": {"VCE": 5.0}, "temperature_c": degrees,
                "points": points,
                "source": "S"}  # fmt: skip

    exponent = 1.3
    hot = (398.15 / 298.15) ** exponent
    of = made_up(BAND, curves=(curve(25.0, 1.0), curve(125.0, hot)))
    assert gain_temperature_exponent(of.curves, 10.0) == pytest.approx(exponent)
    assert populated(of).constants.xtb == pytest.approx(exponent)
    assert gain_temperature_exponent(made_up(BAND, curves=(curve(25.0, 1.0),)).curves, 10.0) is None


def test_junction_grading_is_found_from_a_clean_curve():
    bias = np.geomspace(0.2, 40.0, 12)
    points = np.column_stack([bias, 500e-12 / (1 + bias / 0.55) ** 0.45])
    potential, exponent = junction_grading(points, 0.6, 0.38)
    assert potential == pytest.approx(0.55, abs=0.15)
    assert exponent == pytest.approx(0.45, abs=0.03)


def test_a_capacitance_is_uncertain_only_away_from_the_bias_the_sheet_states():
    row = {"symbol": "C_CB", "typ": 300e-12, "unit": "F", "conditions": {"VCB": 10.0}, "source": "S"}
    collector = populated(made_up(BAND, row)).gradings[1]
    assert collector.ln_std(10.0) == pytest.approx(0.0)
    assert float(collector.ln_std(0.0)) > 0.1
    assert populated(made_up(BAND)).gradings[0].known_bias == 0.0
