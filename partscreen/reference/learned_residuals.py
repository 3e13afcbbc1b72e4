"""How far the device model is off the parts of a type, learned from what their fits leave over.

The default errors of the model (`spreads.toml`, [readings]) come from drawn curves. Measured parts say more: readings
of one part are y = J z + e, with z known to lie about its lot and e ~ N(0, std^2 + a low^2 + b high^2). `low` is the
default error at small currents, `high` what the default adds towards the rated current; a and b are found by marginal
likelihood for each quantity, about 1 in the absence of data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.reference.population_spreads import LearnedReading, ReadingFigure

Floats = npt.NDArray[np.float64]

LEAST_LOTS, LEAST_PARTS = 2, 10
"""A type's own model error is taken from no fewer (assumption: one lot is one process)."""

LN_SD = 6.0  # of a and b about 1 before any reading (assumption: as good as nothing is known; readings decide)
LEAST, MOST = 1e-4, 10.0  # of a and b
WILD = 1e-4  # a part that fits with less probability than this teaches nothing of the model


@dataclass(frozen=True, slots=True)
class ReadingRecord:
    """Readings of one lot's parts about the lot's centre.

    residual : (n, k), reading less model, ln or volts; 0 where not read. jacobian : (n, k, q). std : (n, k) of the
    reading alone; 1 where not read. covariance : (q, q), of a part about the centre, errors of the session included.
    low, high : (n, k), the default error of the model, in two parts; 0 where none or not read. share : (n, k),
    collector current over rated current. quantity : (k,), "hFE", "VBE", "VCE(sat)" or else. weight : (n,), as in
    `LotRecord`.
    """

    residual: Floats
    jacobian: Floats
    std: Floats
    covariance: Floats
    low: Floats
    high: Floats
    share: Floats
    quantity: npt.NDArray[np.str_]
    weight: Floats


def learn_readings(records: Sequence[ReadingRecord], default: dict[str, ReadingFigure]) -> dict[str, LearnedReading]:
    """Errors of the model for one type, by quantity; empty with fewer than `LEAST_LOTS` lots or `LEAST_PARTS` parts."""
    from scipy.special import chdtrc

    used = [_sure(r) for r in records]
    used = [r for r in used if r.weight.size]
    if len(used) < LEAST_LOTS or sum(r.weight.size for r in used) < LEAST_PARTS:
        return {}
    names = sorted(
        {str(q) for r in used for q in np.unique(r.quantity) if q in default and r.low[:, r.quantity == q].any()}
    )
    factors = _most_likely(used, names)
    # Once more without parts that even so fit nothing: a faulty reading is no error of the model.
    kept = []
    for r in used:
        misfit, dof = _misfit(r, names, factors)
        kept.append(_rows(r, chdtrc(np.maximum(dof, 1), misfit) > WILD))
    if sum(r.weight.size for r in kept) >= LEAST_PARTS:
        used, factors = kept, _most_likely(kept, names)
    out = {}
    for i, name in enumerate(names):
        low, high = np.sqrt(factors[2 * i : 2 * i + 2])
        figure = default[name]
        lots = [r for r in used if r.low[:, r.quantity == name].any()]
        parts = sum(int(r.low[:, r.quantity == name].any(axis=1).sum()) for r in lots)
        out[name] = LearnedReading(
            offset=figure.offset, point=figure.point, shape=low * figure.shape, relative=low * figure.relative,
            at_rated=high * figure.at_rated, printed=figure.printed, lots=len(lots), parts=parts,
            up_to=_top_share(lots, name), basis=f"learned from {parts} parts of {len(lots)} lots of the type",
        )  # fmt: skip
    return out


def _sure(of: ReadingRecord) -> ReadingRecord:
    return _rows(of, of.weight > 0.5)


def _rows(of: ReadingRecord, wanted: npt.NDArray[np.bool_]) -> ReadingRecord:
    fields = ("residual", "jacobian", "std", "low", "high", "share", "weight")
    return replace(of, **{name: getattr(of, name)[wanted] for name in fields})


def _top_share(records: Sequence[ReadingRecord], name: str) -> float:
    """Highest share of the rated current that half of the parts were read to."""
    tops = [np.where(r.low > 0.0, r.share, 0.0)[:, r.quantity == name].max(axis=1, initial=0.0) for r in records]
    return float(np.median(np.concatenate(tops)))


def _terms(of: ReadingRecord, names: Sequence[str]) -> Floats:
    """Default variances by factor, (n_factors, n, k)."""
    mine = [(of.quantity == name)[None, :] for name in names]
    return np.stack([np.where(m, part**2, 0.0) for m in mine for part in (of.low, of.high)])


def _covariance(of: ReadingRecord, terms: Floats, factors: Floats) -> Floats:
    known = of.jacobian @ of.covariance @ np.swapaxes(of.jacobian, 1, 2)
    at = np.arange(of.std.shape[1])
    known[:, at, at] += of.std**2 + np.einsum("f,fnk->nk", factors, terms)
    return np.asarray(known)


def _misfit(of: ReadingRecord, names: Sequence[str], factors: Floats) -> tuple[Floats, npt.NDArray[np.int64]]:
    """Squared misfit of every part, and its number of readings."""
    solved = np.linalg.solve(_covariance(of, _terms(of, names), factors), of.residual[:, :, None])[:, :, 0]
    return np.einsum("nk,nk->n", of.residual, solved), np.any(of.jacobian != 0.0, axis=2).sum(axis=1)


def _most_likely(records: Sequence[ReadingRecord], names: Sequence[str]) -> Floats:
    """Factors of greatest posterior density, a and b of each quantity in turn."""
    from scipy.optimize import minimize

    terms = [_terms(r, names) for r in records]

    def cost(ln: Floats) -> tuple[float, Floats]:
        factors = np.exp(ln)
        total, slope = float(0.5 * np.sum((ln / LN_SD) ** 2)), ln / LN_SD**2
        for r, t in zip(records, terms, strict=True):
            covariance = _covariance(r, t, factors)
            inverse = np.linalg.inv(covariance)
            solved = np.einsum("nij,nj->ni", inverse, r.residual)
            _, ln_det = np.linalg.slogdet(covariance)
            total += 0.5 * float(r.weight @ (ln_det + np.einsum("nk,nk->n", r.residual, solved)))
            excess = np.einsum("nkk->nk", inverse) - solved**2
            slope = slope + 0.5 * factors * np.einsum("n,fnk,nk->f", r.weight, t, excess)
        return total, slope

    bounds = [(np.log(LEAST), np.log(MOST))] * (2 * len(names))
    found = minimize(cost, np.full(2 * len(names), np.log(0.1)), jac=True, method="L-BFGS-B", bounds=bounds)
    return np.exp(np.asarray(found.x, dtype=np.float64))
