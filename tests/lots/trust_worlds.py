"""Invented worlds of suppliers with known truth, to hold the model of trust against; all seeded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.lots.likelihood import Readings, ln_likelihood, ln_likelihood_of_lots
from partscreen.lots.trust_fit import Fitted, fit_suppliers
from partscreen.lots.trust_model import Grids, Groups


@dataclass(frozen=True)
class World:
    """`truth` (n_suppliers,): mean share a supplier's next lots have. `naive`: parts judged unfit over parts read."""

    readings: Readings
    groups: Groups
    truth: np.ndarray
    of_pairs: np.ndarray
    naive: np.ndarray
    mean: float = np.nan


def evidence_of(rng, bad, lot, strength, shared=0.0):
    """Ln likelihood ratios as a Gaussian reading of a shift gives them: N(+-d/2, d). `shared`: part of d that all parts
    of a lot have in common (the reference they lean on)."""
    sign = np.where(bad, 1.0, -1.0)
    own = strength - shared
    e = sign * own / 2 + rng.normal(size=bad.size) * np.sqrt(own)
    if shared:
        n = int(lot.max()) + 1
        common = np.sqrt(shared) * rng.normal(size=n)
        e = e + sign * shared / 2 + sign * common[lot]
    return e


def world_of(
    rng, supplier_of_lot, type_of_lot, share_of_lot, parts, strength, truth, *, shared=0.0, weight=None, mean=0
):
    """Parts and their readings of lots whose shares are given."""
    n_types = int(type_of_lot.max()) + 1
    codes, pair = np.unique(supplier_of_lot * n_types + type_of_lot, return_inverse=True)
    lot = np.repeat(np.arange(parts.size), parts)
    bad = rng.random(lot.size) < share_of_lot[lot]
    e = evidence_of(rng, bad, lot, strength, shared)
    power = np.ones(parts.size) if weight is None else weight
    groups = Groups(pair.astype(np.int64), codes // n_types, power, truth.size)
    found = np.bincount(supplier_of_lot, np.bincount(lot, e > 0), minlength=truth.size)
    naive = found / np.maximum(np.bincount(supplier_of_lot, parts, minlength=truth.size), 1)
    return World(Readings(e, lot, np.zeros(parts.size, dtype=np.int64)), groups, truth, codes, naive, mean)


def assumed_world(rng, of: Grids, n_suppliers=6, *, most_lots=8, parts=(2, 30), types=2, strength=16.0, shared=0.0):
    """Drawn from the model itself: every unknown from its prior."""
    a = of.assumed
    m = rng.beta(*a.mean_prior)
    k = np.exp(rng.uniform(*np.log(a.concentration)))
    c = rng.choice(a.type_spreads)
    u = np.clip(rng.beta(k * m, k * (1 - m), n_suppliers), 1e-12, 1 - 1e-12)
    w, spread = rng.choice(a.spread_chances, n_suppliers), rng.choice(a.spreads, n_suppliers)
    supplier = np.repeat(np.arange(n_suppliers), rng.integers(1, most_lots + 1, n_suppliers))
    kind = rng.integers(0, types, supplier.size)
    v = np.clip(rng.beta(c * u[:, None], c * (1 - u[:, None]), (n_suppliers, types)), 1e-12, 1 - 1e-12)
    mean = v[supplier, kind]
    kappa = np.where(rng.random(supplier.size) < w[supplier], a.all_or_nothing, spread[supplier])
    share = rng.beta(np.maximum(kappa * mean, 1e-12), np.maximum(kappa * (1 - mean), 1e-12))
    size = rng.integers(parts[0], parts[1] + 1, supplier.size)
    return world_of(rng, supplier, kind, share, size, strength, u, shared=shared, mean=m)


def weigh(of: Grids, world: World, *, robust: bool = False) -> Fitted:
    """The model on a world."""
    likelihood = ln_likelihood_of_lots if robust else ln_likelihood
    return fit_suppliers(of, likelihood(world.readings, of.shares.middle), world.groups)


def rank_of(rng, cells, mass, truth) -> float:
    """Probability that the posterior gives to lie below the truth; within the truth's cell a place drawn at random."""
    cell = int(np.clip(np.searchsorted(cells.edges, truth, side="right") - 1, 0, cells.size - 1))
    return float(mass[:cell].sum() + rng.random() * mass[cell])
