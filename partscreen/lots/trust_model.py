"""Lots of many suppliers at once: shares of unfit parts with shrinkage, by quadrature, no random numbers.

The model, from the lot upwards (docs/trust.md has it in formulas):

- a lot of share s: with chance w all or nothing, Beta(k0 v, k0 (1 - v)) with a small k0; else Beta(k v, k (1 - v));
- v, the mean share of one type from one supplier: Beta(c u, c (1 - u));
- u, the mean share of the supplier: Beta(K m, K (1 - m));
- m and K, of all suppliers together.

A lot enters as its likelihood on a grid of s, raised to a power between 0 and 1 (older lots count less). s, v and u are
integrated over cells with exact beta masses, w, k and c over a few values, m and ln K over a grid that is laid again
around its mass until it is fine enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from partscreen.lots.likelihood import Cells, cells

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What the model takes for granted; every figure is an assumption, for the reason beside it.

    all_or_nothing : k0; nine in ten such lots have a share below 1 % or above 99 % at a mean of 0.1.
    spread_chances : values of w; spreads : values of k, lots of alike shares (32) or of very different ones (2). They
        are a supplier's own, each combination as likely as the others.
    type_spreads : values of c, each as likely: types of a supplier differ widely (8) or hardly (128).
    mean_prior : a, b of the beta prior of m; mean 0.1 as screening expects of a lot.
    concentration : ends of K, even in ln K: from suppliers that are good or bad to suppliers that are all alike.
    """

    all_or_nothing: float = 0.2
    spread_chances: tuple[float, ...] = (0.1, 0.5, 0.9)
    spreads: tuple[float, ...] = (2.0, 8.0, 32.0)
    type_spreads: tuple[float, ...] = (8.0, 32.0, 128.0)
    mean_prior: tuple[float, float] = (1.0, 9.0)
    concentration: tuple[float, float] = (0.5, 60.0)
    lot_cells: int = 160
    mean_cells: int = 96


@dataclass(frozen=True, slots=True)
class Grids:
    """Cells of a lot's share and of mean shares, and the tables that join them.

    lot_prior (component, means, shares): mass of a lot's share given v, the all-or-nothing component first.
    type_prior (c, means u, means v): mass of v given u.
    """

    assumed: Assumptions
    shares: Cells
    means: Cells
    lot_prior: Floats
    type_prior: Floats


def grids(assumed: Assumptions = Assumptions()) -> Grids:
    """Lay the grids."""
    shares, means = cells(assumed.lot_cells), cells(assumed.mean_cells, 1e-4)
    spreads = np.array([assumed.all_or_nothing, *assumed.spreads])[:, None]
    v = means.middle
    lot_prior = shares.beta(spreads * v, spreads * (1.0 - v))
    c = np.array(assumed.type_spreads)[:, None]
    return Grids(assumed, shares, means, lot_prior, means.beta(c * v, c * (1.0 - v)))


@dataclass(frozen=True, slots=True)
class Groups:
    """Who sent what. `pair` (n_lots,): number of the supplier-and-type of each lot; `supplier` (n_pairs,): whose it is.

    `weight` (n_lots,): power a lot's likelihood is raised to, 0 to 1.
    """

    pair: Ints
    supplier: Ints
    weight: Floats
    n_suppliers: int


@dataclass(frozen=True, slots=True)
class PairTerms:
    """ln P(lots of a pair | v, style), (n_pairs, n_styles, n_means); a style is one (w, k)."""

    ln: Floats


def lot_terms(of: Grids, ln_lots: Floats) -> Floats:
    """ln P(readings of a lot | v, style), its share integrated out; (n_lots, n_styles, n_means)."""
    likelihood = np.exp(ln_lots - ln_lots.max(axis=1, keepdims=True))
    parts = np.einsum("ls,cvs->lcv", likelihood, of.lot_prior, optimize=True)
    w = np.array(of.assumed.spread_chances)
    mixed = w[:, None, None] * parts[:, None, :1] + (1.0 - w)[:, None, None] * parts[:, None, 1:]
    styles = mixed.reshape(ln_lots.shape[0], -1, of.means.size)
    return np.asarray(np.log(np.maximum(styles, 1e-300)))


def pair_terms(of: Grids, ln_lots: Floats, groups: Groups, chunk: int = 2000) -> PairTerms:
    """Lots gathered by supplier and type."""
    n_styles = len(of.assumed.spread_chances) * len(of.assumed.spreads)
    ln = np.zeros((groups.supplier.size, n_styles, of.means.size))
    order = np.argsort(groups.pair, kind="stable")
    for begin in range(0, order.size, chunk):
        rows = order[begin : begin + chunk]
        terms = lot_terms(of, ln_lots[rows]) * groups.weight[rows, None, None]
        pair = groups.pair[rows]
        starts = np.flatnonzero(np.diff(pair, prepend=-1))
        ln[pair[starts]] += np.add.reduceat(terms, starts, axis=0)
    return PairTerms(ln)


def through_types(of: Grids, pairs: PairTerms) -> Floats:
    """ln P(lots of a pair | u, c, style), v integrated out; (n_pairs, n_c, n_styles, n_means)."""
    top = pairs.ln.max(axis=-1, keepdims=True)
    mixed = np.einsum("psv,cuv->pcsu", np.exp(pairs.ln - top), of.type_prior, optimize=True)
    return np.asarray(np.log(np.maximum(mixed, 1e-300)) + top[:, None])


def gathered(of_pairs: Floats, groups: Groups) -> Floats:
    """The pairs of each supplier added up; (n_suppliers, n_c, n_styles, n_means). Every supplier has a pair."""
    order = np.argsort(groups.supplier, kind="stable")
    starts = np.flatnonzero(np.diff(groups.supplier[order], prepend=-1))
    return np.asarray(np.add.reduceat(of_pairs[order], starts, axis=0))


