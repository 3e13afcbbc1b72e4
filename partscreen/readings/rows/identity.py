"""Whose reading is it: one part read twice under one id, one id in two lots, repeats that are meant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from partscreen.readings.tables import Bools, Floats, Ints, Sweep

_SAME = 0.005  # set points closer than this count as the same one (assumption: finer than any step of a sweep)
_SHARE = 0.2  # share of repeated set points above which two blocks are two readings of one curve (assumption)


@dataclass(frozen=True, slots=True)
class Repeats:
    """`repeat`: number of the repeat a row belongs to, within its part, sweep and session.

    `duplicates`: part and the row where its second block starts.
    """

    repeat: Ints
    duplicates: dict[int, int]


def find_repeats(
    part: Ints,
    session: Ints,
    sweep: Ints,
    run_label: Ints,
    marked: Bools,
    row: Ints,
    setpoints: tuple[Floats, Floats, Floats],
) -> Repeats:
    """Blocks of rows of one part that stand apart in a file, in the order of the file.

    `marked`: rows of the control piece, or with a time, so that a second block is a meant repeat. `run_label`: number
    of the run column, -1 where the file has none. `setpoints`: ic, ib, vce.
    """
    n = len(part)
    if n == 0:
        return Repeats(np.zeros(0, dtype=np.int64), {})
    owner = part * (int(session.max()) + 1) + session
    block = np.concatenate(([0], np.cumsum(owner[1:] != owner[:-1])))
    key = _combine(owner, sweep, run_label)
    order = np.lexsort((np.arange(n), key))
    k, b = key[order], block[order]
    starts = np.ones(n, dtype=np.bool_)
    starts[1:] = (k[1:] != k[:-1]) | (b[1:] != b[:-1])
    first = np.ones(n, dtype=np.bool_)
    first[1:] = k[1:] != k[:-1]
    ordinal = np.cumsum(starts) - 1
    ordinal -= np.maximum.accumulate(np.where(first, ordinal, 0))
    repeat = np.empty(n, dtype=np.int64)
    repeat[order] = ordinal
    if not repeat.any():
        return Repeats(repeat, {})
    again = np.isin(key, key[(repeat > 0) & ~marked & (run_label < 0)])
    shared = _shared_setpoints(key, block, setpoints, again)
    twice = np.isin(key, list(shared)) & ~marked
    duplicates: dict[int, int] = {}
    for place in np.flatnonzero(twice & (repeat == 1)):
        duplicates.setdefault(int(part[place]), int(row[place]))
    # Blocks without a common set point are one sweep whose rows were sorted by current or voltage, not by part.
    repeat[again & ~twice & ~marked] = 0
    return Repeats(repeat, duplicates)


def _combine(*codes: Ints) -> Ints:
    key = np.zeros(len(codes[0]), dtype=np.int64)
    for code in codes:
        low = int(code.min())
        key = key * (int(code.max()) - low + 1) + (code - low)
    return key


def _shared_setpoints(key: Ints, block: Ints, setpoints: tuple[Floats, Floats, Floats], mask: Bools) -> set[int]:
    """Keys whose blocks hold the same set points."""
    places = np.flatnonzero(mask)
    shared: dict[int, int] = {}
    ic, ib, vce = (np.nan_to_num(values, nan=-1.0) for values in setpoints)
    for current in (ic, ib):
        order = places[np.lexsort((current[places], np.round(vce[places], 1), key[places]))]
        a, b = order[:-1], order[1:]
        same = (key[a] == key[b]) & (block[a] != block[b])
        same &= np.abs(current[a] - current[b]) <= _SAME * np.abs(current[b])
        same &= np.abs(vce[a] - vce[b]) <= 0.02 + 0.01 * np.abs(vce[b])
        if current is ib:
            same &= current[b] > 0
        for found, count in zip(*np.unique(key[a[same]], return_counts=True), strict=True):
            shared[int(found)] = max(shared.get(int(found), 0), int(count))
    sizes = dict(zip(*(array.tolist() for array in np.unique(key[places], return_counts=True)), strict=True))
    return {found for found, count in shared.items() if count >= _SHARE * sizes[found]}


def find_restarts(part: Ints, session: Ints, sweep: Ints, repeat: Ints, values: dict[str, Floats]) -> Ints:
    """A number that changes where a sweep of a part begins anew at another bias; equal within one trace.

    A Gummel sweep begins anew where VBE leaps by more than 0.15 V; a gain or saturation sweep where the collector
    current falls back below half and the bias (VCE; forced gain) is another by 20 % (assumptions: wider than any step
    of a sweep, narrower than the way back to its start).
    """
    n = len(part)
    out = np.zeros(n, dtype=np.int64)
    if n < 2:
        return out
    order = np.lexsort((np.arange(n), _combine(part, session, sweep, repeat)))
    key = _combine(part, session, sweep, repeat)[order]
    ic, ib, vce, vbe = (values[name][order] for name in ("ic", "ib", "vce", "vbe"))
    kind = sweep[order][1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        fell = ic[1:] < 0.5 * ic[:-1]
        other_vce = np.abs(vce[1:] - vce[:-1]) > 0.2 * np.maximum(vce[1:], vce[:-1])
        other_gain = np.abs(np.log((ic[1:] / ib[1:]) / (ic[:-1] / ib[:-1]))) > 0.18
        leap = np.abs(np.diff(vbe)) > 0.15
    new = (kind == int(Sweep.GUMMEL)) & leap
    new |= (kind == int(Sweep.GAIN)) & fell & other_vce
    new |= (kind == int(Sweep.SATURATION)) & fell & other_gain
    new &= key[1:] == key[:-1]
    # Step between repeats by more than any of them has traces, so that repeat + trace stays one number for one trace.
    out[order] = np.concatenate(([0], np.cumsum(new)))
    return out * (int(repeat.max()) + 1)


def numbered_per_bag(lots: Sequence[set[str]]) -> bool:
    """Whether bare numbers that occur in several lots are plainly each bag's own 1, 2, 3, ...

    True when any two lots that share ids share three or more and at least half of the smaller lot (assumption: a slip
    of the pen does not do that).
    """
    for i, one in enumerate(lots):
        for other in lots[i + 1 :]:
            common = len(one & other)
            if common and (common < 3 or 2 * common < min(len(one), len(other))):
                return False
    return True
