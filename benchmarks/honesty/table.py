"""The table of docs/honesty.md: what was reached, beside what was asked for and beside the naive baselines."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import pandas as pd
from scipy.stats import binom

from benchmarks.honesty.baselines import BASELINES
from benchmarks.honesty.bound import detectable
from benchmarks.honesty.cases import Case
from benchmarks.honesty.run import case_of, cluster_share
from benchmarks.honesty.study import Study

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


def row(case: Case, of: pd.DataFrame) -> str:
    """One line of the table of cases."""
    bad, sound = of[~of.honest], of[of.honest]
    rejected = cluster_share(bad.rejected, bad.world)
    not_accepted = cluster_share(bad.not_accepted, bad.world)
    falsely = cluster_share(sound.rejected, sound.world)
    away = cluster_share(sound.rejected | sound.not_accepted | sound.short, sound.world)
    cells = [
        case.title, f"{len(bad)} / {len(sound)}", _against(rejected, case.rejected),
        _against(not_accepted, case.not_accepted), percent(float(bad.short.mean())) if len(bad) else "-",
        _against(falsely, most=case.falsely) if len(sound) else "-", percent(*away),
    ]  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def baseline_row(case: Case, of: pd.DataFrame) -> str:
    """Flagged by the naive baselines: bad / sound parts."""
    cells = [case.title]
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


def document(tables: Mapping[str, pd.DataFrame], command: str, study: Study) -> str:
    """The whole page."""
    cases = {name: case for name in tables if (case := case_of(name)) is not None}
    lines = [
        _HEAD.format(command=command, worlds=pd.concat(tables.values()).world.nunique()),
        "| case | bad / sound parts | bad: rejected | bad: not accepted | bad: held by reach | sound: rejected "
        "| sound: rejected or held |",
        "|---|---|---|---|---|---|---|",
        *(row(case, tables[name]) for name, case in cases.items()),
        "",
        "## By kind of world",
        "",
        "| case | drawn from the prior: bad rejected | sound rejected | published cards: bad rejected "
        "| sound rejected |",
        "|---|---|---|---|---|",
        *(_kind_row(case, tables[name]) for name, case in cases.items()),
        "",
        "## What could be seen at all",
        "",
        *_bounds(tables, cases, study),
        "",
        "## Naive baselines on the same bags (bad / sound parts flagged, %)",
        "",
        "| case | " + " | ".join(BASELINES) + " |",
        "|---" * (len(BASELINES) + 1) + "|",
        *(baseline_row(case, tables[name]) for name, case in cases.items()),
        "",
        "## Chi-square of the own fit, false alarms at nominal 1 %",
        "",
        *_chi_square(tables, cases),
        "",
        "## Probabilities",
        "",
        *_probabilities(tables),
        "",
        "## Area intervals (nominal 95 %, asked: 90-98 %)",
        "",
        *_areas(tables, cases),
        "",
        "## Time",
        "",
        f"Median {1e3 * pd.concat(tables.values()).seconds.median():.1f} ms a part, known-good lots and fits included.",
    ]
    return "\n".join(lines) + "\n"


def _kind_row(case: Case, of: pd.DataFrame) -> str:
    cells = [case.title]
    for kind in ("prior", "card"):
        part = of[of.kind == kind]
        bad, sound = part[~part.honest], part[part.honest]
        cells += [percent(float(side.rejected.mean())) if len(side) else "-" for side in (bad, sound)]
    return "| " + " | ".join(cells) + " |"


def _bounds(tables: Mapping[str, pd.DataFrame], cases: Mapping[str, Case], study: Study) -> list[str]:
    out = [
        "Bad parts that a test knowing the lot's true centre and spread would reject, hFE and VBE alone, one sound "
        "part in a thousand rejected too:", "", "| kind | found, % |", "|---|---|",
    ]  # fmt: skip
    kinds = {case.bad: name for name, case in cases.items() if case.bad in ("leak", "gain", "bond")}
    for kind, name in kinds.items():
        found = detectable(study, kind, list(tables[name].world.unique()))
        out.append(f"| {cases[name].title} | {percent(*cluster_share(found.found, found.world))} |")
    return out


def _chi_square(tables: Mapping[str, pd.DataFrame], cases: Mapping[str, Case]) -> list[str]:
    out = ["| lots | false alarms, % |", "|---|---|"]
    for name, case in cases.items():
        sound = tables[name][tables[name].honest & tables[name].chi_square_p.notna()]
        if len(sound):
            out.append(f"| {case.title} | {percent(*cluster_share(sound.chi_square_p < 0.01, sound.world))} |")
    return out


def _probabilities(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    out: list[str] = []
    for name, of in tables.items():
        if not name.startswith("prior-"):
            continue
        found = calibration(of)
        n, mean, share, inside = found["middle"]  # type: ignore[misc]
        out += [
            f"Bad share drawn around {name.removeprefix('prior-')}, stated 0.1: expected calibration error "
            f"{found['error']:.4f} (at most {MOST_CALIBRATION_ERROR}), log score {found['log_score']:.4f} against "
            f"{found['threshold_score']:.4f} of the evidence threshold alone. Between 0.1 and 0.9: {n} parts, mean "
            f"{mean:.3f}, unfit {share:.3f}, {'inside' if inside else 'outside'} the 99 % band.",
            "", "| stated | parts | mean | unfit | inside the 99 % band |", "|---|---|---|---|---|",
            *(f"| {a:g}-{b:g} | {k} | {m:.3f} | {s:.3f} | {'yes' if ok else 'no' if k else '-'} |"
              for a, b, k, m, s, ok in found["bins"]), "",  # type: ignore[attr-defined]
        ]  # fmt: skip
    return out


def _areas(tables: Mapping[str, pd.DataFrame], cases: Mapping[str, Case]) -> list[str]:
    out = ["| case | covered, % |", "|---|---|"]
    return [*out, *(f"| {case.title} | {percent(*area_coverage(tables[name]))} |" for name, case in cases.items())]


_HEAD = """# Honesty: lots made by another simulator, judged by the evidence engine

Written by `{command}`. Simulated parts only: no real silicon was measured for this page.

Parts are made and read by ngspice, not by the toolkit's own device model: {worlds} type worlds, half of them library
types whose truth is drawn from the shipped population, half of them published model cards of which the engine knows
the ratings and one row of hFE limits. Every sitting has temperature, gain and reading errors; known-good parts come
from another lot, read in another sitting. Spreads of lots and parts are assumptions (`benchmarks/honesty/parts.py`).
"Not accepted": evidence above 0, limits and the reach rule left out; "held by reach": accepted but for the reach rule.
Intervals: 95 %, whole worlds drawn with replacement. "of 95": the number to reach.
"""
