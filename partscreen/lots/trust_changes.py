"""What would change the order of suppliers: so many clean lots, or one bad one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.lots.trust_fit import Fitted, trial
from partscreen.lots.trust_model import lot_terms

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MOST_LOTS = 64  # more lots than a bench would wait for


@dataclass(frozen=True, slots=True)
class Changes:
    """By supplier. to_overtake : clean lots until its expected share is below that of the one before it (0: none is).

    to_settle : clean lots until its share counts as tolerable. Both: -1 if `MOST_LOTS` do not do.
    after_bad : expected share after one lot that is wholly unfit. lot_size : parts of such a lot.
    """

    to_overtake: Ints
    to_settle: Ints
    after_bad: Floats
    lot_size: int


def changes(fit: Fitted, main_pair: Ints, ahead: Ints, tolerable: tuple[float, float], lot_size: int) -> Changes:
    """Try further lots on every supplier; they are of the type most bought from it, every part read and clear.

    Parameters
    ----------
    main_pair : (n_suppliers,)
        The pair the lots are added to.
    ahead : (n_suppliers,)
        Number of the supplier placed before each; -1 for none. Its share is weighed anew too, for what one supplier
        sends moves what is expected of all.
    tolerable : a share, and the chance of being above it at which it counts as settled
    lot_size : int
        Parts of a further lot.
    """
    n = fit.groups.n_suppliers
    of = fit.of
    with np.errstate(divide="ignore"):
        s = of.shares.middle
        clean, bad = lot_terms(of, lot_size * np.stack([np.log1p(-s), np.log(s)]))
    ready = trial(fit, main_pair)

    def after(lot: Floats, count: Ints, rows: Ints) -> tuple[Floats, Floats]:
        return ready.after(count[:, None, None] * lot, rows)

    def below(count: Ints, rows: Ints) -> Bools:
        mass, nodes = after(clean, count, rows)
        return np.asarray(mass @ of.means.middle < (nodes * ready.expected[ahead[rows]]).sum(axis=1))

    def settled(count: Ints, rows: Ints) -> Bools:
        return np.asarray(of.means.chance_above(after(clean, count, rows)[0], tolerable[0]) <= tolerable[1])

    overtake, settle = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    asked = np.flatnonzero(ahead >= 0)
    overtake[asked] = _fewest(below, asked)
    asked = np.flatnonzero(of.means.chance_above(fit.posterior, tolerable[0]) > tolerable[1])
    settle[asked] = _fewest(settled, asked)
    after_bad = after(bad, np.ones(n, dtype=np.int64), np.arange(n))[0] @ of.means.middle
    return Changes(overtake, settle, after_bad, lot_size)


def _fewest(holds: Callable[[Ints, Ints], Bools], rows: Ints) -> Ints:
    """Fewest lots, 1 to `MOST_LOTS`, for which something holds; it goes on holding with more. -1: not even then."""
    low, high = np.zeros(rows.size, dtype=np.int64), np.full(rows.size, MOST_LOTS)
    out = np.where(holds(high, rows), MOST_LOTS, -1)
    open_ = np.flatnonzero(out > 0)
    while open_.size:
        middle = (low[open_] + high[open_]) // 2
        yes = holds(middle, rows[open_])
        high[open_] = np.where(yes, middle, high[open_])
        low[open_] = np.where(yes, low[open_], middle)
        open_ = open_[high[open_] - low[open_] > 1]
    return np.asarray(np.where(out > 0, high, -1))
