"""Readings of parts whose parameters are known, as the fit and the evidence engine take them."""

from __future__ import annotations

import numpy as np

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.observations import Observations
from partscreen.device.predict import predict_gain, predict_saturation

ROOM = 298.15


def observe(theta, constants, rng, *, ic_max=1.0, session=(0.5, 0.003), n_gain=10, n_sat=4):
    """Sweeps from 5 mA to `ic_max`, saturation at a forced gain of 10, C_BE at 0 V and C_CB at 10 V, of shape (n, ...).

    Noise 0.5 % on hFE, 1 mV on VBE, 2 mV + 1 % on VCE(sat), 1.2 % on capacitances; one session with a temperature and a
    gain error drawn from `session`.
    """
    n = theta.shape[0]
    ic, sat_ic = np.geomspace(0.005, ic_max, n_gain), np.geomspace(0.1 * min(1.0, ic_max), ic_max, n_sat)
    warm, off = rng.standard_normal(2) * np.array(session)
    gain = predict_gain(theta, constants, ic, 5.0, ROOM + warm, True, jacobian=False)
    sat = predict_saturation(theta, constants, sat_ic, sat_ic / 10, ROOM + warm, True, jacobian=False)
    cap = predict_capacitance(theta, constants, np.array([[0, 1]]), np.array([[0.0, 10.0]]))

    def row(values):
        return np.tile(np.asarray(values, dtype=float), (n, 1))

    sat_std = 2e-3 + 0.01 * np.abs(sat.vce)
    return Observations(
        gain_ic=row(ic), gain_vce=row(np.full(n_gain, 5.0)), gain_temp=row(np.full(n_gain, ROOM)),
        gain_pulsed=np.ones((n, n_gain), dtype=bool),
        hfe=np.exp(gain.ln_hfe + off + 0.005 * rng.standard_normal((n, n_gain))),
        hfe_ln_std=row(np.full(n_gain, 0.005)),
        vbe=gain.vbe + 1e-3 * rng.standard_normal((n, n_gain)), vbe_std=row(np.full(n_gain, 1e-3)),
        sat_ic=row(sat_ic), sat_ib=row(sat_ic / 10), sat_temp=row(np.full(n_sat, ROOM)),
        sat_pulsed=np.ones((n, n_sat), dtype=bool),
        vce_sat=sat.vce + sat_std * rng.standard_normal((n, n_sat)), vce_sat_std=sat_std,
        cap_junction=np.tile([0, 1], (n, 1)), cap_bias=row([0.0, 10.0]),
        cap=np.exp(cap.ln_c + 0.012 * rng.standard_normal((n, 2))), cap_ln_std=row([0.012, 0.012]),
        session=np.zeros(n, dtype=np.int64), session_temp_std=np.array([session[0]]),
        session_gain_ln_std=np.array([session[1]]), session_lead_std=np.array([1e-4]),
    )  # fmt: skip
