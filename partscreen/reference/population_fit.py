"""A type's centre from its ratings and everything its sheets say: Gauss-Newton, maximum a posteriori, all errors with their covariance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.forward import gain_at, saturation_at
from partscreen.device.parameters import INDEX, N_PARAMETERS, PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_regression import LEAK_CURRENT
from partscreen.reference.population_witnesses import Kind, Witnesses

Floats = npt.NDArray[np.float64]
Predict = Callable[[Floats], Floats]

_STEP = 1e-4
_ROUNDS = 25
_LARGEST_STEP = 1.5  # in ln units; beyond it a linearisation says nothing


def card_of(theta: Floats, constants: TypeConstants) -> Card:
    """Fit coordinates, shape (n, n_parameters), as a card of columns of shape (n, 1)."""
    value = {p.name: (np.exp(theta[:, i]) if p.log else theta[:, i])[:, None] for i, p in enumerate(PARAMETERS)}
    ideal = np.full_like(value["is"], LEAK_CURRENT)
    for _ in range(12):
        ideal = LEAK_CURRENT * (1 + (1 + 4 * ideal / value["ikf"]) ** value["nkf"]) / 2
    ise = value["leak"] * (value["is"] / ideal) ** (value["nf"] / value["ne"])
    names = ("nf", "bf", "ikf", "ne", "vaf", "rb", "irb", "re", "rc", "br", "cje", "cjc", "nkf")
    taken = {
        name: getattr(constants, name)
        for name in ("isc", "nc", "var", "ikr", "eg", "xti", "xtb", "vje", "mje", "vjc", "mjc", "fc", "tnom")
    }
    return Card(is_=value["is"], ise=ise, nr=value["nf"], rbm=0.0, **{name: value[name] for name in names}, **taken)


def predict(theta: Floats, of: Witnesses, constants: TypeConstants) -> Floats:
    """What parts of these parameters would show where the witnesses stand; shape (n, n_witnesses), NaN where a part cannot be there.

    Gains and capacitances as logarithms, voltages in volts. Drawn curves are pulse tests: no self-heating.
    """
    kind, ic, second, temp = np.array(of.kind), np.array(of.ic), np.array(of.second), np.array(of.temp)
    out = np.full((len(theta), len(of)), np.nan)
    card = card_of(theta, constants)
    gain = (kind == Kind.HFE) | (kind == Kind.VBE)
    if gain.any():
        at = gain_at(card, ic[gain][None], second[gain][None], temp[gain][None])
        out[:, gain] = np.where(kind[gain] == Kind.HFE, np.log(at.hfe), at.vbe)
    sat = (kind == Kind.VCE_SAT) | (kind == Kind.VBE_SAT)
    if sat.any():
        point = saturation_at(card, ic[sat][None], second[sat][None], temp[sat][None])
        sagging = point.vce + theta[:, INDEX["qs"], None] * (ic[sat] / constants.ic_rated) ** 2
        out[:, sat] = np.where(kind[sat] == Kind.VCE_SAT, sagging, point.vbe)
    for which, column, vj, m in (
        (Kind.C_BE, "cje", constants.vje, constants.mje),
        (Kind.C_CB, "cjc", constants.vjc, constants.mjc),
    ):
        cap = kind == which
        if cap.any():
            out[:, cap] = theta[:, INDEX[column], None] - m * np.log1p(second[cap] / vj)
    return out


def jacobian(theta: Floats, call: Predict) -> tuple[Floats, Floats]:
    """Prediction at theta, shape (n,), and its central differences, shape (n, n_parameters)."""
    shifts = np.vstack([np.zeros(N_PARAMETERS), np.eye(N_PARAMETERS) * _STEP, -np.eye(N_PARAMETERS) * _STEP])
    values = call(theta[None, :] + shifts)
    slopes = (values[1 : N_PARAMETERS + 1] - values[N_PARAMETERS + 1 :]) / (2 * _STEP)
    return values[0], slopes.T


@dataclass(frozen=True, slots=True)
class Centre:
    """theta : shape (n_parameters,); covariance, prior_covariance : (n_parameters, n_parameters); residual, std : (n_witnesses,);
    used : (n_witnesses,) False where the model could not be there; chi_square, dof : misfit to witnesses and prior together."""

    theta: Floats
    covariance: Floats
    residual: Floats
    std: Floats
    used: npt.NDArray[np.bool_]
    chi_square: float
    dof: int


def fit_centre(mean: Floats, covariance: Floats, of: Witnesses, constants: TypeConstants, edition: Floats) -> Centre:
    """Combine the rating prior with the witnesses.

    Parameters
    ----------
    mean, covariance : arrays, shapes (n_parameters,), (n_parameters, n_parameters)
        Prior of the type's centre.
    edition : array, shape (n_parameters, n_parameters)
        Covariance of one edition's typical part about the centre of the type; common to all witnesses of one edition.
    """
    if not len(of):
        empty = np.zeros(0)
        return Centre(mean, covariance, empty, empty, np.zeros(0, bool), 0.0, 0)

    def call(theta: Floats) -> Floats:
        return predict(theta, of, constants)

    value, noise = np.array(of.value), of.covariance()
    same_edition = np.array(of.edition)[:, None] == np.array(of.edition)[None, :]
    theta, best, damping = mean.copy(), np.inf, 1.0
    state = _state(theta, call, value, noise, same_edition, edition)
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
            trial_state = _state(trial, call, value, noise, same_edition, edition)
            cost = _cost(trial, value, trial_state, mean, covariance)
            if cost < best + 1e-9:
                theta, state, moved = trial, trial_state, best - cost > 1e-3
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
    return Centre(theta, posterior, residual, np.sqrt(np.diag(spread)), used, float(misfit), int(used.sum()))


State = tuple[Floats, Floats, Floats]


def _state(
    theta: Floats, call: Predict, value: Floats, noise: Floats, same: npt.NDArray[np.bool_], edition: Floats
) -> State:
    seen, slopes = jacobian(theta, call)
    bad = ~np.isfinite(seen) | ~np.all(np.isfinite(slopes), axis=1)
    seen = np.where(bad, np.nan, seen)
    slopes = np.where(bad[:, None], 0.0, slopes)
    spread = noise + np.where(same, slopes @ edition @ slopes.T, 0.0)
    return seen, slopes, spread


def _gain(covariance: Floats, slopes: Floats, spread: Floats) -> Floats:
    total = slopes @ covariance @ slopes.T + spread
    return np.asarray(np.linalg.solve(total, slopes @ covariance).T)


def _cost(theta: Floats, value: Floats, state: State, mean: Floats, covariance: Floats) -> float:
    """Twice the negative log posterior, up to a constant. A witness the model cannot reach costs as much as one off by 3 sd."""
    seen, _, spread = state
    reached = np.isfinite(seen)
    residual, block = (value - seen)[reached], spread[np.ix_(reached, reached)]
    from_mean = theta - mean
    misfit = residual @ np.linalg.solve(block, residual) + np.linalg.slogdet(block)[1] if reached.any() else 0.0
    missing = float(9.0 * (~reached).sum())
    return float(from_mean @ np.linalg.solve(covariance, from_mean) + misfit + missing)
