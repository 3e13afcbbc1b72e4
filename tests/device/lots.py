"""An invented type, its population, and lots drawn from it, for the tests of the fit. All figures are invented."""

from __future__ import annotations

import dataclasses

import numpy as np
import numpy.typing as npt

from partscreen.device import predict_capacitance, predict_gain, predict_saturation
from partscreen.device.observations import Observations
from partscreen.device.parameters import INDEX, NAMES
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]

CENTRE = {
    "is": 5e-12, "nf": 1.0, "bf": 120.0, "ikf": 12.0, "leak": 3e-5, "ne": 1.6, "vaf": 80.0, "rb": 2.0, "irb": 0.5,
    "re": 0.01, "rc": 0.04, "br": 4.0, "cje": 5e-9, "cjc": 8e-10, "nkf": 0.55, "rth": 1.0,
}  # fmt: skip
SPREAD = {
    "is": 0.25, "nf": 0.004, "bf": 0.2, "ikf": 0.15, "leak": 0.4, "ne": 0.02, "vaf": 0.2, "rb": 0.15, "irb": 0.15,
    "re": 0.2, "rc": 0.15, "br": 0.3, "cje": 0.1, "cjc": 0.1, "nkf": 0.04, "qs": 0.01, "rth": 0.2,
}  # fmt: skip
CONSTANTS = TypeConstants(polarity="NPN", ic_rated=15.0, isc=1e-12, nc=1.5, var=100.0, ikr=5.0)


def population(scale: float = 1.0) -> tuple[Floats, Floats]:
    """Prior mean and covariance, all spreads times `scale`; die area moves IS, IKF, resistances and capacitances
    together."""
    mean = np.array([0.0 if name == "qs" else np.log(CENTRE[name]) for name in NAMES])
    area = np.zeros(len(NAMES))
    for name, power in (("is", 1.0), ("ikf", 1.0), ("re", -1.0), ("rc", -1.0), ("cje", 1.0), ("cjc", 1.0)):
        area[INDEX[name]] = power
    own = np.diag([SPREAD[name] ** 2 for name in NAMES])
    return mean, scale**2 * (own + 0.05**2 * np.outer(area, area))


def lot(
    n_parts: int,
    seed: int,
    *,
    n_sessions: int = 1,
    temp_std: float = 0.0,
    gain_std: float = 0.0,
    lead_std: float = 0.0,
    pulsed: bool = True,
    top: float = 5.0,
    scale: float = 1.0,
) -> tuple[Observations, Floats, Floats]:
    """Readings of a lot, the true coordinates, and the true errors of the sessions (n_sessions, 3)."""
    rng = np.random.default_rng(seed)
    mean, covariance = population(scale)
    theta = rng.multivariate_normal(mean, covariance, n_parts)
    session = np.arange(n_parts) % n_sessions
    errors = rng.standard_normal((n_sessions, 3)) * [temp_std, gain_std, lead_std]
    mine = errors[session]
    ic = np.tile(np.geomspace(0.01, top, 10), (n_parts, 1))
    sat_ic = np.tile(np.geomspace(top / 10.0, top, 4), (n_parts, 1))
    temp, warm = 298.15, 298.15 + mine[:, :1]
    gain = predict_gain(theta, CONSTANTS, ic, 5.0, warm, pulsed, jacobian=False)
    sat = predict_saturation(theta, CONSTANTS, sat_ic, sat_ic / 10.0, warm, pulsed, jacobian=False)
    junction, bias = np.tile([0, 1], (n_parts, 1)), np.tile([0.0, 10.0], (n_parts, 1))
    cap = predict_capacitance(theta, CONSTANTS, junction, bias)
    sat_std = np.hypot(2e-3, 0.01 * np.nan_to_num(sat.vce))

    def noise(shape: tuple[int, ...]) -> Floats:
        return rng.standard_normal(shape)

    observations = Observations(
        gain_ic=ic, gain_vce=np.full(ic.shape, 5.0), gain_temp=np.full(ic.shape, temp),
        gain_pulsed=np.full(ic.shape, pulsed), hfe=np.exp(gain.ln_hfe + mine[:, 1:2] + 0.01 * noise(ic.shape)),
        hfe_ln_std=np.full(ic.shape, 0.01), vbe=gain.vbe + 1e-3 * noise(ic.shape), vbe_std=np.full(ic.shape, 1e-3),
        sat_ic=sat_ic, sat_ib=sat_ic / 10.0, sat_temp=np.full(sat_ic.shape, temp),
        sat_pulsed=np.full(sat_ic.shape, pulsed),
        vce_sat=sat.vce + mine[:, 2:3] * sat_ic + sat_std * noise(sat_ic.shape), vce_sat_std=sat_std,
        cap_junction=junction, cap_bias=bias, cap=np.exp(cap.ln_c + 0.01 * noise(bias.shape)),
        cap_ln_std=np.full(bias.shape, 0.01), session=session, session_temp_std=np.full(n_sessions, temp_std),
        session_gain_ln_std=np.full(n_sessions, gain_std), session_lead_std=np.full(n_sessions, lead_std),
    )  # fmt: skip
    return observations, theta, errors


def select(o: Observations, parts: npt.ArrayLike) -> Observations:
    """The same sessions with some of the parts."""
    chosen = np.asarray(parts)
    values = {field.name: getattr(o, field.name) for field in dataclasses.fields(o)}
    return Observations(**{k: v if k.startswith("session_") else v[chosen] for k, v in values.items()})


def with_values(o: Observations, **changes: npt.NDArray[np.generic]) -> Observations:
    """A copy with some arrays replaced."""
    return dataclasses.replace(o, **changes)
