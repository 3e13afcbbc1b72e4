"""Some of the parts of a batch, numbered anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np

from partscreen.readings.tables import Batch, Bools, Ints


def take_parts(batch: Batch, keep: Bools) -> Batch:
    """The batch without the parts whose `keep` (n_parts,) is False; their rows go with them.

    A lot that had parts and has none left goes too; one that never had any stays.
    """
    points, spots = batch.points, batch.spots
    n_lots = len(batch.lots)
    had, has = (np.bincount(batch.part_lot[which], minlength=n_lots) > 0 for which in (np.ones_like(keep), keep))
    kept_lots = ~had | has
    number, lot_number = np.cumsum(keep) - 1, np.cumsum(kept_lots) - 1
    point_rows, spot_rows = keep[points.part], keep[spots.part]
    picked = {f.name: v[point_rows] for f in fields(points) if (v := getattr(points, f.name)) is not None}
    conditions = tuple(c for c, kept in zip(spots.conditions, spot_rows, strict=True) if kept)
    chosen = {f.name: getattr(spots, f.name)[spot_rows] for f in fields(spots) if f.name != "conditions"}
    return replace(
        batch,
        part_names=tuple(name for name, kept in zip(batch.part_names, keep, strict=True) if kept),
        part_lot=lot_number[batch.part_lot[keep]],
        lots=tuple(lot for lot, kept in zip(batch.lots, kept_lots, strict=True) if kept),
        points=replace(points, **picked | {"part": number[picked["part"]]}),
        spots=replace(spots, conditions=conditions, **chosen | {"part": number[chosen["part"]]}),
        quality={int(number[part]): notes for part, notes in batch.quality.items() if keep[part]},
        condition={int(number[part]): found for part, found in batch.condition.items() if keep[part]},
        date_codes={int(number[part]): code for part, code in batch.date_codes.items() if keep[part]},
        part_sign=None if batch.part_sign is None else batch.part_sign[keep],
    )


class Bundles:
    """Cuts a large batch into batches of some of its lots; each cut costs what it holds, not what the batch holds."""

    def __init__(self, batch: Batch) -> None:
        self.batch = batch
        self._parts = _places(batch.part_lot, len(batch.lots))
        self._points = _places(batch.points.part, batch.n_parts)
        self._spots = _places(batch.spots.part, batch.n_parts)

    def parts_of(self, lots: Sequence[int]) -> Ints:
        """Numbers of the parts of some lots, ascending."""
        return np.sort(_pick(self._parts, np.asarray(lots, dtype=np.int64)))

    def take(self, lots: Sequence[int], parts: Ints | None = None) -> tuple[Batch, Ints]:
        """A batch of these lots (numbers), in this order, and the numbers its parts had.

        `parts`: only these of their parts, ascending. Sessions and files keep their numbers; what was told of files
        and notices stays with the whole.
        """
        batch = self.batch
        mine = self.parts_of(lots) if parts is None else parts
        number = np.full(len(batch.lots), -1, dtype=np.int64)
        number[np.asarray(lots, dtype=np.int64)] = np.arange(len(lots))
        rows, spots = np.sort(_pick(self._points, mine)), np.sort(_pick(self._spots, mine))
        points = {f.name: v[rows] for f in fields(batch.points) if (v := getattr(batch.points, f.name)) is not None}
        read = {f.name: getattr(batch.spots, f.name)[spots] for f in fields(batch.spots) if f.name != "conditions"}
        points["part"], read["part"] = np.searchsorted(mine, points["part"]), np.searchsorted(mine, read["part"])
        old = mine.tolist()
        taken = replace(
            batch,
            part_names=tuple(batch.part_names[p] for p in old),
            part_lot=number[batch.part_lot[mine]],
            lots=tuple(batch.lots[i] for i in lots),
            points=replace(batch.points, **points),
            spots=replace(batch.spots, conditions=tuple(batch.spots.conditions[i] for i in spots.tolist()), **read),
            problems=(),
            notices=(),
            not_judged=(),
            quality={i: batch.quality[p] for i, p in enumerate(old) if p in batch.quality},
            condition={i: batch.condition[p] for i, p in enumerate(old) if p in batch.condition},
            date_codes={i: batch.date_codes[p] for i, p in enumerate(old) if p in batch.date_codes},
            part_sign=None if batch.part_sign is None else batch.part_sign[mine],
        )
        return taken, mine


def _places(code: Ints, n: int) -> tuple[Ints, Ints]:
    """Places of each code in order, and where each code begins among them (n + 1,)."""
    order = np.argsort(code, kind="stable")
    return order, np.searchsorted(code[order], np.arange(n + 1))


def _pick(places: tuple[Ints, Ints], codes: Ints) -> Ints:
    order, edges = places
    if not codes.size:
        return np.zeros(0, dtype=np.int64)
    return np.concatenate([order[edges[c] : edges[c + 1]] for c in codes.tolist()])
