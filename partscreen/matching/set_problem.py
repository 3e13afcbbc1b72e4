"""Sets of parts with a cost that adds up over the pairs of a set: groups of one polarity and channel sets."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Reals = npt.NDArray[np.floating[Any]]
Ints = npt.NDArray[np.int64]

# NPN to PNP is matched loosely: within about 50 % where one polarity is matched within 10 % (forum practice), so a
# difference across counts a fifth of one within a rail.
LOOSE = 0.2
PRECISE = 2_000_000
"""Possible sets up to which costs are held in double precision (16 MB)."""


@dataclass(frozen=True)
class SetProblem:
    """`n_sets` sets of `k` of the first `n_a` items and, where there are `n_b` more, `k` of those.

    weight : array, shape (n_a + n_b, n_a + n_b), symmetric, not negative: cost of two items being in one set.
    line : array, shape (n_a + n_b,): one number of each item by which first groups are made.
    """

    weight: Floats
    line: Floats
    n_a: int
    n_b: int
    k: int
    n_sets: int

    @property
    def n(self) -> int:
        """Number of items."""
        return self.n_a + self.n_b

    @property
    def size(self) -> int:
        """Items of a set."""
        return self.k * (2 if self.n_b else 1)

    def spare(self, item: int) -> bool:
        """Whether items of this one's kind are left over."""
        return (self.n_a if item < self.n_a else self.n_b) > self.k * self.n_sets

    @property
    def n_columns(self) -> int:
        """Number of possible sets."""
        return math.comb(self.n_a, self.k) * (math.comb(self.n_b, self.k) if self.n_b else 1)

    def costs(self, sets: Ints) -> Floats:
        """Cost of each set; `sets` has shape (m, size)."""
        pairs = list(combinations(range(self.size), 2))
        return np.asarray(sum(self.weight[sets[:, i], sets[:, j]] for i, j in pairs), dtype=float)

    def total(self, sets: Ints) -> float:
        """Sum of the costs, not depending on the order of the sets."""
        return math.fsum(self.costs(np.sort(sets, axis=1)).tolist())

    @cached_property
    def halves(self) -> tuple[Ints, Ints]:
        """All choices of k of the first items, shape (r, k), and of the others, shape (c, k) or (1, 0)."""
        a = _choices(self.n_a, self.k)
        return a, (_choices(self.n_b, self.k) + self.n_a if self.n_b else np.zeros((1, 0), dtype=np.int64))

    @property
    def rounding(self) -> float:
        """How far a cost in `column_costs`, and what is reckoned from it, may be off (costs of a few units)."""
        return 1e-10 if self.n_columns <= PRECISE else 2e-5

    @cached_property
    def column_costs(self) -> Reals:
        """Cost of every possible set, shape (r, c); many sets in single precision to spare memory."""
        kind = np.float64 if self.n_columns <= PRECISE else np.float32
        a, b = self.halves
        own_a, own_b = (_pair_sum(self.weight, half) for half in (a, b))
        out: Reals = np.empty((a.shape[0], b.shape[0]), dtype=kind)
        to_b = self.weight[a].sum(axis=1).astype(kind)  # (r, n): from a choice to every item
        for begin in range(0, a.shape[0], 512):
            rows = slice(begin, begin + 512)
            out[rows] = own_a[rows, None] + own_b
            for member in range(b.shape[1]):
                out[rows] += to_b[rows][:, b[:, member]]
        return out


def _choices(n: int, k: int) -> Ints:
    return np.array(list(combinations(range(n), k)), dtype=np.int64).reshape(-1, k)


def _pair_sum(weight: Floats, half: Ints) -> Floats:
    total = np.zeros(half.shape[0])
    for i, j in combinations(range(half.shape[1]), 2):
        total += weight[half[:, i], half[:, j]]
    return total


def group_problem(distance: Floats, line: Floats, k: int, n_sets: int | None = None) -> SetProblem:
    """Groups of `k`: the cost of a group is the mean distance of its pairs.

    Raises
    ------
    ValueError
        Too few parts.
    """
    n = distance.shape[0]
    sets = _count(n, k, n_sets, "")
    return SetProblem(distance / math.comb(k, 2), line, n, 0, k, sets)


def rail_problem(
    npn: Floats, pnp: Floats, across: Floats, lines: tuple[Floats, Floats], k: int, n_sets: int | None = None
) -> SetProblem:
    """Channel sets of `k` NPN and `k` PNP: mean distance of the pairs of a rail, both rails added, and `LOOSE` times
    the mean distance from NPN to PNP.

    Parameters
    ----------
    npn, pnp : distances within a polarity, (n, n) and (m, m); across : (n, m)
    lines : one number of each part

    Raises
    ------
    ValueError
        Too few parts.
    """
    n, m = across.shape
    sets = min(_count(n, k, n_sets, "NPN "), _count(m, k, n_sets, "PNP "))
    weight = np.zeros((n + m, n + m))
    if k > 1:
        weight[:n, :n], weight[n:, n:] = npn / math.comb(k, 2), pnp / math.comb(k, 2)
    weight[:n, n:] = LOOSE * across / k**2
    weight[n:, :n] = weight[:n, n:].T
    return SetProblem(weight, np.concatenate(lines), n, m, k, sets)


def _count(n: int, k: int, wanted: int | None, kind: str) -> int:
    if k < 1 or (wanted is not None and wanted < 1):
        raise ValueError(f"{wanted} sets of {k}; numbers above 0 are expected")
    sets = n // k if wanted is None else wanted
    if sets < 1 or sets * k > n:
        raise ValueError(f"{max(sets, 1)} set(s) of {k} need {max(sets, 1) * k} {kind}parts; there are {n}")
    return sets
