"""A type's centre from its ratings and all its sheets say: Gauss-Newton, maximum a posteriori, errors with their
covariance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX, N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_witnesses import Kind, Witnesses

Floats = npt.NDArray[np.float64]

_ROUNDS = 12
_SETTLED = 0.02  # a smaller fall of the misfit moves no centre by a noticeable part of its uncertainty
_LARGEST_STEP = 1.5  # in ln units; beyond it a linearisation says nothing


def predict(theta: Floats, of: Witnesses, constants: TypeConstants, *, jacobian: bool = True) -> tuple[Floats, Floats]:
    """What parts of these parameters show where the witnesses stand.

    Parameters
    ----------
    theta : array, shape (n, n_parameters)

    Returns
    -------
    values : array, shape (n, n_witnesses)
        Gains and capacitances as logarithms, voltages in volts; NaN where a part cannot be there.
    slopes : array, shape (n, n_witnesses, n_parameters)
        Zero where not asked for. Drawn curves are pulse tests: no self-heating.
    """
    kind, ic, second, temp = np.array(of.kind), np.array(of.ic), np.array(of.second), np.array(of.temp)
    values = np.full((len(theta), len(of)), np.nan)
    slopes = np.zeros((*values.shape, N_PARAMETERS))
    gain = (kind == Kind.HFE) | (kind == Kind.VBE)
    if gain.any():
        at = predict_gain(theta, constants, ic[gain], second[gain], temp[gain], jacobian=jacobian)
        is_hfe = kind[gain] == Kind.HFE
        values[:, gain] = np.where(is_hfe, at.ln_hfe, at.vbe)
        if at.d_ln_hfe is not None and at.d_vbe is not None:
            slopes[:, gain] = np.where(is_hfe[:, None], at.d_ln_hfe, at.d_vbe)
    sat = (kind == Kind.VCE_SAT) | (kind == Kind.VBE_SAT)
    if sat.any():
        point = predict_saturation(theta, constants, ic[sat], second[sat], temp[sat], jacobian=jacobian)
        is_vce = kind[sat] == Kind.VCE_SAT
        values[:, sat] = np.where(is_vce, point.vce, point.vbe)
        if point.d_vce is not None and point.d_vbe is not None:
            slopes[:, sat] = np.where(is_vce[:, None], point.d_vce, point.d_vbe)
    grading = {Kind.C_BE: ("cje", constants.vje, constants.mje), Kind.C_CB: ("cjc", constants.vjc, constants.mjc)}
    for which, (column, vj, m) in grading.items():
        cap = kind == which
        values[:, cap] = theta[:, INDEX[column], None] - m * np.log1p(second[cap] / vj)
        slopes[:, cap, INDEX[column]] = 1.0
    return values, slopes


@dataclass(frozen=True, slots=True)
class Centre:
    """Where the centre of a type was found.

    theta : shape (n_parameters,); covariance : (n_parameters, n_parameters); residual : (n_witnesses,);
    slopes : (n_witnesses, n_parameters);
    spread : (n_witnesses, n_witnesses), covariance of the residuals about a known centre; used : False where the model
    could not be there; chi_square, dof : misfit to witnesses and prior together.
    """

    theta: Floats
    covariance: Floats
    slopes: Floats
    residual: Floats
    spread: Floats
    used: npt.NDArray[np.bool_]
    chi_square: float
    dof: int


def fit_centre(
    mean: Floats,
    covariance: Floats,
    of: Witnesses,
    constants: TypeConstants,
    edition: Floats,
    *,
    forgiving: bool = True,
) -> Centre:
    """Combine a prior with the witnesses.

    Parameters
    ----------
    mean, covariance : arrays, shapes (n_parameters,), (n_parameters, n_parameters)
        Prior of the type's centre.
    edition : array, shape (n_parameters, n_parameters)
        Covariance of one edition's typical part about the centre of the type; common to all witnesses of one edition.
    forgiving : bool
        Widen the errors of curves that disagree with the rest.
    """
    if not len(of):
        empty = np.zeros(0)
        return Centre(mean, covariance, np.zeros((0, N_PARAMETERS)), empty, np.zeros((0, 0)), np.zeros(0, bool), 0.0, 0)

    first = _fit(mean, covariance, of, constants, edition, None)
    stretch = _stretch(first, of) if forgiving else np.ones(1)
    return _fit(mean, covariance, of, constants, edition, stretch, first.theta) if np.any(stretch > 1.0) else first


def _fit(
    mean: Floats,
    covariance: Floats,
    of: Witnesses,
    constants: TypeConstants,
    edition: Floats,
    stretch: Floats | None,
    start: Floats | None = None,
) -> Centre:
    value, noise = np.array(of.value), of.covariance(stretch)
    same_edition = np.array(of.edition)[:, None] == np.array(of.edition)[None, :]
    theta = mean.copy() if start is None else start
    state = _state(theta, of, constants, noise, same_edition, edition)
    best = _cost(theta, value, state, mean, covariance)
    for _ in range(_ROUNDS):
        seen, slopes, spread = state
        gain = _gain(covariance, slopes, spread)
        target = mean + gain @ (np.where(np.isfinite(seen), value - np.nan_to_num(seen), 0.0) + slopes @ (theta - mean))
        step = target - theta
        step *= min(1.0, _LARGEST_STEP / max(float(np.max(np.abs(step))), 1e-12))
        moved = False
        for damping in (1.0, 0.5, 0.2, 0.05):
            trial = theta + damping * step
            trial_state = _state(trial, of, constants, noise, same_edition, edition)
            cost = _cost(trial, value, trial_state, mean, covariance)
            if cost < best + 1e-9:
                theta, state, moved = trial, trial_state, best - cost > _SETTLED
                best = cost
                break
        if not moved:
            break
    seen, slopes, spread = state
    used = np.isfinite(seen)
    posterior = covariance - _gain(covariance, slopes, spread) @ slopes @ covariance
    posterior = (posterior + posterior.T) / 2
    residual = np.where(used, value - np.nan_to_num(seen), np.nan)
    inner, from_mean = residual[used], theta - mean
    misfit = inner @ np.linalg.solve(spread[np.ix_(used, used)], inner) + from_mean @ np.linalg.solve(
        covariance, from_mean
    )
    return Centre(theta, posterior, slopes, residual, spread, used, float(misfit), int(used.sum()))


def _stretch(found: Centre, of: Witnesses) -> Floats:
    """Factor on the sd of each group: a curve that disagrees with the rest by more than its errors is drawn less
    well than thought.
    """
    group = np.array(of.group)
    factor = np.ones(int(group.max()) + 1)
    for g in np.unique(group):
        at = np.flatnonzero((group == g) & found.used)
        if len(at):
            inner = found.residual[at]
            misfit = float(inner @ np.linalg.solve(found.spread[np.ix_(at, at)], inner)) / len(at)
            factor[g] = max(1.0, np.sqrt(misfit))
    return factor


State = tuple[Floats, Floats, Floats]


def _state(
    theta: Floats, of: Witnesses, constants: TypeConstants, noise: Floats, same: npt.NDArray[np.bool_], edition: Floats
) -> State:
    values, rows = predict(theta[None], of, constants)
    seen, slopes = values[0], rows[0]
    bad = ~np.isfinite(seen) | ~np.all(np.isfinite(slopes), axis=1)
    seen = np.where(bad, np.nan, seen)
    slopes = np.where(bad[:, None], 0.0, slopes)
    return seen, slopes, noise + np.where(same, slopes @ edition @ slopes.T, 0.0)


def _gain(covariance: Floats, slopes: Floats, spread: Floats) -> Floats:
    total = slopes @ covariance @ slopes.T + spread
    return np.asarray(np.linalg.solve(total, slopes @ covariance).T)


def _cost(theta: Floats, value: Floats, state: State, mean: Floats, covariance: Floats) -> float:
    """Twice the negative log posterior, up to a constant. A witness the model cannot reach costs as much as one off
    by 3 sd.
    """
    seen, _, spread = state
    reached = np.isfinite(seen)
    residual, block = (value - seen)[reached], spread[np.ix_(reached, reached)]
    from_mean = theta - mean
    misfit = residual @ np.linalg.solve(block, residual) + np.linalg.slogdet(block)[1] if reached.any() else 0.0
    missing = float(9.0 * (~reached).sum())
    return float(from_mean @ np.linalg.solve(covariance, from_mean) + misfit + missing)
