"""Is the population as wide as it should be: cards of unseen sources, drawn curves, simulated parts."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.population_study import all_curves, all_source_fits, by_kind, cards_left_out, fit_source
from partscreen.device.fit import fit_parts
from partscreen.device.observations import Observations
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.reference.envelope import envelope, population_band, read
from partscreen.reference.library import Library
from partscreen.reference.population import Population, population_for
from partscreen.reference.population_regression import read_cards
from tests.facts import MODEL_CARDS, needs_facts

ROOM = 298.15
GROUPS = {"IKF": ("ikf",), "IS": ("is",), "BF": ("bf",), "R": ("rb", "re", "rc"), "C": ("cje", "cjc")}


@pytest.fixture(scope="module")
def left_out():
    return cards_left_out(read_cards(MODEL_CARDS))


@needs_facts
@pytest.mark.parametrize("group", GROUPS)
def test_cards_of_an_unseen_source_lie_inside_the_95_percent_interval_in_90_to_99_of_100(left_out, group):
    """Published cards: repositories madmpro/spice-workspace and kicad-spice-library, commits in the file of process
    spreads.
    """
    z = np.concatenate([left_out[name] for name in GROUPS[group]])
    assert len(z) > 90
    assert 0.90 <= np.mean(np.abs(z) <= 1.96) <= 0.99


@pytest.fixture(scope="module")
def curves():
    return by_kind(all_curves(ratings_only=False))


@pytest.mark.parametrize(
    ("kind", "least"), [("HFE", 0.90), ("VBE", 0.90), ("VCE_SAT", 0.90), ("C_CB", 0.90), ("C_BE", 0.90)]
)
def test_points_of_drawn_curves_lie_in_the_95_percent_band_of_a_population_that_has_not_seen_their_source(
    curves, kind, least
):
    """Curves of published sheets, sources in the files of the types."""
    _, points, _, inside, _ = curves[kind]
    assert points >= 30
    assert inside >= least


def test_no_drawn_curve_is_a_misfit_to_a_population_that_has_not_seen_its_source():
    """All gain and saturation curves of one sheet as one part, model misfit taken into account."""
    fits = all_source_fits()
    assert len(fits) >= 25
    assert min(fit.p for fit in fits) >= 0.001, sorted(fits, key=lambda fit: fit.p)[:3]


def test_without_the_models_own_misfit_high_voltage_types_would_be_called_misfits():
    """Why `ReadingFigure.misfit_std` exists: Gummel-Poon does not know the fall of gain by base push-out."""
    library = Library.load()
    high, low = (
        fit_source(library.find(n).type, (s,), misfit=False)
        for n, s in (("MJL4281A", "ON4281PDF"), ("TIP31C", "STTIP31PDF"))
    )
    assert high is not None
    assert low is not None
    assert high.p < 1e-6
    assert low.p > 0.001


def _population(name: str) -> Population:
    found = population_for(Library.load().find(name).type)
    assert found is not None
    return found


@pytest.mark.parametrize("quantity", ["hfe", "vbe", "vce_sat"])
@pytest.mark.parametrize("name", ["2SC5200", "MJL21193", "MJL3281A"])
def test_parts_of_a_population_lie_in_its_band_at_the_nominal_rate(name, quantity):
    """2000 parts, each of its own lot: standard error of the share 0.5 %, of the band's own 800 draws 0.8 %."""
    population, ic = _population(name), np.array([0.02, 0.2, 1.0, 3.0])
    prior, rng = population.part_prior(), np.random.default_rng(11)
    theta = rng.multivariate_normal(prior.mean, prior.covariance, 2000, method="eigh")
    values = read(population, theta, quantity, ic)
    low, _, high = population_band(population, quantity, ic)
    known = np.isfinite(low) & np.isfinite(high)
    assert known.any()
    inside = (values >= low) & (values <= high)
    assert inside[:, known].mean(axis=0) == pytest.approx(0.95, abs=0.025)


@pytest.mark.parametrize("name", ["2SC5200", "MJL21194", "MJL3281A"])
def test_parts_of_a_population_keep_its_limits_in_most_cases_but_no_population_is_cut_at_them(name):
    """A good part conforms; a population that would cut parts exactly at a limit would call honest ones impossible."""
    of = Library.load().find(name).type
    population = _population(name)
    found = envelope(of, population, "hfe", np.geomspace(0.05, 10.0, 15))
    limited = np.array([origin == "limit" for origin in found.origin]) & (found.ic < 9.0)
    prior = population.part_prior()
    theta = np.random.default_rng(2).multivariate_normal(prior.mean, prior.covariance, 1000, method="eigh")
    values = read(population, theta, "hfe", found.ic[limited])
    inside = ((values >= found.low[limited]) & (values <= found.high[limited])).mean(axis=0)
    assert np.all(inside > 0.6), inside
    assert inside.min() < 0.999


@pytest.mark.parametrize("name", ["2SC5200", "MJL21194", "MJL3281A"])
def test_chi_square_of_honest_parts_alarms_at_about_its_nominal_rate(name):
    """600 parts of unknown lots with six gain and four saturation points to 2 A; nominal 1 %."""
    population, rng, n = _population(name), np.random.default_rng(5), 600
    prior = population.part_prior()
    theta = rng.multivariate_normal(prior.mean, prior.covariance, n, method="eigh")
    observed = _measured(theta, population, rng)
    p = fit_parts(observed, prior.mean, prior.covariance, prior.constants).p
    assert 0.0 < np.mean(p < 0.01) < 0.025
    assert np.mean(p < 0.001) < 0.006


def _measured(theta: np.ndarray, population: Population, rng: np.random.Generator) -> Observations:
    ic, n = np.array([0.01, 0.03, 0.1, 0.3, 1.0, 2.0]), len(theta)
    forced = ic[2:]
    gain = predict_gain(theta, population.constants, ic, 5.0, ROOM, jacobian=False)
    sat = predict_saturation(theta, population.constants, forced, forced / 10, ROOM, jacobian=False)

    def rows(values: np.ndarray) -> np.ndarray:
        return np.tile(values, (n, 1)).astype(float)

    six, four, none = np.ones((n, 6)), np.ones((n, 4)), np.zeros((n, 0))
    return Observations(
        gain_ic=rows(ic), gain_vce=5.0 * six, gain_temp=ROOM * six, gain_pulsed=six > 0,
        hfe=np.exp(gain.ln_hfe + 0.01 * rng.standard_normal((n, 6))), hfe_ln_std=0.01 * six,
        vbe=gain.vbe + 0.001 * rng.standard_normal((n, 6)), vbe_std=0.001 * six,
        sat_ic=rows(forced), sat_ib=rows(forced / 10), sat_temp=ROOM * four, sat_pulsed=four > 0,
        vce_sat=sat.vce + 0.002 * rng.standard_normal((n, 4)), vce_sat_std=0.002 * four,
        cap_junction=none.astype(np.int64), cap_bias=none, cap=none, cap_ln_std=none,
        session=np.zeros(n, np.int64), session_temp_std=np.array([0.5]), session_gain_ln_std=np.array([0.005]),
        session_lead_std=np.zeros(1),
    )  # fmt: skip
