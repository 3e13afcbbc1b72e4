"""Invented worlds of suppliers with known truth, to hold the model of trust against; all seeded."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partscreen.lots.likelihood import Bulk, Readings, ln_likelihood, ln_likelihood_of_lots
from partscreen.lots.trust_fit import Fitted, fit_suppliers
from partscreen.lots.trust_model import Grids, Groups


@dataclass(frozen=True)
class World:
    """`truth` (n_suppliers,): mean share a supplier's next lots have. `naive`: parts judged unfit over parts read.

    `pair_truth` (n_pairs,): the same by supplier and type. `mean`: over all suppliers.
    """

    readings: Readings
    groups: Groups
    truth: np.ndarray
    pair_truth: np.ndarray
    naive: np.ndarray
    mean: float = np.nan
    bulk: list[Bulk] | None = None


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
    readings = Readings(e, lot, np.zeros(parts.size, dtype=np.int64))
    return World(readings, groups, truth, truth[codes // n_types], naive, mean)


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
    world = world_of(rng, supplier, kind, share, size, strength, u, shared=shared, mean=m)
    return replace(world, pair_truth=v.ravel()[np.unique(supplier * types + kind)])


def weigh(of: Grids, world: World, *, robust: bool = False) -> Fitted:
    """The model on a world."""
    s = of.shares.middle
    ln = ln_likelihood_of_lots(world.readings, s, world.bulk) if robust else ln_likelihood(world.readings, s)
    return fit_suppliers(of, ln, world.groups)


def rank_of(rng, cells, mass, truth) -> float:
    """Probability that the posterior gives to lie below the truth; within the truth's cell a place drawn at random."""
    cell = int(np.clip(np.searchsorted(cells.edges, truth, side="right") - 1, 0, cells.size - 1))
    return float(mass[:cell].sum() + rng.random() * mass[cell])


def two_kinds_of_suppliers(rng, n_suppliers=12, *, most_lots=10, parts=(5, 25), strength=16.0):
    """Not assumed: seven in ten suppliers sell hardly any bad part, three in ten one bad bag in two."""
    bad_supplier = rng.random(n_suppliers) < 0.3
    supplier = np.repeat(np.arange(n_suppliers), rng.integers(1, most_lots + 1, n_suppliers))
    bad_bag = rng.random(supplier.size) < np.where(bad_supplier, 0.5, 0.01)[supplier]
    size = rng.integers(parts[0], parts[1] + 1, supplier.size)
    truth = np.where(bad_supplier, 0.5, 0.01)
    kind = np.zeros(supplier.size, dtype=np.int64)
    return world_of(rng, supplier, kind, bad_bag.astype(float), size, strength, truth)


def one_part_lots(rng, n_suppliers=12, *, most_lots=40, strength=16.0):
    """Lots of one part each, suppliers of very different shares."""
    truth = rng.choice([0.005, 0.02, 0.1, 0.3], n_suppliers)
    supplier = np.repeat(np.arange(n_suppliers), rng.integers(1, most_lots + 1, n_suppliers))
    share = truth[supplier]
    ones = np.ones(supplier.size, dtype=np.int64)
    return world_of(rng, supplier, np.zeros_like(ones), share, ones, strength, truth)


def suppliers_that_change(rng, n_suppliers=12, *, half_life=None, n_lots=12, years=6.0, strength=16.0):
    """Drift: lots over six years; a third of the suppliers turn from 2 % to 40 % bad bags for the last two, a third the
    other way round. The truth is today's share. `half_life` in years; None: every lot counts in full."""
    kind_of = rng.integers(0, 3, n_suppliers)
    before, now = np.array([0.02, 0.02, 0.4])[kind_of], np.array([0.02, 0.4, 0.02])[kind_of]
    supplier = np.repeat(np.arange(n_suppliers), n_lots)
    age = rng.uniform(0.0, years, supplier.size)
    share = (rng.random(supplier.size) < np.where(age < 2.0, now[supplier], before[supplier])).astype(float)
    size = rng.integers(5, 26, supplier.size)
    weight = None if half_life is None else 0.5 ** (age / half_life)
    return world_of(rng, supplier, np.zeros(supplier.size, dtype=np.int64), share, size, strength, now, weight=weight)


def one_bad_bag(rng, n_suppliers=12, *, strength=16.0):
    """All suppliers alike, one bag in fifteen is bad, and some have sent two lots, some fifty: nothing to rank."""
    supplier = np.repeat(np.arange(n_suppliers), rng.choice([2, 5, 50], n_suppliers))
    share = (rng.random(supplier.size) < 1 / 15).astype(float)
    size = rng.integers(5, 26, supplier.size)
    kind = np.zeros(supplier.size, dtype=np.int64)
    return world_of(rng, supplier, kind, share, size, strength, np.full(n_suppliers, 1 / 15))


def right_order(estimate, truth) -> tuple[float, int]:
    """Pairs of suppliers with different truth that the estimate puts in the right order (a tie counts half), of how
    many."""
    a, b = np.triu_indices(truth.size, 1)
    differs = truth[a] != truth[b]
    sign = np.sign(truth[a] - truth[b]) * np.sign(estimate[a] - estimate[b])
    return float(((sign[differs] + 1) / 2).sum()), int(differs.sum())


def chosen(rng, estimate, truth) -> float:
    """Truth of the supplier one would buy from; ties are drawn."""
    best = np.flatnonzero(estimate <= estimate.min() + 1e-12)
    return float(truth[rng.choice(best)])


def rank_of_mean(people, truth) -> float:
    """As `rank_of`, for the mean over all suppliers: between its nodes the mass is spread evenly in the log odds."""
    at, node = np.unique(people.mean, return_inverse=True)
    weight = np.bincount(node, people.weight)
    middle = np.cumsum(weight) - weight / 2
    odds = np.log(at) - np.log1p(-at)
    step = odds[1] - odds[0] if odds.size > 1 else 1.0
    places = np.concatenate(([odds[0] - step], odds, [odds[-1] + step]))
    heights = np.concatenate(([-middle[0]], middle, [2.0 - middle[-1]]))
    return float(np.clip(np.interp(np.log(truth) - np.log1p(-truth), places, heights), 0.0, 1.0))


def one_reference(rng, of: Grids, n_suppliers=12, *, strength=4.0):
    """Drawn from the model, but the parts of a lot are only told from each other, decisively; which group is right the
    lot's bulk says, once, with a reading of that strength, and the evidence of all parts follows it."""
    world = assumed_world(rng, of, n_suppliers, strength=40.0, parts=(6, 30))
    lot, e = world.readings.lot, world.readings.evidence
    n_lots = world.groups.pair.size
    bad_bulk = np.bincount(lot, np.sign(e), minlength=n_lots) > 0
    bulk = np.where(bad_bulk, 0.5, -0.5) * strength + rng.normal(size=n_lots) * np.sqrt(strength)
    e = np.where(((bulk > 0) != bad_bulk)[lot], -e, e)
    told = [Bulk(float(b), bool(b > 0)) for b in bulk]
    supplier = world.groups.supplier[world.groups.pair][lot]
    naive = np.bincount(supplier, e > 0) / np.bincount(supplier)
    return replace(world, readings=replace(world.readings, evidence=e), naive=naive, bulk=told)
