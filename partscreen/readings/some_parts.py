"""Some of the parts of a batch, numbered anew."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from partscreen.readings.tables import Batch, Bools


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
