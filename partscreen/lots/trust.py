"""Which supplier to trust: lots weighed together, with shrinkage, recency and what parts did in service."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import numpy.typing as npt

from partscreen.lots.likelihood import ln_likelihood_of_lots
from partscreen.lots.trust_changes import Changes, changes
from partscreen.lots.trust_fit import Fitted, fit_suppliers, next_lot_above, population_share, smaller
from partscreen.lots.trust_laid import (
    Laid,
    intervals,
    lay_out,
    main_pair,
    per_supplier,
    says_something,
    swapped,
    undated,
    usual_lot,
)
from partscreen.lots.trust_model import Assumptions, grids
from partscreen.lots.trust_records import (
    FieldOutcome,
    LotRecord,
    key_of,
    merged,
    weights,
    with_field_only,
)
from partscreen.lots.trust_tables import history_of, order_of, types_of_all, types_of_suppliers
from partscreen.lots.trust_words import (
    NOTICE,
    SURE,
    Known,
    advice_of,
    assumption_words,
    supplier_sentence,
    what_would_change,
)
from partscreen.results.base import Interval
from partscreen.results.trust import NotCounted, SupplierTrust, Trust, TrustPoint
from partscreen.screening.lot.view import TOLERABLE_SHARE

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HALF_LIFE_DAYS = 730.0
"""A lot counts half after two years (assumption: sellers change their sources, stock is turned over in about that)."""

HISTORY_SUPPLIERS = 50  # of more suppliers earlier dates are weighed only where asked for: each takes as long as today

ENOUGH_LOTS, ENOUGH_PARTS = 3.0, 10
"""Less than this, and not enough is known of a supplier to give it a place (assumption)."""


def supplier_trust(
    records: Sequence[LotRecord],
    outcomes: Sequence[FieldOutcome] = (),
    *,
    version: str,
    as_of: date | None = None,
    half_life_days: float = HALF_LIFE_DAYS,
    tolerable: float = TOLERABLE_SHARE,
    history: bool | None = None,
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
    history : also what was known at earlier dates; None: where there are at most `HISTORY_SUPPLIERS`

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
    laid = lay_out(every, outcomes, today, half_life_days)
    if laid is None:
        return Trust(
            version=version, notice=NOTICE, as_of=today, half_life_days=half_life_days, tolerable_share=tolerable,
            population=Interval(), assumptions=assumption_words(assumed, half_life_days, tolerable),
            not_counted=left_out,
        )  # fmt: skip
    of = grids(assumed)
    ln = ln_likelihood_of_lots(laid.readings, of.shares.middle, laid.bulk)
    fit = fit_suppliers(of, ln, laid.groups)
    by_type = fit_suppliers(of, ln, swapped(laid))
    wanted = len(laid.names) <= HISTORY_SUPPLIERS if history is None else history
    past = history_of(every, outcomes, of, half_life_days, today) if wanted else {}
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
        order=order_of(told, laid, fit),
        types=types_of_all(laid, by_type, tolerable),
        assumptions=assumption_words(assumed, half_life_days, tolerable),
        not_counted=[*left_out, *undated(every)],
    )


def _named(records: Sequence[LotRecord]) -> tuple[list[LotRecord], list[NotCounted]]:
    named = [r for r in records if r.supplier.strip()]
    out = [NotCounted(lot=r.lot, why="no supplier is stated") for r in records if not r.supplier.strip()]
    return named, out


def _suppliers(
    laid: Laid, fit: Fitted, outcomes: Sequence[FieldOutcome], tolerable: float, past: dict[str, list[TrustPoint]]
) -> list[SupplierTrust]:
    n = laid.groups.n_suppliers
    lots = per_supplier(laid, np.ones(len(laid.records)))
    parts = per_supplier(laid, [r.n_read for r in laid.records])
    effective = per_supplier(laid, laid.weight * says_something(laid))
    expected, above = fit.expected, fit.of.means.chance_above(fit.posterior, tolerable)
    enough = (effective >= ENOUGH_LOTS) & (parts >= ENOUGH_PARTS)
    rank = np.lexsort((np.arange(n), expected, ~enough))
    n_placed = int(enough.sum())
    ahead_of = np.full(n, -1)
    if n_placed > 1:
        ahead_of[rank[1:n_placed]] = rank[: n_placed - 1]
    found = changes(fit, main_pair(laid), ahead_of, (tolerable, 1.0 - SURE), usual_lot(laid))
    next_above = next_lot_above(fit, tolerable)
    ahead = smaller(fit, rank[:-1], rank[1:]) if n > 1 else np.zeros(0)
    types = types_of_suppliers(laid, fit, tolerable)
    met: dict[str, int] = {}
    for o in outcomes:
        met[key_of(o.supplier)] = met.get(key_of(o.supplier), 0) + 1
    certain = per_supplier(laid, laid.readings.certain)
    shares = intervals(fit.of, fit.posterior)
    out = []
    for at, j in enumerate(rank.tolist()):
        share = shares[j]
        known = Known(
            laid.names[j], int(lots[j]), int(parts[j]), float(effective[j]), bool(enough[j]), share, float(above[j]),
            tolerable,
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
                above_tolerable=float(above[j]),
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
    laid: Laid, rank: Ints, at: int, n_placed: int, found: Changes, expected: Floats, known: Known
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
