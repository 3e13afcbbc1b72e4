"""Results of single parts, built from arrays. Ten thousand parts pass here: models are constructed without
validation, which the arrays have had; unknown is None, never NaN."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.results import ChiSquare, Curves, Fit, LimitResult, made
from partscreen.screening.fitting import GroupFit
from partscreen.screening.limits.conformance import DECISION_WORDS
from partscreen.screening.limits.curve_model import REFERENCE_TEMPERATURE, CurveModel
from partscreen.screening.limits.judge import LimitJudgement
from partscreen.screening.limits.values import CARRY, REACHED_WORDS
from partscreen.screening.own_spread import OwnSpread

Floats = npt.NDArray[np.float64]

GRID_POINTS = 12
LOWEST_CURRENT = 1e-3  # [A] power parts are of no interest below (assumption)


def nullable(values: Floats) -> list[Any]:
    """Nested lists of floats with None for what is not finite."""
    known = np.isfinite(values)
    if known.all():
        return list(values.tolist())
    out = values.astype(object)
    out[~known] = None
    return list(out.tolist())


def limit_results(judgement: LimitJudgement) -> list[list[LimitResult]]:
    """Every limit of every part; the outer list goes over parts."""
    n = judgement.value.shape[1]
    rows: list[list[LimitResult]] = []
    for i, limit in enumerate(judgement.limits):
        common: dict[str, Any] = {
            "symbol": limit.symbol, "side": limit.side, "conditions": limit.conditions_text,
            "edition": ", ".join(limit.editions) or None, "basis": limit.basis, "limit": limit.value,
            "unit": limit.unit, "source": limit.source, "doubt": limit.doubt or None,
        }  # fmt: skip
        # What no reading reaches looks the same on every part: one (frozen) result serves them all.
        silent = made(
            LimitResult,
            **common,
            value=None,
            std=None,
            reached="not_reached",
            decision="undecided",
            probability_conforming=None,
        )
        row = [silent] * n
        spoken = np.flatnonzero(judgement.reached[i])
        columns = (a[i, spoken] for a in (judgement.value, judgement.std, judgement.chance))
        codes = (judgement.reached[i, spoken].tolist(), judgement.decision[i, spoken].tolist())
        for part, value, std, chance, reached, decision in zip(
            spoken.tolist(), *map(nullable, columns), *codes, strict=True
        ):
            row[part] = made(
                LimitResult, **common, value=value, std=std, reached=REACHED_WORDS[reached],
                decision=DECISION_WORDS[decision], probability_conforming=chance,
            )  # fmt: skip
        rows.append(row)
    return [[row[part] for row in rows] for part in range(n)]


def fit_results(fit: GroupFit) -> list[Fit | None]:
    """Fits as results; None where the fit came to nothing."""
    good = list(fit.fitted)
    names = list(fit.names)
    columns = zip(
        fit.theta.tolist(), nullable(fit.covariance), fit.prior_share.tolist(), nullable(fit.junction_temperature),
        nullable(fit.chi_square), fit.dof.tolist(), nullable(fit.p), fit.status, good, strict=True,
    )  # fmt: skip
    return [
        made(
            Fit, names=names, theta=theta, covariance=covariance, prior_share=share, junction_temperature=junction,
            status=status, chi_square=made(ChiSquare, value=chi, dof=dof, p=p),
        )
        if ok
        else None
        for theta, covariance, share, junction, chi, dof, p, status, ok in columns
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class CurvePlan:
    """Where the curves of a group are drawn: VCE [V] of gain and VBE, forced gain of VCE(sat), rated current [A]."""

    vce: float = 5.0
    forced_gain: float = 10.0
    rated: float | None = None


def current_grid(o: Observations, rated: float | None) -> Floats:
    """Collector currents of the curves: from the lowest reading to the rated current, at most CARRY times the
    highest."""
    seen = np.concatenate((o.gain_ic[np.isfinite(o.hfe) | np.isfinite(o.vbe)], o.sat_ic[np.isfinite(o.vce_sat)]))
    seen = seen[np.isfinite(seen) & (seen > 0)]
    if not seen.size:
        return np.zeros(0)
    top = CARRY * float(seen.max())
    top = max(min(top, rated), float(seen.max())) if rated else top
    low = min(max(float(seen.min()), LOWEST_CURRENT), top / 2)
    return np.array([float(f"{v:.3g}") for v in np.geomspace(low, top, GRID_POINTS)])


SpreadAt = Callable[[Floats, float, float], OwnSpread]  # of (IC grid [A], VCE [V], junction temperature [K])


def curve_results(
    o: Observations,
    model: CurveModel,
    fitted: npt.NDArray[np.bool_],
    plan: CurvePlan,
    spread_at: SpreadAt | None = None,
) -> list[Curves | None]:
    """Fitted curves at 25 degC junction; beyond CARRY times a part's own readings nothing is drawn.

    `spread_at`: gives what is a part's own of its uncertainty; None: not told.
    """
    n, grid = o.n_parts, current_grid(o, plan.rated)
    rows = np.flatnonzero(fitted)
    if not grid.size or not rows.size:
        return [None] * n
    ic = np.tile(grid, (rows.size, 1))
    hfe, vbe, hfe_std, vbe_std = model.gain_std(
        rows, ic, np.full(ic.shape, plan.vce), np.full(ic.shape, REFERENCE_TEMPERATURE)
    )
    sat = model.saturation(
        rows, ic, ic / plan.forced_gain, np.full(ic.shape, REFERENCE_TEMPERATURE), np.ones(ic.shape, dtype=np.bool_)
    )
    far = ic > CARRY * _highest(o)[rows][:, None] * (1 + 1e-3)
    columns = [np.where(far, np.nan, c) for c in (hfe, hfe * hfe_std, vbe, vbe_std, sat)]
    told: list[list[Any]] = [[None] * rows.size] * 4
    if spread_at is not None:
        own = spread_at(grid, plan.vce, REFERENCE_TEMPERATURE)
        parts = (hfe * own.own_ln_hfe[rows], own.own_vbe[rows], hfe * own.session_ln_hfe[rows], own.session_vbe[rows])
        told = [nullable(np.where(far, np.nan, c)) for c in parts]
    out: list[Curves | None] = [None] * n
    shared = grid.tolist()
    for part, values in zip(rows.tolist(), zip(*map(nullable, columns), *told, strict=True), strict=True):
        out[part] = made(
            Curves, ic=shared, hfe=values[0], hfe_std=values[1], vbe=values[2], vbe_std=values[3], vce_sat=values[4],
            vce=plan.vce, forced_gain=plan.forced_gain, hfe_own_std=values[5], vbe_own_std=values[6],
            hfe_session_std=values[7], vbe_session_std=values[8],
        )  # fmt: skip
    return out


def _highest(o: Observations) -> Floats:
    gain = np.where(np.isfinite(o.hfe) | np.isfinite(o.vbe), o.gain_ic, -np.inf)
    sat = np.where(np.isfinite(o.vce_sat), o.sat_ic, -np.inf)
    top: Floats = np.maximum(np.max(gain, axis=1, initial=-np.inf), np.max(sat, axis=1, initial=-np.inf))
    return top


def readings_used(o: Observations, spot_words: Sequence[Sequence[str]]) -> list[list[str]]:
    """What was used of each part, in short words: "hFE 11 points 0.01 to 2 A". Parts read alike share the words."""
    spans = []
    for words, read, ic in (("hFE", o.hfe, o.gain_ic), ("VBE", o.vbe, o.gain_ic), ("VCE(sat)", o.vce_sat, o.sat_ic)):
        known = np.isfinite(read)
        count = known.sum(axis=1).tolist()
        low = np.min(np.where(known, ic, np.inf), axis=1, initial=np.inf).tolist()
        high = np.max(np.where(known, ic, -np.inf), axis=1, initial=-np.inf).tolist()
        spans.append([_span(words, *v) for v in zip(count, low, high, strict=True)])
    return [
        [text for text in (gain, vbe, sat) if text] + list(dict.fromkeys(more))
        for gain, vbe, sat, more in zip(*spans, spot_words, strict=True)
    ]


def _span(words: str, count: int, low: float, high: float) -> str:
    if not count:
        return ""
    if count == 1:
        return f"{words} at {low:.3g} A"
    return f"{words} {count} points {low:.3g} to {high:.3g} A"
