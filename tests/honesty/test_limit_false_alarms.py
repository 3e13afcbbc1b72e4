"""How often a part exactly on a limit is rejected, and how often it is passed: no more than stated.

Every part is simulated to lie on the limit at the limit's own condition, the worst case of a good part. Each is read
in a session of its own (gain, temperature), with scatter, at other currents, VCE and temperature than the limit's,
and judged with a device whose Early voltage, knee and temperature exponent are not the part's.
"""

from dataclasses import replace

import numpy as np
import pytest

from partscreen.device.predict import predict_gain
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.screening.limits.conformance import Tolerance, conformance_probability, decide, guard_band
from partscreen.screening.limits.judge import REJECT_BELOW, PartReadings, judge_limits
from partscreen.screening.observe import build_observations
from partscreen.screening.screen import screen_batch
from tests.screening.bench import ROOM, TextbookDevice, batch, gain_limit, points

N = 20_000
LIMIT, IC, VCE = 50.0, 0.7, 5.0
CURRENTS = np.array([0.1, 0.3, 1.0, 2.0])


def on_the_limit(rng, *, kelvin=ROOM, vce=VCE, scatter=0.01, n=N):
    """Readings of parts whose gain at the limit's condition is the limit; knee, Early voltage and XTB differ by
    part."""
    ik, va = 3.0 * np.exp(rng.normal(0, 0.3, n)), 100 * np.exp(rng.normal(0, 0.5, n))
    xtb = rng.normal(1.5, 0.5, n)
    level = LIMIT * (1 + IC / ik) / (1 + VCE / va)
    warm = kelvin + rng.normal(0, 2.0, n)  # the session's thermometer is out by 2 K (1 sd)
    ic = np.tile(CURRENTS, (n, 1))
    true = (level * (1 + vce / va))[:, None] / (1 + ic / ik[:, None]) * ((warm / ROOM) ** xtb)[:, None]
    read = true * np.exp(rng.normal(0, scatter, ic.shape) + rng.normal(0, 0.02, (n, 1)))
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    table = points(part, ic, hfe=read.ravel(), vce=vce, temp=kelvin, hfe_std=scatter * read.ravel())
    o = build_observations(batch(n, table), np.arange(n)).observations
    own = {
        "session_gain_ln_std": np.full(n, 0.02),
        "session_temp_std": np.full(n, 2.0),
        "session_lead_std": np.zeros(n),
    }
    model = TextbookDevice(np.full(n, LIMIT), np.full(n, 3.0), va=100.0)
    return PartReadings(replace(o, session=np.arange(n), **own), {}, model)


CASES = {
    "as the limit is given": {},
    "read at 50 degC": {"kelvin": 323.15},
    "read at 10 V": {"vce": 10.0},
    "read poorly": {"scatter": 0.04},
}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("side", ["min", "max"])
def test_part_on_a_limit_is_rejected_in_at_most_one_of_a_thousand(case, side):
    got = judge_limits([gain_limit(side, LIMIT, IC, VCE)], on_the_limit(np.random.default_rng(3), **CASES[case]))
    assert (got.reached == 1).all()
    bound = REJECT_BELOW + 3 * np.sqrt(REJECT_BELOW / N)
    assert got.nonconforming.mean() <= bound


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("risk", [0.02, 0.05])
def test_part_on_a_limit_is_called_conforming_no_more_often_than_the_risk(case, risk):
    parts = on_the_limit(np.random.default_rng(4), **CASES[case])
    got = judge_limits([gain_limit("min", LIMIT, IC, VCE)], parts, risk=risk)
    rate = (got.decision == 1).mean()
    assert rate <= risk + 3 * np.sqrt(risk / N)


def test_twelve_limits_together_reject_a_part_on_all_of_them_in_at_most_one_of_a_thousand():
    rng = np.random.default_rng(5)
    parts = on_the_limit(rng)
    ik = 3.0  # limits along the curve of the middle part
    rows = [
        gain_limit(side, LIMIT * (1 + IC / ik) / (1 + ic / ik), ic, VCE)
        for side in ("min", "max")
        for ic in (0.5, 0.6, 0.65, 0.7, 0.75, 0.8)
    ]
    got = judge_limits(rows, parts)
    # Away from 0.7 A parts lie a little off these limits (their knees differ): only the one they lie on is counted.
    exact = [i for i, row in enumerate(rows) if row.conditions["IC"] == IC]
    assert got.broken[exact].any(axis=0).mean() <= REJECT_BELOW


def test_guard_band_keeps_the_specific_risk_it_states():
    rng = np.random.default_rng(6)
    std, limit = 0.3, 10.0
    for risk in (0.02, 0.025, 0.05):
        read = limit + rng.normal(0, std, 400_000)  # parts exactly on the limit
        passed = read <= limit - guard_band(std, risk)
        assert passed.mean() == pytest.approx(risk, abs=4 * np.sqrt(risk / read.size))
        p = conformance_probability(read, std, Tolerance(high=limit))
        assert np.array_equal(decide(p, risk) == 1, passed)


@pytest.mark.parametrize("type_name", ["2SC5200", "MJL21194"])
def test_parts_from_anywhere_in_the_population_are_called_misfits_in_about_one_of_a_thousand(type_name):
    rng = np.random.default_rng(8)
    population = population_for(Library.load().find(type_name).type)
    prior, n = population.part_prior(), 1500
    theta = rng.multivariate_normal(prior.mean, prior.covariance, size=n, method="eigh")
    ic = np.tile(np.array([0.02, 0.1, 0.5, 1.0, 2.0, 4.0]), (n, 1))
    gain = predict_gain(theta, prior.constants, ic, 5.0, ROOM, True, jacobian=False)
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    hfe = np.exp(gain.ln_hfe + rng.normal(0, 0.01, ic.shape))
    table = points(part, ic, hfe=hfe.ravel(), vbe=(gain.vbe + rng.normal(0, 2e-3, ic.shape)).ravel())
    (lot,) = screen_batch(batch(n, table, type_name=type_name), Library.load())
    rate = np.mean([any(r.code == "MISFIT" for r in p.reasons) for p in lot.parts])
    assert rate <= 0.001 + 3 * np.sqrt(0.001 / n)


@pytest.mark.parametrize("type_name", ["2SC5200", "MJL21194", "2N3055"])
def test_parts_of_a_sound_lot_are_never_rejected_and_rarely_called_misfits(type_name):
    population = population_for(Library.load().find(type_name).type)
    rng, n = np.random.default_rng(9), 1000
    theta = rng.multivariate_normal(population.centre, population.within, size=n, method="eigh")
    ic = np.tile(np.array([0.02, 0.1, 0.5, 1.0, 2.0, 4.0]), (n, 1))
    gain = predict_gain(theta, population.constants, ic, 4.0, ROOM, True, jacobian=False)
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    hfe = np.exp(gain.ln_hfe + rng.normal(0, 0.01, ic.shape))
    table = points(part, ic, hfe=hfe.ravel(), vbe=(gain.vbe + rng.normal(0, 2e-3, ic.shape)).ravel(), vce=4.0)
    (lot,) = screen_batch(batch(n, table, type_name=type_name), Library.load())
    assert {p.disposition for p in lot.parts} <= {"accept", "hold"}
    assert np.mean([any(r.code == "MISFIT" for r in p.reasons) for p in lot.parts]) <= 0.002
