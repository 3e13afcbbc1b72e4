"""Records that count, laid out in arrays for the model of trust."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from partscreen.lots.likelihood import Bulk, Readings
from partscreen.lots.risk_by_type import numbered
from partscreen.lots.trust_model import Grids, Groups
from partscreen.lots.trust_records import FieldOutcome, LotRecord, key_of, readings_of, weights
from partscreen.results.base import Interval
from partscreen.results.trust import NotCounted

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

BULK_TOLD = 1.0
"""Ln likelihood ratio of a lot's bulk from which its readings say something of it (assumption: about 3 to 1)."""

USUAL_LOT = 5, 50  # a further lot is thought of as large as the median lot, within these


@dataclass(frozen=True, slots=True)
class Laid:
    """Records that count, in arrays. name: of each supplier; types: of each pair."""

    records: list[LotRecord]
    readings: Readings
    bulk: list[Bulk | None]
    weight: Floats
    groups: Groups
    names: list[str]
    types: list[str]


def undated(records: Sequence[LotRecord]) -> list[NotCounted]:
    n = sum(r.when is None for r in records)
    told = "1 lot without a date counts in full, whatever its age"
    if n > 1:
        told = f"{n} lots without a date count in full, whatever their age"
    return [NotCounted(why=told)] if n else []


def lay_out(
    records: Sequence[LotRecord], outcomes: Sequence[FieldOutcome], as_of: date | None, half_life_days: float
) -> Laid | None:
    if not records:
        return None
    keys, supplier = numbered([key_of(r.supplier) for r in records])
    first: dict[str, str] = {}
    for record in records:
        first.setdefault(key_of(record.supplier), " ".join(record.supplier.split()))
    type_names, of_type = numbered([r.type for r in records])
    codes, pair = np.unique(supplier * len(type_names) + of_type, return_inverse=True)
    groups = Groups(
        pair.astype(np.int64), codes // len(type_names), weights(records, as_of, half_life_days), len(keys)
    )  # fmt: skip
    return Laid(
        list(records),
        readings_of(records, outcomes),
        [r.bulk for r in records],
        groups.weight,
        groups,
        [first[key] for key in keys],
        [type_names[c] for c in (codes % len(type_names)).tolist()],
    )


def swapped(laid: Laid) -> Groups:
    """Types in the place of suppliers, so that what is risky from anybody is weighed by the same sum."""
    _, of_type = numbered([laid.types[p] for p in laid.groups.pair.tolist()])
    supplier = laid.groups.supplier[laid.groups.pair]
    codes, pair = np.unique(of_type * laid.groups.n_suppliers + supplier, return_inverse=True)
    return Groups(
        pair.astype(np.int64), codes // laid.groups.n_suppliers, laid.weight, int(of_type.max()) + 1
    )  # fmt: skip


def intervals(of: Grids, mass: Floats) -> list[Interval]:
    """Expected share and 95 % interval of each row of `mass` (n, n_means)."""
    low, high = of.means.ends(mass)
    rows = zip((mass @ of.means.middle).tolist(), low.tolist(), high.tolist(), strict=True)
    return [Interval(value=value, low=a, high=b) for value, a, b in rows]


def per_supplier(laid: Laid, values: npt.ArrayLike) -> Floats:
    """Sums by supplier of one value a lot."""
    sums = np.bincount(laid.groups.supplier[laid.groups.pair], np.asarray(values, float), laid.groups.n_suppliers)
    return np.asarray(sums, dtype=float)


def says_something(laid: Laid) -> npt.NDArray[np.bool_]:
    """Lots whose readings or outcomes say whether their parts are what they should be."""
    n = len(laid.records)
    spoken = np.bincount(laid.readings.lot, laid.readings.whole != 0, minlength=n) + laid.readings.certain
    met = laid.readings.field
    in_field = np.zeros(n) if met is None else np.bincount(laid.readings.lot, met != 0, minlength=n)
    told = np.array([b is None or abs(b.ratio) >= BULK_TOLD for b in laid.bulk])
    return np.asarray(((spoken > 0) & told) | (laid.readings.certain > 0) | (in_field > 0))


def main_pair(laid: Laid) -> Ints:
    """The pair of each supplier with most lots."""
    count = np.bincount(laid.groups.pair, minlength=laid.groups.supplier.size)
    order = np.lexsort((-count, laid.groups.supplier))
    first = np.flatnonzero(np.diff(laid.groups.supplier[order], prepend=-1))
    return order[first].astype(np.int64)


def usual_lot(laid: Laid) -> int:
    sizes = [r.n_read for r in laid.records if r.n_read]
    return int(np.clip(np.median(sizes) if sizes else USUAL_LOT[0], *USUAL_LOT))
