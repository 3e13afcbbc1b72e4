"""Lines and figures of the tables of docs/honesty.md; `page` puts them together."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.stats import binom

from benchmarks.honesty.baselines import BASELINES
from benchmarks.honesty.cases import Case
from benchmarks.honesty.run import cluster_share

MOST_CALIBRATION_ERROR = 0.03


def percent(value: float, low: float | None = None, high: float | None = None) -> str:
    """94.3 (91-97)."""
    if not np.isfinite(value):
        return "-"
    text = f"{100 * value:.1f}"
    return text if low is None or high is None else f"{text} ({100 * low:.1f}-{100 * high:.1f})"


def _against(share: tuple[float, float, float], least: float | None = None, most: float | None = None) -> str:
    text = percent(*share)
    if least is not None:
        return f"{text} of {100 * least:g}{'' if share[0] >= least else ' **short**'}"
    if most is not None:
        return f"{text} of {100 * most:g}{'' if share[0] <= most else ' **over**'}"
    return text


WITH_REFERENCE_HELD = 0.05  # most sound parts rejected or held, sweeps to 1 A with both capacitances


def _most_held(case: Case) -> float | None:
    return WITH_REFERENCE_HELD if case.caps and case.top >= 1.0 and case.falsely is not None else None


def row(case: Case, of: pd.DataFrame) -> str:
    """One line of the table of cases."""
    if of.empty:
        return f"| {case.title} | not run | | | | | |"
    bad, sound = of[~of.honest], of[of.honest]
    rejected = cluster_share(bad.rejected, bad.world)
    not_accepted = cluster_share(bad.not_accepted, bad.world)
    falsely = cluster_share(sound.rejected, sound.world)
    away = cluster_share(sound.rejected | sound.not_accepted | sound.short, sound.world)
    cells = [
        case.title, f"{len(bad)} / {len(sound)} / {of.world.nunique()}", _against(rejected, case.rejected),
        _against(not_accepted, case.not_accepted), percent(float(bad.short.mean())) if len(bad) else "-",
        _against(falsely, most=case.falsely) if len(sound) else "-", _against(away, most=_most_held(case)),
    ]  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def baseline_row(case: Case, of: pd.DataFrame) -> str:
    """Flagged by the naive baselines: bad / sound parts, and how many worlds they were run on."""
    ran = of[of[list(BASELINES)].notna().any(axis=1)] if set(BASELINES) <= set(of.columns) else of.iloc[:0]
    cells = [case.title, str(ran.world.nunique())]
    for name in BASELINES:
        if name not in of:
            cells.append("not run")
            continue
        said = of[of[name].notna()]
        flagged = said[name].astype(bool)
        bad, sound = flagged[~said.honest], flagged[said.honest]
        cells.append(f"{percent(bad.mean()) if len(bad) else '-'} / {percent(sound.mean()) if len(sound) else '-'}")
    return "| " + " | ".join(cells) + " |"


def calibration(of: pd.DataFrame) -> dict[str, object]:
    """Bins of stated probability of being unfit against the share that was; expected error; log score."""
    p, unfit = of.probability.to_numpy(), ~of.honest.to_numpy()
    edges = np.array([0.0, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.98, 1.0 + 1e-9])
    rows, error = [], 0.0
    for low, high in pairwise(edges):
        inside = (p >= low) & (p < high)
        n, k = int(inside.sum()), int(unfit[inside].sum())
        mean = float(p[inside].mean()) if n else np.nan
        band = binom.interval(0.99, n, mean) if n else (np.nan, np.nan)
        share = k / n if n else np.nan
        rows.append((float(low), float(min(high, 1.0)), n, mean, share, bool(n and band[0] <= k <= band[1])))
        error += n * abs(mean - k / n) if n else 0.0
    clipped = np.clip(p, 1e-9, 1 - 1e-9)
    score = -np.mean(np.where(unfit, np.log(clipped), np.log1p(-clipped)))
    middle = (p >= 0.1) & (p <= 0.9)
    band = binom.interval(0.99, int(middle.sum()), p[middle].mean()) if middle.any() else (0, 0)
    return {
        "bins": rows, "error": error / len(p), "log_score": score, "threshold_score": _threshold_score(of, unfit),
        "middle": (int(middle.sum()), float(p[middle].mean()) if middle.any() else np.nan,
                   float(unfit[middle].mean()) if middle.any() else np.nan,
                   bool(band[0] <= unfit[middle].sum() <= band[1])),
    }  # fmt: skip


def _threshold_score(of: pd.DataFrame, unfit: np.ndarray) -> float:  # type: ignore[type-arg]
    """Log score of the best that one threshold on evidence can say: two shares, learnt on these very parts."""
    above = of.evidence.to_numpy() > 0
    score = 0.0
    for side in (above, ~above):
        if side.any():
            share = np.clip(unfit[side].mean(), 1e-9, 1 - 1e-9)
            score -= np.where(unfit[side], np.log(share), np.log1p(-share)).sum()
    return float(score / len(unfit))


def area_coverage(of: pd.DataFrame) -> tuple[float, float, float]:
    """Share of 95 % intervals of the area ratio that hold the truth, parts that differ from the type by area only."""
    inside = of[of.group.str.endswith("honest") | of.group.str.contains("area|small")]
    return cluster_share((inside.low <= inside.true_area) & (inside.true_area <= inside.high), inside.world)