def supplier_terms(whole: Floats) -> Floats:
    """ln P(lots of a supplier | u, c), (n_suppliers, n_c, n_means); styles, the supplier's own, averaged out.

    `whole`: from `gathered`.
    """
    return np.asarray(logsumexp(whole, axis=2) - np.log(whole.shape[2]))


@dataclass(frozen=True, slots=True)
class Population:
    """What all suppliers together say. Nodes of (m, K, c): `prior` (n_nodes, n_means) mass of u, `weight` (n_nodes,)
    posterior of the node, `type_spread` (n_nodes,) number of its c. `mean`, `concentration` (n_nodes,)."""

    prior: Floats
    weight: Floats
    type_spread: Ints
    mean: Floats
    concentration: Floats


def population(of: Grids, suppliers: Floats, *, rounds: int = 3, m_nodes: int = 24, k_nodes: int = 10) -> Population:
    """Integrate m, K and c. `suppliers`: from `supplier_terms`.

    The grid of (logit m, ln K) starts over the whole prior and is laid again around the nodes that hold all but 1e-4 of
    the mass, so that five hundred suppliers, who say m closely, are integrated as well as one.
    """
    a, b = of.assumed.mean_prior
    low_k, high_k = np.log(of.assumed.concentration)
    ends = np.array([[-9.0, 4.0], [low_k, high_k]])  # logit m from 1e-4 to 0.98
    for turn in range(rounds):
        found, table = _nodes(of, suppliers, a, b, ends, m_nodes, k_nodes)
        if turn == rounds - 1:
            break
        kept = table > 1e-4 * table.max()
        new = np.array([_around(kept.any(axis=1), ends[0]), _around(kept.any(axis=0), ends[1])])
        if (np.diff(new)[:, 0] > 0.9 * np.diff(ends)[:, 0]).all():
            break
        ends = new
    return found


def _around(kept: npt.NDArray[np.bool_], ends: Floats) -> Floats:
    """Ends of the cells kept, with one more on either side, within the old ends."""
    width = float(ends[1] - ends[0]) / kept.size
    rows = np.flatnonzero(kept)
    first, last = max(rows[0] - 1, 0), min(rows[-1] + 2, kept.size)
    return np.array([ends[0] + first * width, ends[0] + last * width])


def _nodes(
    of: Grids, suppliers: Floats, a: float, b: float, ends: Floats, m_nodes: int, k_nodes: int
) -> tuple[Population, Floats]:
    width = np.diff(ends)[:, 0] / (m_nodes, k_nodes)
    logit = ends[0, 0] + width[0] * (np.arange(m_nodes) + 0.5)
    ln_k = ends[1, 0] + width[1] * (np.arange(k_nodes) + 0.5)
    m, k = (x.ravel() for x in np.meshgrid(1.0 / (1.0 + np.exp(-logit)), np.exp(ln_k), indexing="ij"))
    prior = of.means.beta(k * m, k * (1.0 - m))
    top = suppliers.max(axis=(1, 2), keepdims=True)
    heights = np.exp(suppliers - top)  # (suppliers, c, means)
    with np.errstate(divide="ignore"):
        explained = np.log(np.einsum("jcu,nu->jcn", heights, prior, optimize=True))
    # Density of the prior in logit m: m^a (1 - m)^b; even in ln K and over c.
    ln = explained.sum(axis=0) + a * np.log(m) + b * np.log1p(-m)
    weight = np.exp(ln - ln.max())
    weight /= weight.sum()
    table = weight.sum(axis=0).reshape(m_nodes, k_nodes)
    n_c = ln.shape[0]
    nodes = Population(
        np.tile(prior, (n_c, 1)), weight.ravel(), np.repeat(np.arange(n_c), m.size), np.tile(m, n_c), np.tile(k, n_c)
    )
    return _thin(nodes), table


def _thin(nodes: Population) -> Population:
    """Without nodes that hold less than a millionth of the mass."""
    kept = nodes.weight > 1e-6 * nodes.weight.max()
    weight = nodes.weight[kept] / nodes.weight[kept].sum()
    return Population(nodes.prior[kept], weight, nodes.type_spread[kept], nodes.mean[kept], nodes.concentration[kept])


def supplier_given_nodes(suppliers: Floats, people: Population) -> tuple[Floats, Floats]:
    """Posterior mass of u given each node, and ln P(the supplier's lots | node).

    Parameters
    ----------
    suppliers : (n, n_c, n_means), from `supplier_terms`

    Returns
    -------
    mass (n, n_nodes, n_means), ln_explained (n, n_nodes) up to a constant by supplier
    """
    top = suppliers.max(axis=(1, 2), keepdims=True)
    joint = np.exp(suppliers - top)[:, people.type_spread] * people.prior
    total = joint.sum(axis=-1)
    return joint / np.maximum(total, 1e-300)[..., None], np.log(np.maximum(total, 1e-300))


def supplier_posterior(suppliers: Floats, people: Population) -> Floats:
    """Posterior mass of u of each supplier, population integrated out; (n_suppliers, n_means)."""
    top = suppliers.max(axis=(1, 2), keepdims=True)
    heights = np.exp(suppliers - top)
    out = np.zeros((suppliers.shape[0], suppliers.shape[2]))
    for c in range(suppliers.shape[1]):
        mine = people.type_spread == c
        if mine.any():
            total = heights[:, c] @ people.prior[mine].T  # (suppliers, nodes)
            share = people.weight[mine] / np.maximum(total, 1e-300)
            out += heights[:, c] * (share @ people.prior[mine])
    return np.asarray(out / out.sum(axis=1, keepdims=True))
