"""The figures of the file of process spreads against the published cards and sheets they say they come from."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from benchmarks.population_spreads import JUDGED, computed
from benchmarks.population_study import capacitance_from_capacitance, maker_pairs
from partscreen.device.parameters import INDEX
from partscreen.device.predict import predict_gain
from partscreen.reference.library import Library, packaged_directory
from partscreen.reference.population import population_for
from partscreen.reference.population_regression import read_cards
from partscreen.reference.population_spreads import SPREADS_FILE
from tests.facts import MODEL_CARDS, needs_facts


@pytest.fixture(scope="module")
def shipped():
    return tomllib.loads((packaged_directory() / SPREADS_FILE).read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def again():
    return computed()


@needs_facts
def test_every_computed_rating_figure_comes_out_again(shipped, again):
    """Published cards of madmpro/spice-workspace@6812afa6 and kicad-spice-library@a8688952."""
    for name, figure in again["ratings"].items():
        assert shipped["ratings"][name]["coefficients"] == pytest.approx(
            list(figure["coefficients"]), rel=2e-3, abs=2e-3
        ), name
        assert shipped["ratings"][name]["sd"] == pytest.approx(float(figure["sd"]), rel=2e-3), name
    assert {n for n, f in shipped["ratings"].items() if f["basis"].startswith("computed from published model")} | set(
        JUDGED
    ) >= set(again["ratings"])


@needs_facts
def test_every_computed_limit_and_constant_comes_out_again(shipped, again):
    for name, figure in again["limits"].items():
        assert shipped["limits"][name]["mean"] == pytest.approx(figure["mean"], rel=2e-3, abs=2e-3), name
        assert shipped["limits"][name]["sd"] == pytest.approx(figure["sd"], rel=2e-3), name
    for polarity, table in again["constants"].items():
        for name, figure in table.items():
            assert shipped["constants"][polarity][name]["value"] == pytest.approx(figure["value"], rel=2e-3), name


@needs_facts
def test_cards_tell_base_emitter_from_collector_capacitance_only_weakly():
    """The standard deviations docs/population.md quotes."""
    alone, given, n = capacitance_from_capacitance(read_cards(MODEL_CARDS))
    assert n > 80
    assert 0.5 < given < alone < 0.8


def test_typical_parts_lie_anywhere_in_their_gain_band(shipped):
    """Typical curves of 18 types against the band at the same condition: a flat distribution has mean 0.5 and sd
    0.29.
    """
    band = shipped["limits"]["hfe_band"]
    assert band["types"] >= 15
    assert band["mean"] == pytest.approx(0.5, abs=0.1)
    assert band["sd"] == pytest.approx(12**-0.5, abs=0.06)


def test_two_makers_of_one_type_number_draw_different_parts():
    """2N5551 (Philips, Fairchild) and TIP35C (onsemi, ST), sources in the files of the types."""
    rms = {name: spread for name, quantity, _, _, _, spread in maker_pairs() if quantity == "hFE"}
    assert rms["2N5551"] < 0.4
    assert rms["TIP35C"] > 0.5


def test_a_genuine_reading_of_two_processes_of_one_type_is_inside_the_capacitance_prior():
    """2N3773: 0.73 nF (RCA hometaxial) and about 8 nF (Mospec), published field readings in the file of the type."""
    of = Library.load().find("2N3773").type
    found = population_for(of)
    assert found is not None
    at = INDEX["cje"]
    for value in (0.73e-9, 8e-9):
        assert abs(np.log(value) - found.centre[at]) < 1.96 * found.sd()[at]


def test_hand_read_gain_curves_stay_inside_the_centres_uncertainty():
    """2SC5200 and 2SA1943, hFE at 25 degC as drawn by Fairchild (source FSC in the files of the types)."""
    library = Library.load()
    for name in ("2SC5200", "2SA1943"):
        of = library.find(name).type
        found = population_for(of)
        assert found is not None
        curve = next(c for c in of.curves if c.quantity == "hFE" and c.temperature_c == 25.0)
        points = np.array([p for p in curve.points if p[0] <= 8.0])
        at = predict_gain(found.centre[None], found.constants, points[:, 0], 5.0, 298.15)
        assert at.d_ln_hfe is not None
        slopes = at.d_ln_hfe[0]
        sd = np.sqrt(np.einsum("ip,pq,iq->i", slopes, found.centre_covariance, slopes))
        assert np.all(np.abs(np.log(points[:, 1]) - at.ln_hfe[0]) < 1.96 * sd)
