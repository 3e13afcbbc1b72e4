"""Readings of many parts and the device model's straight-line behaviour about each part's own fit.

Every hypothesis is weighed with the derivatives taken where the part is, never at the type's typical point: with the
latter false rejections were found to run at several times their nominal rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.observations import Observations
from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.screening.model_error import Misfit

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

SESSION_ERRORS = ("temperature", "gain", "lead")
N_COORDINATES = N_PARAMETERS + len(SESSION_ERRORS)
"""Device parameters, then errors shared by a session: temperature [K], gain (ln), collector-emitter lead [ohm]."""

AREA = np.concatenate((AREA_DIRECTION, np.zeros(len(SESSION_ERRORS))))

ORDER = ("C_CB", "C_BE", "hFE", "VBE", "VCE(sat)")
"""The fixed order in which evidence is printed reading by reading."""


@dataclass(frozen=True, slots=True)
class Linearised:
    """Readings about their own fit.

    point : (n_parts, N_COORDINATES), the fit, session errors at zero.
    residual : (n_parts, n_readings), reading minus model at `point`; ln for gains and capacitances, volts else.
    jacobian : (n_parts, n_readings, N_COORDINATES).
    std : (n_parts, n_readings), standard uncertainty of each reading alone.
    present : (n_parts, n_readings); a missing reading has residual and jacobian 0 and std 1.
    kind : (n_readings,), index into ORDER, ascending.
    misfit : (n_parts, n_readings), standard deviation of the model's own error, 0 where none is stated.
    place : (n_parts, n_readings), one number for each kind and collector current, to find the like readings of a lot.
    """

    point: Floats
    residual: Floats
    jacobian: Floats
    std: Floats
    present: Bools
    kind: npt.NDArray[np.int64]
    misfit: Floats
    place: npt.NDArray[np.int64]

    def pick(self, rows: npt.NDArray[np.int64]) -> Linearised:
        """The same for some of the parts."""
        return Linearised(
            self.point[rows],
            self.residual[rows],
            self.jacobian[rows],
            self.std[rows],
            self.present[rows],
            self.kind,
            self.misfit[rows],
            self.place[rows],
        )

    def trimmed(self) -> Linearised:
        """Without readings that no part has."""
        kept = self.present.any(axis=0)
        if kept.all():
            return self
        return Linearised(
            self.point, self.residual[:, kept], self.jacobian[:, kept], self.std[:, kept], self.present[:, kept],
            self.kind[kept], self.misfit[:, kept], self.place[:, kept],
        )  # fmt: skip


def linearise(
    observations: Observations, theta: Floats, constants: TypeConstants, misfit: Misfit | None = None
) -> Linearised:
    """Residuals and derivatives of all readings at `theta`, shape (n_parts, N_PARAMETERS).

    A reading the model cannot reach at `theta`, and a saturation reading of a part that has left saturation there
    (hFE below twice the forced gain is not asked of the part: VCE above 0.6 V), counts as missing.
    """
    o = observations
    gain = predict_gain(theta, constants, o.gain_ic, o.gain_vce, o.gain_temp, o.gain_pulsed)
    sat = predict_saturation(theta, constants, o.sat_ic, o.sat_ib, o.sat_temp, o.sat_pulsed)
    cap = predict_capacitance(theta, constants, o.cap_junction, o.cap_bias)
    with np.errstate(invalid="ignore", divide="ignore"):
        ln_hfe, ln_cap = np.log(o.hfe), np.log(o.cap)
    left_saturation = (o.vce_sat > SATURATION_EDGE) | (sat.vce > SATURATION_EDGE)
    zeros = np.zeros_like
    blocks = [
        _block(
            ln_cap - cap.ln_c, cap.d_ln_c, o.cap_ln_std, (zeros(o.cap), zeros(o.cap), zeros(o.cap)), o.cap_junction == 1
        ),
        _block(
            ln_cap - cap.ln_c, cap.d_ln_c, o.cap_ln_std, (zeros(o.cap), zeros(o.cap), zeros(o.cap)), o.cap_junction == 0
        ),
        _block(ln_hfe - gain.ln_hfe, gain.d_ln_hfe, o.hfe_ln_std, (gain.dt_ln_hfe, np.ones_like(o.hfe), zeros(o.hfe))),
        _block(o.vbe - gain.vbe, gain.d_vbe, o.vbe_std, (gain.dt_vbe, zeros(o.vbe), zeros(o.vbe))),
        _block(
            o.vce_sat - sat.vce, sat.d_vce, o.vce_sat_std, (sat.dt_vce, zeros(o.vce_sat), o.sat_ic), ~left_saturation
        ),
    ]
    widths = [b[0].shape[1] for b in blocks]
    kind = np.repeat(np.arange(len(ORDER)), widths)
    residual, jacobian, std, present = (np.concatenate([b[i] for b in blocks], axis=1) for i in range(4))
    none = [np.zeros_like(b[0]) for b in blocks]
    model = np.concatenate([*none[:2], misfit.hfe, misfit.vbe, misfit.vce_sat] if misfit else none, axis=1)
    current = np.concatenate((*none[:2], o.gain_ic, o.gain_ic, o.sat_ic), axis=1)
    kept = present.any(axis=0)
    point = np.concatenate((theta, np.zeros((theta.shape[0], len(SESSION_ERRORS)))), axis=1)
    return Linearised(
        point,
        residual[:, kept],
        jacobian[:, kept],
        std[:, kept],
        present[:, kept].astype(np.bool_),
        kind[kept],
        np.where(present > 0.0, model, 0.0)[:, kept],
        _places(kind[kept], current[:, kept]),
    )


def _places(kind: npt.NDArray[np.int64], current: Floats) -> npt.NDArray[np.int64]:
    """Numbers for readings of one kind at collector currents within about 5 % of each other."""
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.round(20.0 * np.log(current))
    key = np.where(np.isfinite(step), step, -1e6) + 1e7 * kind
    _, number = np.unique(key, return_inverse=True)
    return np.asarray(number.reshape(key.shape), dtype=np.int64)


SATURATION_EDGE = 0.6
"""Above this a part has left saturation and VCE(sat) says little of it. [V] (assumption; without it honest parts came
out suspect)"""


def _block(
    residual: Floats,
    derivative: Floats | None,
    std: Floats,
    shared: tuple[Floats | None, ...],
    wanted: Bools | None = None,
) -> tuple[Floats, Floats, Floats, Floats]:
    assert derivative is not None
    columns = np.stack([np.broadcast_to(s, residual.shape) for s in shared if s is not None], axis=2)
    jacobian = np.concatenate((derivative, columns), axis=2)
    present = np.isfinite(residual) & np.isfinite(std) & np.isfinite(jacobian).all(axis=2)
    if wanted is not None:
        present &= wanted
    return (
        np.where(present, residual, 0.0),
        np.where(present[:, :, None], jacobian, 0.0),
        np.where(present, std, 1.0),
        present.astype(float),
    )
