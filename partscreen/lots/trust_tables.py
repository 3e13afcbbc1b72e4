"""Tables beside the suppliers: types, pairs of suppliers, what was known at earlier dates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from partscreen.lots.likelihood import ln_likelihood_of_lots
from partscreen.lots.risk_by_type import numbered, pair_posterior
from partscreen.lots.trust_fit import Fitted, fit_suppliers, smaller
from partscreen.lots.trust_laid import Laid, intervals, lay_out, per_supplier
from partscreen.lots.trust_model import Grids
from partscreen.lots.trust_records import FieldOutcome, LotRecord, key_of
from partscreen.results.trust import PairOrder, SupplierTrust, TrustPoint, TypeRisk

Floats = npt.NDArray[np.float64]

ALL_PAIRS = 12  # suppliers up to which every pair is told; of more only neighbours
HISTORY_DATES = 8


def types_of_suppliers(laid: Laid, fit: Fitted, tolerable: float) -> list[list[TypeRisk]]:
    """Types of each supplier, the riskiest first."""
    mass = pair_posterior(fit)
    above, shares = fit.of.means.chance_above(mass, tolerable), intervals(fit.of, mass)
    n_pairs = laid.groups.supplier.size
    lots = np.bincount(laid.groups.pair, minlength=n_pairs)
    parts = np.bincount(laid.groups.pair, [r.n_read for r in laid.records], minlength=n_pairs)
    out: list[list[TypeRisk]] = [[] for _ in laid.names]
    for p, j in enumerate(laid.groups.supplier.tolist()):
        risk = TypeRisk(
            type=laid.types[p] or "not stated",
            lots=int(lots[p]),
            parts=int(parts[p]),
            share_unfit=shares[p],
            above_tolerable=float(above[p]),
        )
        out[j].append(risk)
    return [sorted(found, key=lambda r: -(r.share_unfit.value or 0.0)) for found in out]


def types_of_all(laid: Laid, fit: Fitted, tolerable: float) -> list[TypeRisk]:
    """Types over all suppliers, the riskiest first."""
    names, of_type = numbered([laid.types[p] for p in laid.groups.pair.tolist()])
    lots = np.bincount(of_type, minlength=len(names))
    parts = np.bincount(of_type, [r.n_read for r in laid.records], minlength=len(names))
    shares = intervals(fit.of, fit.posterior)
    found = [
        TypeRisk(
            type=name or "not stated",
            lots=int(lots[i]),
            parts=int(parts[i]),
            share_unfit=shares[i],
            above_tolerable=float(fit.of.means.chance_above(fit.posterior[i], tolerable)),
        )
        for i, name in enumerate(names)
    ]
    return sorted(found, key=lambda r: -(r.share_unfit.value or 0.0))


def order_of(told: list[SupplierTrust], laid: Laid, fit: Fitted) -> list[PairOrder]:
    """Every pair of placed suppliers where they are few, else neighbours."""
    place = {name: j for j, name in enumerate(laid.names)}
    placed = [t.supplier for t in told if t.place is not None]
    if len(placed) < 2:
        return []
    if len(placed) <= ALL_PAIRS:
        pairs = [(a, b) for i, a in enumerate(placed) for b in placed[i + 1 :]]
    else:
        pairs = list(pairwise(placed))
    chance = smaller(fit, np.array([place[a] for a, _ in pairs]), np.array([place[b] for _, b in pairs]))
    return [PairOrder(first=a, second=b, probability=float(p)) for (a, b), p in zip(pairs, chance, strict=True)]


def history_of(
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
        laid = lay_out(then, met, day, half_life_days)
        if laid is None:
            continue
        fit = fit_suppliers(of, ln_likelihood_of_lots(laid.readings, of.shares.middle, laid.bulk), laid.groups)
        lots, shares = per_supplier(laid, np.ones(len(then))), intervals(of, fit.posterior)
        for j, name in enumerate(laid.names):
            point = TrustPoint(date=day, lots=int(lots[j]), share_unfit=shares[j])
            out.setdefault(key_of(name), []).append(point)
    return out
