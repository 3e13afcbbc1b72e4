"""Which limits the readings do not reach, in words: one sentence a quantity, shared by parts read alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.reference.wording import figure_text
from partscreen.results import Reason
from partscreen.screening.limits.judge import LimitJudgement, LimitLike
from partscreen.screening.limits.spots import RULES, SpotTable
from partscreen.screening.limits.values import NOT_REACHED
from partscreen.screening.reasons import QUANTITY_WORDS, limits_not_reached, rounded

Floats = npt.NDArray[np.float64]

_SWEPT = ("hfe", "vbe", "vce_sat")


def _top_current(o: Observations, quantity: str) -> Floats:
    """Largest collector current each part was read at; NaN where never. [A]"""
    read, ic = {"hfe": (o.hfe, o.gain_ic), "vbe": (o.vbe, o.gain_ic), "vce_sat": (o.vce_sat, o.sat_ic)}[quantity]
    top = np.max(np.where(np.isfinite(read), ic, -np.inf), axis=1, initial=-np.inf)
    return np.where(np.isfinite(top), top, np.nan)


def _and(items: Sequence[str]) -> str:
    return ", ".join(items[:-1]) + " and " + items[-1] if len(items) > 1 else items[0]


def _swept_sentence(quantity: str, currents: Sequence[float], top: float) -> str:
    at = _and([figure_text(c, "A") for c in currents])
    words = QUANTITY_WORDS[quantity]
    plural = "limits are" if len(currents) > 1 else "limit is"
    if top > max(currents):
        return f"{words}: {plural} given at {at}, no reading near it (they end at {rounded(top, 'A')})"
    return f"{words}: {plural} given at {at}, the readings end at {rounded(top, 'A')}"


def not_reached_reasons(
    judgement: LimitJudgement, o: Observations, spots: Mapping[str, SpotTable]
) -> list[Reason | None]:
    """One reason a part (None where every limit was reached). Quantities never read at all are named together, last."""
    n = o.n_parts
    missing = judgement.reached == NOT_REACHED
    if not missing.any():
        return [None] * n
    tops = {q: _top_current(o, q) for q in _SWEPT}
    read_spots = {q: np.isin(np.arange(n), spots[q].part) if q in spots else np.zeros(n, dtype=np.bool_) for q in RULES}
    keys = _keys(missing, tops, read_spots)
    _, first, which = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    made = []
    for i in first:
        top = {q: float(t[i]) for q, t in tops.items()}
        made.append(_reason(judgement.limits, missing[:, i], top, {q: bool(r[i]) for q, r in read_spots.items()}))
    return [made[k] for k in np.asarray(which).ravel()]


def _keys(
    missing: npt.NDArray[np.bool_], tops: Mapping[str, Floats], read: Mapping[str, npt.NDArray[np.bool_]]
) -> Floats:
    # Currents to three digits, as they are printed.
    columns = [missing.T.astype(float)]
    for top in tops.values():
        with np.errstate(divide="ignore", invalid="ignore"):
            step = 10.0 ** (np.floor(np.log10(top)) - 2)
            columns.append(np.nan_to_num(np.round(top / step) * step, nan=-1.0)[:, None])
    columns.append(np.stack(list(read.values()), axis=1).astype(float))
    return np.hstack(columns)


def _reason(
    limits: Sequence[LimitLike], missing: npt.NDArray[np.bool_], tops: Mapping[str, float], read: Mapping[str, bool]
) -> Reason | None:
    # What nobody reads on a bench (second breakdown, switching times) stays in the table of limits.
    left = [x for x, m in zip(limits, missing, strict=True) if m and x.quantity is not None]
    if not left:
        return None
    sentences: list[str] = []
    unread: list[str] = []
    for quantity in dict.fromkeys(x.quantity or x.symbol for x in left):
        rows = [x for x in left if (x.quantity or x.symbol) == quantity]
        if quantity in _SWEPT and not np.isnan(tops[quantity]):
            currents = sorted({float(x.conditions["IC"]) for x in rows if "IC" in x.conditions})
            if currents:
                sentences.append(_swept_sentence(quantity, currents, tops[quantity]))
        elif quantity in RULES and read[quantity]:
            at = _and(list(dict.fromkeys(x.conditions_text for x in rows)))
            sentences.append(f"{QUANTITY_WORDS[quantity]}: given at {at}, the reading's conditions do not bear on it")
        else:
            unread.append(QUANTITY_WORDS.get(quantity, rows[0].symbol))
    if unread:
        sentences.append(f"no reading of {', '.join(unread)}")
    return limits_not_reached(sentences) if sentences else None
