"""The whole of docs/honesty.md: what was reached on worlds no setting has seen, on the others, and beside baselines."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from benchmarks.honesty.baselines import BASELINES
from benchmarks.honesty.bound import FALSE_ALARMS, beyond, detectable
from benchmarks.honesty.cases import Case
from benchmarks.honesty.run import case_of, cluster_share, seen_worlds
from benchmarks.honesty.study import Study
from benchmarks.honesty.table import (
    MOST_CALIBRATION_ERROR,
    area_coverage,
    baseline_row,
    calibration,
    percent,
    row,
)

REMARKS = Path(__file__).with_name("remarks.md")
"""How far to trust the figures, what falls short and why: written by hand, after every run anew."""

Tables = Mapping[str, pd.DataFrame]
_COLUMNS = [
    "| case | bad / sound parts / worlds | bad: rejected | bad: not accepted | bad: held by reach | sound: rejected "
    "| sound: rejected or held |",
    "|---|---|---|---|---|---|---|",
]


def document(tables: Tables, command: str, study: Study) -> str:
    """The whole page."""
    cases = {name: case for name in tables if (case := case_of(name)) is not None}
    seen = seen_worlds(study)
    new = {name: of[~of.world.isin(seen)] for name, of in tables.items()}
    old = {name: of[of.world.isin(seen)] for name, of in tables.items()}
    everything = pd.concat(tables.values())
    lines = [
        _HEAD.format(command=command, worlds=everything.world.nunique(), seen=len(seen)),
        "## Worlds that no setting has seen", "", *_COLUMNS, *(row(case, new[name]) for name, case in cases.items()),
        "", "## Worlds that settings were chosen on", "",
        *_COLUMNS, *(row(case, old[name]) for name, case in cases.items()),
        "", "## By kind of world (all worlds)", "",
        "| case | drawn from the prior: bad rejected | sound rejected | published cards: bad rejected "
        "| sound rejected |",
        "|---|---|---|---|---|",
        *(_kind_row(case, tables[name]) for name, case in cases.items()),
        "", "## What could be seen at all", "", *_bounds(tables, cases, study, seen),
        "", "## Naive baselines on the same bags (bad / sound parts flagged, %)", "",
        "| case | worlds | " + " | ".join(BASELINES) + " |", "|---" * (len(BASELINES) + 2) + "|",
        *(baseline_row(case, tables[name]) for name, case in cases.items()),
        "", "## Chi-square of the own fit, false alarms at nominal 1 % (asked: at most 2 %)", "",
        *_chi_square(new, old, cases),
        "", "## Probabilities", "", *_probabilities(new, "worlds that no setting has seen"),
        *_probabilities(old, "worlds that settings were chosen on"),
        "## Area intervals (nominal 95 %, asked: 90-98 %)", "", *_areas(new, old, cases),
        "", "## Time", "",
        f"Median {1e3 * everything.seconds.median():.1f} ms a part, known-good lots and fits included, on a machine "
        "shared with other work.",
        "", REMARKS.read_text(encoding="utf-8").strip(),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _kind_row(case: Case, of: pd.DataFrame) -> str:
    cells = [case.title]
    for kind in ("prior", "card"):
        part = of[of.kind == kind]
        bad, sound = part[~part.honest], part[part.honest]
        cells += [percent(float(side.rejected.mean())) if len(side) else "-" for side in (bad, sound)]
    return "| " + " | ".join(cells) + " |"


def _bounds(tables: Tables, cases: Mapping[str, Case], study: Study, seen: frozenset[str]) -> list[str]:
    rates = " | ".join(f"{100 * rate:g} % of sound parts rejected" for rate in FALSE_ALARMS)
    out = [
        "Bad parts that a test knowing the lot's true centre, its spread and the direction of the fault would reject, "
        "hFE and VBE alone:", "", f"| kind | worlds | {rates} |", "|---|---|" + "---|" * len(FALSE_ALARMS),
    ]  # fmt: skip
    kinds = {case.bad: name for name, case in cases.items() if case.bad in ("leak", "gain", "bond")}
    for kind, name in kinds.items():
        found = detectable(study, kind, list(tables[name].world.unique()))
        for said, part in (("not seen", found[~found.world.isin(seen)]), ("seen", found[found.world.isin(seen)])):
            shares = [percent(*cluster_share(part.away > beyond(rate), part.world)) for rate in FALSE_ALARMS]
            out.append(f"| {cases[name].title} | {said} | " + " | ".join(shares) + " |")
    return out


def _chi_square(new: Tables, old: Tables, cases: Mapping[str, Case]) -> list[str]:
    out = ["| lots | not seen, % | seen, % |", "|---|---|---|"]
    for name, case in cases.items():
        sides = [of[name][of[name].honest & of[name].chi_square_p.notna()] for of in (new, old)]
        if any(len(side) for side in sides):
            cells = [percent(*cluster_share(side.chi_square_p < 0.01, side.world)) for side in sides]
            out.append(f"| {case.title} | " + " | ".join(cells) + " |")
    return out


def _probabilities(tables: Tables, where: str) -> list[str]:
    out: list[str] = []
    for name, of in tables.items():
        if not name.startswith("prior-") or of.empty:
            continue
        found = calibration(of)
        n, mean, share, inside = found["middle"]  # type: ignore[misc]
        out += [
            f"Bad share drawn around {name.removeprefix('prior-')}, stated 0.1, {of.world.nunique()} {where}: expected "
            f"calibration error {found['error']:.4f} (at most {MOST_CALIBRATION_ERROR}), log score "
            f"{found['log_score']:.4f} against {found['threshold_score']:.4f} of the evidence threshold alone. Between "
            f"0.1 and 0.9: {n} parts, mean {mean:.3f}, unfit {share:.3f}, {'inside' if inside else 'outside'} the 99 % "
            "band.",
            "", "| stated | parts | mean | unfit | inside the 99 % band |", "|---|---|---|---|---|",
            *(f"| {a:g}-{b:g} | {k} | {m:.3f} | {s:.3f} | {'yes' if ok else 'no' if k else '-'} |"
              for a, b, k, m, s, ok in found["bins"]), "",  # type: ignore[attr-defined]
        ]  # fmt: skip
    return out


def _areas(new: Tables, old: Tables, cases: Mapping[str, Case]) -> list[str]:
    out = ["| case | not seen, % covered | seen, % covered |", "|---|---|---|"]
    for name, case in cases.items():
        cells = [percent(*area_coverage(of[name])) if len(of[name]) else "-" for of in (new, old)]
        out.append(f"| {case.title} | " + " | ".join(cells) + " |")
    return out


_HEAD = """# Honesty: lots made by another simulator, judged by the evidence engine

Written by `{command}`. Simulated parts only: no real silicon was measured for this page.

Parts are made and read by ngspice, not by the toolkit's own device model: {worlds} type worlds, half of them or more
library types whose truth is drawn from the shipped population, the others published model cards of which the engine
knows the ratings and one row of hFE limits. Every sitting has temperature, gain and reading errors; known-good parts
come from another lot, read in another sitting. Spreads of lots and parts are assumptions
(`benchmarks/honesty/parts.py`). The engine's settings were chosen on {seen} of these worlds, and figures of the others
stand apart: they are the ones to trust.
"Not accepted": evidence above 0, limits and the reach rule left out; "held by reach": accepted but for the reach rule.
Intervals: 95 %, whole worlds drawn with replacement. "of 95": the number to reach.
"""
