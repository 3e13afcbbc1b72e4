"""How many parts to buy so that enough of them come out matched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from partscreen.errors import Problem, UnusableInput
from partscreen.matching.distance import Tolerance
from partscreen.matching.families import complements, one_type_each
from partscreen.matching.options import MatchOptions
from partscreen.matching.pairs import most_pairs
from partscreen.matching.ready import Ready, make_ready
from partscreen.matching.stock import Stock
from partscreen.matching.usage import Usage
from partscreen.results import Interval
from partscreen.results.matching import PartsToBuy

Floats = npt.NDArray[np.float64]

PROBABILITY = 0.9
SEARCHED_TO = 400  # parts of a polarity
ENOUGH = 8  # parts of a polarity whose spread is taken as it is; fewer: the spread of the type (assumption)
_STREAMS = 300  # purchases simulated for the number itself
_AGAIN, _FEWER = 24, 60  # times the parts at hand are drawn again, and purchases for each
_SEED = 20261125

PopulationPoints = Callable[[str, Usage, int], Floats | None]
"""Of a type, working currents and a count: that many parts of one lot as rows of ln hFE and VBE [V] side by side."""


@dataclass(frozen=True)
class Supply:
    """Parts of one polarity as rows of ln hFE and VBE [V], both weighted by the root of the share of use."""

    rows: Floats

    @cached_property
    def _root(self) -> Floats:
        """A root of the covariance, shape (r, m): standard normal numbers times it are spread as the parts are."""
        centred = (self.rows - self.rows.mean(axis=0)) / np.sqrt(self.rows.shape[0])
        _, size, direction = np.linalg.svd(centred, full_matrices=False)
        kept = size > 1e-12 * max(float(size.max(initial=0.0)), 1e-300)
        return np.asarray(size[kept, None] * direction[kept])

    def drawn(self, count: int, rng: np.random.Generator) -> Floats:
        """Parts like these: drawn with replacement and shaken by a Gaussian kernel, mean and covariance kept.

        The kernel's width is Silverman's for three dimensions (B. W. Silverman, Density Estimation, 1986, 4.14;
        memory): without it a part drawn twice would match itself.
        """
        n = self.rows.shape[0]
        width = (4.0 / (5.0 * n)) ** (1.0 / 7.0)
        middle = self.rows.mean(axis=0)
        kernel = rng.standard_normal((count, self._root.shape[0])) @ self._root
        shaken = self.rows[rng.integers(n, size=count)] - middle + width * kernel
        return np.asarray(middle + shaken / np.sqrt(1.0 + width**2))

    def again(self, rng: np.random.Generator) -> Supply:
        """What another bag of as many parts might have been."""
        return Supply(self.rows[rng.integers(self.rows.shape[0], size=self.rows.shape[0])])


def count_matched(a: Floats, b: Floats | None, k: int, kind: str, tolerance: Tolerance) -> int:
    """Sets within tolerance among parts; exact for pairs, a number that is surely reached for groups and sets.

    a, b : rows as in `Supply`; b None: one polarity.
    """
    if kind == "pairs":
        assert b is not None
        return most_pairs(_within(a, b, tolerance))
    counts = [_groups_within(rows, k, tolerance) for rows in (a, b) if rows is not None]
    return min(counts)


def _within(a: Floats, b: Floats, tolerance: Tolerance) -> npt.NDArray[np.bool_]:
    from scipy.spatial.distance import cdist

    m = a.shape[1] // 2
    hfe, vbe = cdist(a[:, :m], b[:, :m]), cdist(a[:, m:], b[:, m:])
    return np.asarray((hfe <= tolerance.ln_hfe) & (vbe <= tolerance.vbe))


def _groups_within(rows: Floats, k: int, tolerance: Tolerance) -> int:
    """Groups of `k` of which every two are within tolerance, taken one after another along the mean VBE."""
    if k == 1:
        return int(rows.shape[0])
    if rows.shape[0] < k:
        return 0
    inside = _within(rows, rows, tolerance)
    left = np.argsort(rows[:, rows.shape[1] // 2 :].sum(axis=1), kind="stable").tolist()
    count = 0
    while len(left) >= k:
        group, open_ = [left[0]], inside[left[0]]
        for j in left[1:]:
            if open_[j]:
                group.append(j)
                if len(group) == k:
                    break
                open_ = open_ & inside[j]
        if len(group) == k:
            count += 1
            taken = set(group)
            left = [j for j in left if j not in taken]
        else:
            left = left[1:]
    return count


def enough_parts(
    supplies: tuple[Supply, Supply | None],
    accepted: tuple[float, float],
    wanted: int,
    k: int,
    kind: str,
    tolerance: Tolerance,
    *,
    again: int = _AGAIN,
) -> Interval:
    """Parts of each polarity to buy so that `wanted` sets come out in nine purchases of ten.

    Parameters
    ----------
    supplies : of either polarity, or (one, None)
    accepted : how many were accepted, and how many were not; every bought part is accepted with the same chance
    again : times the parts at hand are drawn again for the interval

    Returns
    -------
    Interval of 90 %: how far these few parts tell the spread and the share. None where `SEARCHED_TO` do not suffice.
    """
    rng = np.random.default_rng(_SEED)
    yes, no = accepted
    share = (yes + 0.5) / (yes + no + 1.0)
    value = _nine_in_ten(supplies, share, wanted, k, kind, tolerance, rng, _STREAMS)
    spread = []
    for _ in range(again):
        other = supplies[1]
        pair = (supplies[0].again(rng), other.again(rng) if other is not None else None)
        spread.append(_nine_in_ten(pair, float(rng.beta(yes + 0.5, no + 0.5)), wanted, k, kind, tolerance, rng, _FEWER))
    low = float(np.quantile([*spread, value], 0.05, method="lower"))
    high = float(np.quantile([*spread, value], 0.95, method="higher"))
    return Interval(value=_told(value), low=_told(low), high=_told(high))


def _told(count: float) -> float | None:
    return count if np.isfinite(count) else None


def _nine_in_ten(
    supplies: tuple[Supply, Supply | None], share: float, wanted: int, k: int, kind: str, tolerance: Tolerance,
    rng: np.random.Generator, streams: int,
) -> float:  # fmt: skip
    needed = [_needed(supplies, share, wanted, k, kind, tolerance, rng) for _ in range(streams)]
    return float(np.quantile(needed, PROBABILITY, method="higher"))


def _needed(
    supplies: tuple[Supply, Supply | None], share: float, wanted: int, k: int, kind: str, tolerance: Tolerance,
    rng: np.random.Generator,
) -> float:  # fmt: skip
    """Parts of each polarity that one row of purchases needs; infinite beyond `SEARCHED_TO`."""
    rows = [s.drawn(SEARCHED_TO, rng) if s is not None else None for s in supplies]
    good = [rng.random(SEARCHED_TO) < share for _ in supplies]

    def suffices(count: int) -> bool:
        a, b = (None if r is None else r[:count][g[:count]] for r, g in zip(rows, good, strict=True))
        assert a is not None
        return bool(a.size and (b is None or b.size)) and count_matched(a, b, k, kind, tolerance) >= wanted

    low, high = wanted * k - 1, min(2 * wanted * k, SEARCHED_TO)
    while not suffices(high):
        if high >= SEARCHED_TO:
            return float("inf")
        low, high = high, min(2 * high, SEARCHED_TO)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if suffices(middle) else (middle, high)
    return float(high)


def parts_to_buy(
    stock: Stock,
    options: MatchOptions,
    complement_of: Callable[[str], str | None],
    population_points: PopulationPoints | None = None,
) -> PartsToBuy:
    """How many parts to buy, from the parts of a stock; from the type's population where there are few.

    Raises
    ------
    UnusableInput
        Several types at once, or too few parts and no population.
    """
    assert options.buy_for is not None
    one = options.kind == "groups"
    families = one_type_each(stock.parts) if one else complements(stock.parts, complement_of)[0]
    if len(families) != 1:
        names = "; ".join(f.name for f in families)
        fix = "choose the lots of one type, or of one type and its complement, with --lot"
        raise UnusableInput([Problem("SEVERAL_TYPES", f"parts to buy for several types at once: {names}", fix)])
    ready = make_ready(stock.parts, families[0], options)
    first, words = _supply(ready, 0, population_points)
    second, more = (None, words) if one else _supply(ready, 1, population_points)
    used = len(stock.parts)
    accepted = (float(used), float(max(stock.judged - used, 0)))
    parts = enough_parts((first, second), accepted, options.buy_for, options.k, options.kind, options.tolerance)
    share = accepted[0] / max(sum(accepted), 1.0)
    return PartsToBuy(
        sets=options.buy_for, probability=PROBABILITY, parts=parts, searched_to=SEARCHED_TO,
        accepted_share=Interval(value=share), spread_from="; ".join(dict.fromkeys([words, more])),
    )  # fmt: skip


def _supply(ready: Ready, side: int, population_points: PopulationPoints | None) -> tuple[Supply, str]:
    parts, points = ((ready.a, ready.points_a), (ready.b, ready.points_b))[side]
    rows = np.hstack([points.hfe, points.vbe])
    kind = parts[0].type if parts else ""
    if len(parts) >= ENOUGH:
        return Supply(rows), f"spread of {len(parts)} parts of {kind}"
    drawn = population_points(kind, ready.usage, SEARCHED_TO) if population_points is not None and parts else None
    if drawn is None:
        what = f"{len(parts)} part(s) of {kind or 'this type'} tell no spread; {ENOUGH} do"
        raise UnusableInput([Problem("TOO_FEW", what, "bring more parts, or leave --yield out")])
    root = np.sqrt(np.concatenate([ready.usage.weight] * 2))
    # the type's spread about the lot at hand: the middle of its parts
    centred = (drawn - np.median(drawn, axis=0)) * root + np.median(rows, axis=0)
    return Supply(centred), f"within-lot spread of {kind} in the library, for {len(parts)} part(s) tell none"
