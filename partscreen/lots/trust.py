"""Which supplier to trust: lots weighed together, with shrinkage, recency and what parts did in service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from partscreen.lots.likelihood import Readings, ln_likelihood_of_lots
from partscreen.lots.risk_by_type import numbered, pair_posterior
from partscreen.lots.trust_changes import Changes, changes
from partscreen.lots.trust_fit import Fitted, fit_suppliers, next_lot_above, population_share, smaller
from partscreen.lots.trust_model import Assumptions, Grids, Groups, grids
from partscreen.lots.trust_records import (
    FieldOutcome,
    LotRecord,
    key_of,
    merged,
    readings_of,
    weights,
    with_field_only,
)
from partscreen.lots.trust_words import NOTICE, Known, advice_of, assumption_words, supplier_sentence, what_would_change
from partscreen.results.base import Interval
from partscreen.results.trust import NotCounted, PairOrder, SupplierTrust, Trust, TrustPoint, TypeRisk
from partscreen.screening.lot_view import TOLERABLE_SHARE

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HALF_LIFE_DAYS = 730.0
"""A lot counts half after two years (assumption: sellers change their sources, stock is turned over in about that)."""

ENOUGH_LOTS, ENOUGH_PARTS = 3.0, 10
"""Less than this, and not enough is known of a supplier to give it a place (assumption)."""

ALL_PAIRS = 12  # suppliers up to which every pair is told; of more only neighbours
HISTORY_DATES = 8
USUAL_LOT = 5, 50  # a further lot is thought of as large as the median lot, within these


@dataclass(frozen=True, slots=True)
class _Laid:
    """Records that count, in arrays. name: of each supplier; types: of each pair."""

    records: list[LotRecord]
    readings: Readings
    told: npt.NDArray[np.bool_]
    weight: Floats
    groups: Groups
    names: list[str]
    types: list[str]


def supplier_trust(
    records: Sequence[LotRecord],
    outcomes: Sequence[FieldOutcome] = (),
    *,
    version: str,
    as_of: date | None = None,
    half_life_days: float = HALF_LIFE_DAYS,
    tolerable: float = TOLERABLE_SHARE,
    history: bool = True,
    assumed: Assumptions = Assumptions(),  # noqa: B008 - frozen
) -> Trust:
    """What is known of every supplier, in the order of expected shares of unfit parts.

    Parameters
    ----------
    records : in the order of judging; a lot judged twice counts by the later judgement of each part
    outcomes : what became of parts in service
    version : of the program
    as_of : the day lots are aged to; None: the latest date of any record
    half_life_days : a lot counts half after so many days
    tolerable : share of unfit parts a lot may be used at
    history : also what was known at earlier dates

    Raises
    ------
    ValueError
        The half-life is not above 0, or `tolerable` is not a share.
    """
    if not 0 < tolerable < 1:
        raise ValueError(f"tolerable share is {tolerable}; between 0 and 1 is expected (one in ten is 0.1)")
    named, left_out = _named(records)
    every = with_field_only(merged(named), outcomes)
    dates = [r.when for r in every if r.when is not None]
    today = as_of or (max(dates) if dates else None)
    weights(every, today, half_life_days)  # refuses a half-life that cannot be
    laid = _lay_out(every, outcomes, today, half_life_days)
    if laid is None:
        return Trust(
            version=version, notice=NOTICE, as_of=today, half_life_days=half_life_days, tolerable_share=tolerable,
            population=Interval(), assumptions=assumption_words(assumed, half_life_days, tolerable),
            not_counted=left_out,
        )  # fmt: skip
    of = grids(assumed)
    ln = ln_likelihood_of_lots(laid.readings, of.shares.middle, laid.told)
    fit = fit_suppliers(of, ln, laid.groups)
    by_type = fit_suppliers(of, ln, _swapped(laid))
    past = _history(every, outcomes, of, half_life_days, today) if history else {}
    told = _suppliers(laid, fit, outcomes, tolerable, past)
    value, low, high = population_share(fit)
    return Trust(
        version=version,
        notice=NOTICE,
        as_of=today,
        half_life_days=half_life_days,
        tolerable_share=tolerable,
        population=Interval(value=value, low=low, high=high),
        suppliers=told,
        order=_order(told, laid, fit),
        types=_types(laid, by_type, tolerable),
        assumptions=assumption_words(assumed, half_life_days, tolerable),
        not_counted=[*left_out, *_undated(every)],
    )


def _named(records: Sequence[LotRecord]) -> tuple[list[LotRecord], list[NotCounted]]:
    named = [r for r in records if r.supplier.strip()]
    out = [NotCounted(lot=r.lot, why="no supplier is stated") for r in records if not r.supplier.strip()]
    return named, out


def _undated(records: Sequence[LotRecord]) -> list[NotCounted]:
    n = sum(r.when is None for r in records)
    return [NotCounted(why=f"{n} lot(s) have no date; they count in full, whatever their age")] if n else []


def _lay_out(
    records: Sequence[LotRecord], outcomes: Sequence[FieldOutcome], as_of: date | None, half_life_days: float
) -> _Laid | None:
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
    return _Laid(
        list(records),
        readings_of(records, outcomes),
        np.array([r.bulk_told for r in records]),
        groups.weight,
        groups,
        [first[key] for key in keys],
        [type_names[c] for c in (codes % len(type_names)).tolist()],
    )


def _swapped(laid: _Laid) -> Groups:
    """Types in the place of suppliers, so that what is risky from anybody is weighed by the same sum."""
    _, of_type = numbered([laid.types[p] for p in laid.groups.pair.tolist()])
    supplier = laid.groups.supplier[laid.groups.pair]
    codes, pair = np.unique(of_type * laid.groups.n_suppliers + supplier, return_inverse=True)
    return Groups(
        pair.astype(np.int64), codes // laid.groups.n_suppliers, laid.weight, int(of_type.max()) + 1
    )  # fmt: skip


def _interval(of: Grids, mass: Floats) -> Interval:
    low, high = of.means.ends(mass)
    return Interval(value=float(mass @ of.means.middle), low=float(low), high=float(high))


def _per_supplier(laid: _Laid, values: npt.ArrayLike) -> Floats:
    return np.bincount(
        laid.groups.supplier[laid.groups.pair], np.asarray(values, float), minlength=laid.groups.n_suppliers
    )


def _says_something(laid: _Laid) -> npt.NDArray[np.bool_]:
    """Lots whose readings or outcomes say whether their parts are what they should be."""
    n = len(laid.records)
    spoken = np.bincount(laid.readings.lot, laid.readings.whole != 0, minlength=n) + laid.readings.certain
    met = laid.readings.field
    in_field = np.zeros(n) if met is None else np.bincount(laid.readings.lot, met != 0, minlength=n)
    return np.asarray(((spoken > 0) & laid.told) | (laid.readings.certain > 0) | (in_field > 0))


def _suppliers(
    laid: _Laid, fit: Fitted, outcomes: Sequence[FieldOutcome], tolerable: float, past: dict[str, list[TrustPoint]]
) -> list[SupplierTrust]:
    n = laid.groups.n_suppliers
    lots = _per_supplier(laid, np.ones(len(laid.records)))
    parts = _per_supplier(laid, [r.n_read for r in laid.records])
    effective = _per_supplier(laid, laid.weight * _says_something(laid))
    expected = fit.expected
    enough = (effective >= ENOUGH_LOTS) & (parts >= ENOUGH_PARTS)
    rank = np.lexsort((np.arange(n), expected, ~enough))
    n_placed = int(enough.sum())
    before = np.full(n, np.nan)
    before[rank[1:n_placed]] = expected[rank[: max(n_placed - 1, 0)]] if n_placed else np.nan
    found = changes(fit, _main_pair(laid), before, tolerable, _usual_lot(laid))
    next_above = next_lot_above(fit, tolerable)
    ahead = smaller(fit, rank[:-1], rank[1:]) if n > 1 else np.zeros(0)
    types = _types_of_suppliers(laid, fit, tolerable)
    met: dict[str, int] = {}
    for o in outcomes:
        met[key_of(o.supplier)] = met.get(key_of(o.supplier), 0) + 1
    certain = _per_supplier(laid, laid.readings.certain)
    out = []
    for at, j in enumerate(rank.tolist()):
        share = _interval(fit.of, fit.posterior[j])
        known = Known(
            laid.names[j], int(lots[j]), int(parts[j]), float(effective[j]), bool(enough[j]), share, tolerable
        )  # fmt: skip
        placed = at < n_placed
        out.append(
            SupplierTrust(
                supplier=laid.names[j],
                place=at + 1 if placed else None,
                lots=known.lots,
                parts=known.parts,
                parts_certain=int(certain[j]),
                outcomes=met.get(key_of(laid.names[j]), 0),
                lots_effective=known.effective,
                share_unfit=share,
                next_lot_above=float(next_above[j]),
                before_next=float(ahead[at]) if at < n_placed - 1 else None,
                advice=advice_of(known),
                sentence=supplier_sentence(known),
                what_would_change_it=_changes_of(laid, rank, at, n_placed, found, expected, known),
                types=types[j],
                history=past.get(key_of(laid.names[j]), []),
            )
        )
    return out


def _changes_of(
    laid: _Laid, rank: Ints, at: int, n_placed: int, found: Changes, expected: Floats, known: Known
) -> list[str]:
    j = int(rank[at])
    ahead = laid.names[int(rank[at - 1])] if 0 < at < n_placed else None
    after = float(found.after_bad[j])
    others = np.delete(expected[rank[:n_placed]], at) if at < n_placed else expected[rank[:n_placed]]
    new_place = int((others < after).sum()) + 1
    return what_would_change(
        known,
        place=at + 1 if at < n_placed else None,
        ahead=ahead,
        to_overtake=int(found.to_overtake[j]),
        to_settle=int(found.to_settle[j]),
        after_bad=after,
        new_place=new_place,
        lot_size=found.lot_size,
    )


def _main_pair(laid: _Laid) -> Ints:
    """The pair of each supplier with most lots."""
    count = np.bincount(laid.groups.pair, minlength=laid.groups.supplier.size)
    order = np.lexsort((-count, laid.groups.supplier))
    first = np.flatnonzero(np.diff(laid.groups.supplier[order], prepend=-1))
    return order[first].astype(np.int64)


def _usual_lot(laid: _Laid) -> int:
    sizes = [r.n_read for r in laid.records if r.n_read]
    return int(np.clip(np.median(sizes) if sizes else USUAL_LOT[0], *USUAL_LOT))


def _types_of_suppliers(laid: _Laid, fit: Fitted, tolerable: float) -> list[list[TypeRisk]]:
    """Types of each supplier, the riskiest first."""
    mass = pair_posterior(fit)
    above = fit.of.means.chance_above(mass, tolerable)
    n_pairs = laid.groups.supplier.size
    lots = np.bincount(laid.groups.pair, minlength=n_pairs)
    parts = np.bincount(laid.groups.pair, [r.n_read for r in laid.records], minlength=n_pairs)
    out: list[list[TypeRisk]] = [[] for _ in laid.names]
    for p, j in enumerate(laid.groups.supplier.tolist()):
        risk = TypeRisk(
            type=laid.types[p] or "not stated",
            lots=int(lots[p]),
            parts=int(parts[p]),
            share_unfit=_interval(fit.of, mass[p]),
            above_tolerable=float(above[p]),
        )
        out[j].append(risk)
    return [sorted(found, key=lambda r: -(r.share_unfit.value or 0.0)) for found in out]


def _types(laid: _Laid, fit: Fitted, tolerable: float) -> list[TypeRisk]:
    """Types over all suppliers, the riskiest first."""
    names, of_type = numbered([laid.types[p] for p in laid.groups.pair.tolist()])
    lots = np.bincount(of_type, minlength=len(names))
    parts = np.bincount(of_type, [r.n_read for r in laid.records], minlength=len(names))
    found = [
        TypeRisk(
            type=name or "not stated",
            lots=int(lots[i]),
            parts=int(parts[i]),
            share_unfit=_interval(fit.of, fit.posterior[i]),
            above_tolerable=float(fit.of.means.chance_above(fit.posterior[i], tolerable)),
        )
        for i, name in enumerate(names)
    ]
    return sorted(found, key=lambda r: -(r.share_unfit.value or 0.0))


def _order(told: list[SupplierTrust], laid: _Laid, fit: Fitted) -> list[PairOrder]:
    """Every pair of placed suppliers where they are few, else neighbours."""
    place = {name: j for j, name in enumerate(laid.names)}
    placed = [t.supplier for t in told if t.place is not None]
    if len(placed) < 2:
        return []
    if len(placed) <= ALL_PAIRS:
        pairs = [(a, b) for i, a in enumerate(placed) for b in placed[i + 1 :]]
    else:
        pairs = list(zip(placed[:-1], placed[1:], strict=True))
    chance = smaller(fit, np.array([place[a] for a, _ in pairs]), np.array([place[b] for _, b in pairs]))
    return [PairOrder(first=a, second=b, probability=float(p)) for (a, b), p in zip(pairs, chance, strict=True)]


def _history(
    records: Sequence[LotRecord],
    outcomes: Sequence[FieldOutcome],
    of: Grids,
    half_life_days: float,
    today: date | None,
) -> dict[str, list[TrustPoint]]:
    """What was known of each supplier at up to `HISTORY_DATES` dates, by its key."""
    dates = sorted({r.when for r in records if r.when is not None and (today is None or r.when <= today)})
    if len(dates) > HISTORY_DATES:
        dates = [dates[i] for i in np.linspace(0, len(dates) - 1, HISTORY_DATES).round().astype(int)]
    out: dict[str, list[TrustPoint]] = {}
    for day in dates:
        then = [r for r in records if r.when is not None and r.when <= day]
        met = [o for o in outcomes if o.when is not None and o.when <= day]
        laid = _lay_out(then, met, day, half_life_days)
        if laid is None:
            continue
        fit = fit_suppliers(of, ln_likelihood_of_lots(laid.readings, of.shares.middle, laid.told), laid.groups)
        lots = _per_supplier(laid, np.ones(len(then)))
        for j, name in enumerate(laid.names):
            point = TrustPoint(date=day, lots=int(lots[j]), share_unfit=_interval(of, fit.posterior[j]))
            out.setdefault(key_of(name), []).append(point)
    return out
