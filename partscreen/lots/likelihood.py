"""What the parts of a lot say of its share of unfit parts: a likelihood on a grid, never a posterior.

A part adds the factor (1 - s) + s exp(e), with e its evidence (ln likelihood ratio, unfit over as marked); a part that
is unfit for certain (dead, reversed, outside a limit) adds s. Parts that were never read add nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, expit, logit

from partscreen.screening.evidence.lot import share_priors

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

LARGEST_EVIDENCE = 20.0
"""Evidence beyond this counts as this: 5e8 to 1 decides any share that a lot can have (assumption)."""

_CHUNK = 1_000_000  # numbers laid out at once
_BLOCK = 16  # factors multiplied before a logarithm is taken: e^(16 * 20) is far within what a double holds


@dataclass(frozen=True, slots=True)
class Cells:
    """The shares from 0 to 1 in cells. `edges` (n + 1,), `middle` (n,): where a cell is looked at."""

    edges: Floats
    middle: Floats

    @property
    def size(self) -> int:
        """Number of cells."""
        return int(self.middle.size)

    def beta(self, a: npt.ArrayLike, b: npt.ArrayLike) -> Floats:
        """Exact mass of Beta(a, b) in each cell; shape (..., n). Small a or b put it into the end cells."""
        first, second = np.asarray(a, dtype=float)[..., None], np.asarray(b, dtype=float)[..., None]
        low = np.diff(betainc(first, second, self.edges), axis=-1)
        # Beyond the middle the mass is taken from the other end, where it does not drown in the rounding of 1.
        high = -np.diff(betainc(second, first, 1.0 - self.edges), axis=-1)
        return np.asarray(np.where(self.middle < 0.5, low, high))

    def quantile(self, mass: Floats, chance: float) -> Floats:
        """Share not exceeded with this chance, mass spread evenly within a cell; `mass` (..., n), sums to 1."""
        total = np.cumsum(mass, axis=-1)
        cell = np.minimum((total < chance).sum(axis=-1), self.size - 1)
        own = np.take_along_axis(mass, cell[..., None], axis=-1)[..., 0]
        before = np.take_along_axis(total, cell[..., None], axis=-1)[..., 0] - own
        part = np.clip((chance - before) / np.where(own > 0, own, 1.0), 0.0, 1.0)
        return np.asarray(self.edges[cell] + part * (self.edges[cell + 1] - self.edges[cell]))

    def ends(self, mass: Floats, chance: float = 0.95) -> tuple[Floats, Floats]:
        """Ends of the interval that holds this chance: as much beyond either end, but where that would end in the first
        or the last cell it begins at 0, or ends at 1, and the whole rest is beyond the other end."""
        tail = 1.0 - chance
        low, high = self.quantile(mass, tail / 2), self.quantile(mass, 1.0 - tail / 2)
        at_none, at_all = low < self.edges[1], high > self.edges[-2]
        high = np.where(at_none, self.quantile(mass, chance), high)
        low = np.where(at_all & ~at_none, self.quantile(mass, tail), low)
        return np.where(at_none, 0.0, low), np.where(at_all, 1.0, high)

    def chance_above(self, mass: Floats, share: float) -> Floats:
        """Mass above a share, evenly spread within a cell."""
        covered = np.clip((self.edges[1:] - share) / np.diff(self.edges), 0.0, 1.0)
        return np.asarray(mass @ covered)


def cells(n: int, smallest: float = 1e-5) -> Cells:
    """Cells even in the log odds between `smallest` and 1 - `smallest`, with one at each end.

    Raises
    ------
    ValueError
        Fewer than 8 cells, or `smallest` is not between 0 and 0.1.
    """
    if n < 8 or not 0 < smallest < 0.1:
        raise ValueError(f"{n} cells from {smallest}: 8 cells at least, from a share between 0 and 0.1, are expected")
    reach = float(np.log(smallest) - np.log1p(-smallest))
    inner = np.linspace(reach, -reach, n - 1)
    edges = np.concatenate(([0.0], expit(inner), [1.0]))
    middle = np.concatenate(([smallest / 2], expit((inner[1:] + inner[:-1]) / 2), [1.0 - smallest / 2]))
    return Cells(edges, middle)


@dataclass(frozen=True, slots=True)
class Readings:
    """Evidence of the parts of many lots, sorted by lot.

    evidence (n_parts,): from readings, 0 where a part was not read. lot (n_parts,): number of its lot. certain
    (n_lots,): parts unfit for certain, not among the others. field (n_parts,): from what became of it in service, which
    leans on no reference; None: nothing is known.
    """

    evidence: Floats
    lot: Ints
    certain: Ints
    field: Floats | None = None

    @property
    def whole(self) -> Floats:
        """Evidence of readings and field together."""
        return self.evidence if self.field is None else self.evidence + self.field


def laid_out(
    evidence: Sequence[Sequence[float]], certain: Sequence[int], field: Sequence[Sequence[float]] | None = None
) -> Readings:
    """Evidence of lots in one array; `field` in the order of `evidence`."""
    sizes = [len(e) for e in evidence]
    count = sum(sizes)
    flat = np.fromiter((x for e in evidence for x in e), dtype=float, count=count)
    lot = np.repeat(np.arange(len(sizes)), sizes)
    met = None if field is None else np.fromiter((x for e in field for x in e), dtype=float, count=count)
    return Readings(flat, lot, np.asarray(certain, dtype=np.int64), met)


def ln_likelihood(readings: Readings, share: Floats) -> Floats:
    """ln P(readings of a lot | its share of unfit parts), the parts being independent of each other given the share.

    Parameters
    ----------
    readings : Readings
        Sorted by lot.
    share : (n,)
        Between 0 and 1, the ends included.

    Returns
    -------
    (n_lots, n), up to a constant by lot. A lot without readings is flat, 0.

    Raises
    ------
    ValueError
        Evidence is not a number, or the lots are not in order.
    """
    e, lot = readings.whole, readings.lot
    if not np.isfinite(e).all():
        raise ValueError("evidence that is not a number; leave parts out that were never weighed")
    if (np.diff(lot) < 0).any():
        raise ValueError("parts must be sorted by their lot")
    with np.errstate(divide="ignore"):
        ln_share = np.log(share)
    out = np.where(readings.certain[:, None] > 0, readings.certain[:, None] * np.minimum(ln_share, 0.0), 0.0)
    more = np.expm1(np.clip(e, -LARGEST_EVIDENCE, LARGEST_EVIDENCE))
    block = _blocks(lot)
    step = max(_BLOCK, _CHUNK // max(share.size, 1))
    begin = 0
    while begin < block.size - 1:
        end = max(int(np.searchsorted(block, block[begin] + step, side="right")) - 1, begin + 1)
        rows = slice(int(block[begin]), int(block[end]))
        product = np.multiply.reduceat(1.0 + more[rows, None] * share, block[begin:end] - block[begin], axis=0)
        with np.errstate(divide="ignore"):
            ln = np.log(product)
        mine = lot[block[begin:end]]
        starts = np.flatnonzero(np.diff(mine, prepend=-1))
        out[mine[starts]] += np.add.reduceat(ln, starts, axis=0)
        begin = end
    return out


def _blocks(lot: Ints) -> Ints:
    """Where runs of at most `_BLOCK` parts of one lot begin, and the end of the last; (n_blocks + 1,)."""
    if not lot.size:
        return np.zeros(1, dtype=np.int64)
    first = np.flatnonzero(np.diff(lot, prepend=lot[0] - 1))
    within = np.arange(lot.size) - np.repeat(first, np.diff(first, append=lot.size))
    return np.append(np.flatnonzero(within % _BLOCK == 0), lot.size)


def lean(readings: Readings) -> Floats:
    """Median evidence of the bulk of each lot: of the parts on the side (for, against) that most parts are on.

    0 where no part was weighed; shape (n_lots,). Of equal numbers the side with the larger sum is taken.
    """
    n = readings.certain.size
    against = readings.evidence > 0
    excess = np.bincount(readings.lot, np.sign(readings.evidence), minlength=n)
    total = np.bincount(readings.lot, readings.evidence, minlength=n)
    side = np.where(excess == 0, total, excess) > 0
    of_bulk = (against == side[readings.lot]) & (readings.evidence != 0)
    lot, value = readings.lot[of_bulk], readings.evidence[of_bulk]
    sizes = np.bincount(lot, minlength=n)
    some = sizes > 0
    ordered = value[np.lexsort((value, lot))]
    starts = np.cumsum(sizes) - sizes
    out = np.zeros(n)
    out[some] = (ordered[(starts + (sizes - 1) // 2)[some]] + ordered[(starts + sizes // 2)[some]]) / 2
    return out


@dataclass(frozen=True, slots=True)
class Bulk:
    """What screening says of the main population of a lot.

    ratio : ln likelihood ratio, unfit over as marked; 0: nothing told which it is. unfit : whether screening took it as
    unfit, so that the parts' evidence follows from that; None: not known.
    """

    ratio: float
    unfit: bool | None = None


def bulk_of(bulk_unfit: float, prior_share: float) -> Bulk:
    """From the probability that the bulk of a lot is unfit.

    `bulk_unfit` holds what screening expected of lots beforehand; that is taken off again. At most
    `LARGEST_EVIDENCE` either way.
    """
    before = share_priors(prior_share)[0]
    ln = logit(np.clip(bulk_unfit, 1e-12, 1.0 - 1e-12)) - logit(before)
    return Bulk(float(np.clip(ln, -LARGEST_EVIDENCE, LARGEST_EVIDENCE)), bulk_unfit > 0.5)


def ln_likelihood_of_lots(readings: Readings, share: Floats, bulk: Sequence[Bulk | None] | None = None) -> Floats:
    """As `ln_likelihood`, with the evidence on the bulk of a lot counted once.

    All parts of a lot lean on one reference, and parts that are alike are right together or wrong together. So the
    product is mixed with the one in which the evidence of all parts on the bulk's side changes sides (parts on the
    other side of 0 then say: unfit, where they did; nothing, where they were in favour). Each product is scaled to a
    largest value of 1; the one with an unfit bulk has e^M times the weight of the one with a bulk as marked. A lot
    of one part has no bulk, its product stands. What happened in service leans on no reference and changes no sides.

    Without this, forty parts at 20 to 1 in favour each would exclude a wholly substituted lot by 20^40 to 1, when the
    readings say far less of the bulk.

    Parameters
    ----------
    bulk : of each lot, optional
        What screening says of it. None: the median evidence of the side most parts are on stands for M, and that side
        for the bulk.
    """
    m = lean(readings)
    told = list(bulk) if bulk is not None else [None] * m.size
    ratio = np.array([m[i] if b is None else b.ratio for i, b in enumerate(told)])
    unfit = np.array(
        [m[i] > 0 if b is None or b.unfit is None else b.unfit for i, b in enumerate(told)], dtype=np.bool_
    )
    same = (readings.evidence > 0) == unfit[readings.lot]
    turned = np.where(same, -readings.evidence, np.maximum(readings.evidence, 0.0))
    straight = _scaled(ln_likelihood(readings, share))
    other = _scaled(ln_likelihood(replace(readings, evidence=turned), share))
    against = np.where(unfit, ratio, -ratio)  # ln odds of the straight product, above the other
    read = np.bincount(readings.lot, readings.evidence != 0, minlength=m.size)
    odds = np.where(read < 2, -np.inf, -against)
    return np.asarray(np.logaddexp(straight, other + odds[:, None]))


def _scaled(ln: Floats) -> Floats:
    return np.asarray(ln - ln.max(axis=1, keepdims=True))


def posterior(ln: Floats, prior: Floats) -> Floats:
    """Mass of each cell after the readings; `ln` and `prior` (..., n), not all zero."""
    with np.errstate(divide="ignore"):
        joint = ln + np.log(prior)
    mass = np.exp(joint - joint.max(axis=-1, keepdims=True))
    return np.asarray(mass / mass.sum(axis=-1, keepdims=True))
