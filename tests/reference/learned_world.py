"""Lots drawn from known spreads and read with known uncertainty, for tests of what is learned from them."""

from __future__ import annotations

import numpy as np

from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.reference.learned import FIGURES, LotRecord
from partscreen.reference.learned_effects import N_SESSION, SIZE
from partscreen.reference.population_spreads import Spreads, load_spreads

SESSION = np.array([0.5, 0.003, 0.0]) ** 2


def spreads_with(within=1.0, between=1.0, **factors) -> Spreads:
    """The shipped spreads, all or some of them times a factor."""
    default = load_spreads()
    table = {
        name: figure.model_copy(
            update={
                "within": figure.within * factors.get(name, within),
                "between": figure.between * factors.get(f"{name}_between", between),
            }
        )
        for name, figure in default.spreads.items()
    }
    return default.model_copy(
        update={"spreads": table, "area_within": default.area_within * factors.get("area", within)}
    )


def sights(rng, n, spreads: Spreads):
    """Directions a bench sees of n parts: 14 readings, each of some parameters, noise a third of the parts' spread."""
    own = np.sqrt(np.diag(spreads.spread("within")))
    rows = rng.normal(0.0, 1.0, (14, N_PARAMETERS)) * (rng.random((14, N_PARAMETERS)) < 0.25) / own
    rows[:, FIGURES.index("irb")] = 0.0  # nothing here sees it
    shared = rng.normal(0.0, 1.0, (14, N_SESSION)) * np.array([0.5, 100.0, 0.0])
    jacobian = np.concatenate((rows, shared), axis=1)
    return np.broadcast_to(jacobian, (n, 14, SIZE)), 0.35


def draw_lots(rng, truth: Spreads, n_types, lots_each, parts_each, *, small=0.0, weights=None):
    """Records of lots whose parts follow `truth`; `small`: share of dies of 0.5 to 0.7 among them."""
    out = []
    for t in range(n_types):
        centre = rng.normal(0.0, 1.0, N_PARAMETERS)
        for k in range(lots_each):
            lot = centre + rng.multivariate_normal(np.zeros(N_PARAMETERS), truth.spread("between"))
            z = lot + rng.multivariate_normal(np.zeros(N_PARAMETERS), truth.spread("within"), parts_each)
            bad = rng.random(parts_each) < small
            z = z + np.where(bad, np.log(rng.uniform(0.5, 0.7, parts_each)), 0.0)[:, None] * AREA_DIRECTION
            jacobian, noise = sights(rng, parts_each, load_spreads())
            off = rng.normal(0.0, np.sqrt(SESSION))
            full = np.concatenate((z - centre, np.broadcast_to(off, (parts_each, N_SESSION))), axis=1)
            y = np.einsum("nkq,nq->nk", jacobian, full) + noise * rng.normal(0.0, 1.0, jacobian.shape[:2])
            precision = np.einsum("nkq,nkr->nqr", jacobian, jacobian) / noise**2
            score = np.einsum("nkq,nk->nq", jacobian, y) / noise**2
            weight = np.ones(parts_each) if weights is None else weights(y, jacobian, bad)
            out.append(LotRecord(f"T{t}", f"L{t}-{k}", centre, precision, score, weight, SESSION))
    return out
