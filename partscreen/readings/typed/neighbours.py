"""Figures that fit the part next to theirs better: a line continued one part too early, one figure of two exchanged.

Readings of one part hang together: its gains at several currents rise and fall as one, so do its base voltages and its
capacitances (one die area). Where exchanging the same figures of two neighbours makes both parts hang together much
better than the others of the lot, that is told as a remark. Two whole lines exchanged leave nothing to see.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from partscreen.readings.tables import Floats

LEAST_PARTS = 6  # fewer do not show how closely readings of one part hang together (assumption)
CLEARER = 30.0
"""Squared standard deviations that an exchange must take away (assumption; of 3040 pairs of simulated sound neighbours
none was remarked on)."""
BAD_BEFORE = 9.0  # each part alone must hang together worse than three standard deviations before
GOOD_AFTER = 6.0  # ... and about as well as the others after (a chi-square of 1 degree of freedom passes this 1 in 70)
_GROUPS = {"hfe": "gain", "vbe": "vbe", "vbe_sat": "vbe", "c_be": "area", "c_cb": "area"}


class HasQuantity(Protocol):
    """A column of readings: which quantity stands in it."""

    @property
    def quantity(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Exchange:
    """Neighbouring rows whose figures in these columns fit each other better."""

    first: int
    second: int
    columns: tuple[int, ...]
    gain: float


def exchanged_neighbours(values: Floats, columns: Sequence[HasQuantity], newest: int | None = None) -> list[Exchange]:
    """Pairs of neighbouring rows with figures exchanged between them.

    Parameters
    ----------
    values : (n_parts, n_columns), SI, in the order of typing; NaN where nothing was read
    newest : look only at pairs with this row; None: at all

    Returns
    -------
    list of Exchange
        The best for each pair.
    """
    n, k = values.shape
    groups = _groups(columns)
    if n < LEAST_PARTS or not groups:
        return []
    logs = _deviations(values, columns)
    spread = _spread(logs, groups)
    pairs = [(i, i + 1) for i in range(n - 1) if newest is None or newest in (i, i + 1)]
    out = []
    for first, second in pairs:
        best: Exchange | None = None
        before = _misfit(logs[[first, second]], groups, spread)
        if not (before > BAD_BEFORE).all():
            continue
        for chosen in _choices(k, groups, logs[[first, second]]):
            swapped = logs[[first, second]].copy()
            swapped[:, chosen] = swapped[::-1, chosen]
            after = _misfit(swapped, groups, spread)
            gain = float(before.sum() - after.sum())
            if (after < GOOD_AFTER).all() and gain > CLEARER and (best is None or gain > best.gain):
                best = Exchange(first, second, tuple(chosen), gain)
        if best is not None:
            out.append(best)
    return out


def _groups(columns: Sequence[HasQuantity]) -> list[list[int]]:
    """Places of the columns that hang together, groups of two or more."""
    found: dict[str, list[int]] = {}
    for i, one in enumerate(columns):
        name = _GROUPS.get(one.quantity)
        if name is not None:
            found.setdefault(name, []).append(i)
    return [group for group in found.values() if len(group) >= 2]


def _deviations(values: Floats, columns: Sequence[HasQuantity]) -> Floats:
    """ln of the readings, volts for base voltages, about the median of each column."""
    with np.errstate(invalid="ignore", divide="ignore"):
        logs = np.log(np.where(values > 0.0, values, np.nan))
    for i, one in enumerate(columns):
        if _GROUPS.get(one.quantity) == "vbe":
            logs[:, i] = values[:, i]
    middle = np.array([np.median(c[np.isfinite(c)]) if np.isfinite(c).any() else np.nan for c in logs.T])
    return np.asarray(logs - middle)


def _own(logs: Floats, group: Sequence[int]) -> Floats:
    """Readings of a group about the part's own mean, (n, len(group)); NaN where fewer than two were read."""
    mine = logs[:, list(group)]
    there = np.isfinite(mine)
    count = there.sum(axis=1, keepdims=True)
    mean = np.where(there, mine, 0.0).sum(axis=1, keepdims=True) / np.maximum(count, 1)
    return np.asarray(np.where(count >= 2, mine - mean, np.nan))


def _spread(logs: Floats, groups: Sequence[Sequence[int]]) -> list[float]:
    """Robust standard deviation of a reading about its part's own mean, one a group; 0.2 % or 0.5 mV at least."""
    out = []
    for group in groups:
        own = _own(logs, group)
        read = own[np.isfinite(own)]
        size = len(group)
        scale = 1.4826 * float(np.median(np.abs(read))) * np.sqrt(size / (size - 1.0)) if read.size else np.inf
        out.append(max(scale, 5e-4))
    return out


def _misfit(rows: Floats, groups: Sequence[Sequence[int]], spread: Sequence[float]) -> Floats:
    """How badly each row hangs together: the largest of its groups' mean squares, in standard deviations squared."""
    worst = np.zeros(rows.shape[0])
    for group, scale in zip(groups, spread, strict=True):
        own = _own(rows, group)
        there = np.isfinite(own)
        free = np.maximum(there.sum(axis=1) - 1, 1)
        worst = np.maximum(worst, (np.where(there, own, 0.0) ** 2).sum(axis=1) / scale**2 / free)
    return worst


def _choices(k: int, groups: Sequence[Sequence[int]], rows: Floats) -> list[list[int]]:
    """Figures that may have changed places: each alone, or all from one on. Only those that both parts have."""
    both: list[bool] = np.asarray(np.isfinite(rows).all(axis=0)).tolist()
    grouped = {i for group in groups for i in group}
    alone = [[i] for i in grouped if both[i]]
    onwards = [[i for i in range(start, k) if both[i]] for start in range(1, k)]
    return [*alone, *(choice for choice in onwards if len(choice) > 1 and grouped & set(choice))]
