"""Readings of parts whose parameters are known, laid out for the evidence engine: the engine's own device model, so
that these tests measure the statistics and not the physics."""

from __future__ import annotations

import numpy as np

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.observations import Observations
from partscreen.device.parameters import AREA_DIRECTION, INDEX, N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_spreads import load_spreads

ROOM = 298.15
CONSTANTS = TypeConstants("NPN", 15.0, isc=3e-12, nc=1.5, ikr=4.0)


def base_theta() -> np.ndarray:
    """An ordinary 15 A audio output transistor (invented)."""
    card = {
        "is": 3e-12, "nf": 1.0, "bf": 110.0, "ikf": 8.0, "leak": 1e-5, "ne": 1.6, "vaf": 60.0, "rb": 2.5, "irb": 0.05,
        "re": 0.01, "rc": 0.05, "br": 5.0, "cje": 8e-9, "cjc": 9e-10, "nkf": 0.6, "rth": 0.3,
    }  # fmt: skip
    out = np.zeros(N_PARAMETERS)
    for name, value in card.items():
        out[INDEX[name]] = np.log(value)
    return out


def spread(kind: str) -> np.ndarray:
    """Covariance "within" a lot or "between" lots as shipped."""
    return load_spreads().spread(kind)


def draw(rng: np.random.Generator, covariance: np.ndarray, n: int) -> np.ndarray:
    values, vectors = np.linalg.eigh(covariance)
    return rng.normal(size=(n, values.size)) * np.sqrt(np.clip(values, 0, None)) @ vectors.T


def smaller(theta: np.ndarray, area: float) -> np.ndarray:
    return theta + np.log(area) * AREA_DIRECTION


def read(theta, rng, *, top=1.0, points=10, capacitance=True, saturation=4, session=0, constants=CONSTANTS):
    """Observations of parts at `theta` (n, p): `points` gain points from 10 mA to `top`, `saturation` points up to it.

    Errors: hFE 1 %, VBE 1.5 mV, VCE(sat) 3 mV + 1 %, capacitances 2 %; shared: gain 0.5 %, temperature 0.5 K, lead
    1 milliohm.
    """
    n = theta.shape[0]
    shared = rng.normal(size=3) * (0.5, 0.005, 1e-3)
    ic = np.tile(np.geomspace(0.01, top, points), (n, 1)) if points else np.zeros((n, 0))
    sat_ic = np.tile(np.geomspace(0.2 * top, top, saturation), (n, 1)) if saturation else np.zeros((n, 0))
    temp, sat_temp = np.full(ic.shape, ROOM), np.full(sat_ic.shape, ROOM)
    gain = predict_gain(theta, constants, ic, np.full(ic.shape, 5.0), temp + shared[0], np.ones(ic.shape, bool))
    sat = predict_saturation(theta, constants, sat_ic, sat_ic / 10, sat_temp + shared[0], np.ones(sat_ic.shape, bool))
    junction = np.tile([0, 1], (n, 1)) if capacitance else np.zeros((n, 0), np.int64)
    bias = np.tile([0.0, 10.0], (n, 1)) if capacitance else np.zeros((n, 0))
    ln_c = predict_capacitance(theta, constants, junction, bias).ln_c

    def noise(like, sd):
        return rng.normal(size=like.shape) * sd

    vce_std = 3e-3 + 0.01 * np.abs(sat.vce)
    return Observations(
        gain_ic=ic, gain_vce=np.full(ic.shape, 5.0), gain_temp=temp, gain_pulsed=np.ones(ic.shape, bool),
        hfe=np.exp(gain.ln_hfe + noise(ic, 0.01) + shared[1]), hfe_ln_std=np.full(ic.shape, 0.01),
        vbe=gain.vbe + noise(ic, 1.5e-3), vbe_std=np.full(ic.shape, 1.5e-3),
        sat_ic=sat_ic, sat_ib=sat_ic / 10, sat_temp=sat_temp, sat_pulsed=np.ones(sat_ic.shape, bool),
        vce_sat=sat.vce + noise(sat_ic, vce_std) + shared[2] * sat_ic, vce_sat_std=vce_std,
        cap_junction=junction, cap_bias=bias, cap=np.exp(ln_c + noise(bias, 0.02)),
        cap_ln_std=np.full(bias.shape, 0.02),
        session=np.zeros(n, np.int64), session_temp_std=np.array([0.5]), session_gain_ln_std=np.array([0.005]),
        session_lead_std=np.array([1e-3]),
    )  # fmt: skip
