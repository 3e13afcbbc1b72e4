"""Junction capacitance against bias."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

BASE_EMITTER = 0
COLLECTOR_BASE = 1


def junction_capacitance(
    zero_bias: npt.ArrayLike, bias: npt.ArrayLike, vj: npt.ArrayLike, m: npt.ArrayLike, fc: npt.ArrayLike = 0.5
) -> Floats:
    """Depletion capacitance of a junction. [F]

    Parameters
    ----------
    zero_bias : array
        Capacitance at 0 V. [F]
    bias : array
        Reverse bias [V]; negative is forward.
    vj, m, fc : array
        Built-in voltage [V], grading exponent, and the share of VJ from which the law is continued by its tangent
        (SPICE default 0.5).

    References
    ----------
    Xyce Reference Guide, Q_Device; ngspice bjtload.c: CJ (1 - V/VJ)^-M up to V = FC VJ, then
    CJ (1 - FC)^(-1-M) (1 - FC (1 + M) + M V/VJ), V the forward voltage.
    """
    cj, forward, vj_, m_, fc_ = np.broadcast_arrays(
        *(np.asarray(v, dtype=float) for v in (zero_bias, np.negative(bias), vj, m, fc))
    )
    share = forward / vj_
    below = np.maximum(1.0 - share, 1.0 - fc_) ** -m_
    above = (1.0 - fc_) ** (-1.0 - m_) * (1.0 - fc_ * (1.0 + m_) + m_ * share)
    return np.asarray(cj * np.where(share <= fc_, below, above))


@dataclass(frozen=True, slots=True)
class CapacitancePrediction:
    """ln_c : ln of capacitance in farads, shape (n_parts, n_points); d_ln_c : (n_parts, n_points, n_parameters)."""

    ln_c: Floats
    d_ln_c: Floats


def predict_capacitance(
    theta: npt.ArrayLike, constants: TypeConstants, junction: npt.ArrayLike, bias: npt.ArrayLike
) -> CapacitancePrediction:
    """Capacitance of parts.

    Parameters
    ----------
    theta : array, shape (n_parts, n_parameters)
    constants : TypeConstants
        Gives VJ, M, FC of both junctions.
    junction : int array, broadcastable to (n_parts, n_points)
        0 base-emitter, 1 collector-base.
    bias : array
        Reverse bias. [V]
    """
    coordinates = np.atleast_2d(np.asarray(theta, dtype=float))
    which, reverse = np.broadcast_arrays(np.asarray(junction), np.asarray(bias, dtype=float))
    shape = np.broadcast_shapes((coordinates.shape[0], 1), which.shape)
    which, reverse = np.broadcast_to(which, shape), np.broadcast_to(reverse, shape)
    emitter = which == BASE_EMITTER
    k = constants
    unit = junction_capacitance(1.0, reverse, np.where(emitter, k.vje, k.vjc), np.where(emitter, k.mje, k.mjc), k.fc)
    e, c = INDEX["cje"], INDEX["cjc"]
    ln_c = np.log(unit) + np.where(emitter, coordinates[:, e, None], coordinates[:, c, None])
    rows = np.zeros((*shape, N_PARAMETERS))
    rows[..., e] = emitter
    rows[..., c] = ~emitter
    return CapacitancePrediction(ln_c, rows)
