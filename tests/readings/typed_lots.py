"""Simulated lots of sound parts as they would be typed, from the population of a type."""

from __future__ import annotations

import numpy as np

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.readings.typed.columns import columns_from
from partscreen.reference.library import Library
from partscreen.reference.population import population_for

HEADERS = (
    "C_BE [nF] @ VEB=0 V", "C_CB [pF] @ VCB=0 V", "hFE @ IC=0.1 A, VCE=5 V", "VBE [mV] @ IC=0.1 A, VCE=5 V",
    "hFE @ IC=0.5 A, VCE=5 V", "VBE [mV] @ IC=0.5 A, VCE=5 V", "hFE @ IC=1 A, VCE=5 V", "VBE [mV] @ IC=1 A, VCE=5 V",
    "VCE(sat) [mV] @ IC=1 A, IB=0.1 A",
)  # fmt: skip
COLUMNS = columns_from(HEADERS)
CURRENTS = np.array([[0.1, 0.5, 1.0]])


def population(type_number: str):
    return population_for(Library.load().find(type_number).type)


def sound_lot(rng, of, n: int):
    """Readings (n, 9) of one lot: a centre from what is known of the type, parts about it, 1 % and 2 mV of noise."""
    far = of.centre_covariance + of.between
    centre = rng.multivariate_normal(of.centre, far, check_valid="ignore")
    theta = rng.multivariate_normal(centre, of.within, size=n, check_valid="ignore")
    caps = np.exp(predict_capacitance(theta, of.constants, np.array([[0, 1]]), np.array([[0.0, 0.0]])).ln_c)
    gain = predict_gain(theta, of.constants, CURRENTS, 5.0, 298.15, jacobian=False)
    sat = predict_saturation(theta, of.constants, np.array([[1.0]]), np.array([[0.1]]), 298.15, jacobian=False)
    out = np.empty((n, 9))
    out[:, :2] = caps * np.exp(0.012 * rng.standard_normal((n, 2)))
    out[:, 2:8:2] = np.exp(gain.ln_hfe + 0.01 * rng.standard_normal((n, 3)))
    out[:, 3:8:2] = gain.vbe + 2e-3 * rng.standard_normal((n, 3))
    out[:, 8] = sat.vce[:, 0] * np.exp(0.02 * rng.standard_normal(n))
    return out
