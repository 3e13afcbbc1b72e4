"""Judge all bags of a case, worlds in parallel, and keep what was said of every part."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

from benchmarks.honesty.bags import Bag
from benchmarks.honesty.baselines import BASELINES, naive
from benchmarks.honesty.cases import CASES, Case, bags
from benchmarks.honesty.judge import judge
from benchmarks.honesty.prior_bags import prior_bags
from benchmarks.honesty.sample import small_study
from benchmarks.honesty.study import Study, whole_study

BY_NAME = {case.name: case for case in CASES}
PRIOR_SHARES = {"prior-0.05": 0.05, "prior-0.1": 0.1, "prior-0.2": 0.2}
STATED_SHARE = 0.1
SEEN_OF_EACH_KIND = 6  # worlds that settings were chosen on, the first of each kind; no setting has seen the others


def judge_bag(bag: Bag, *, fit: bool = False, baselines: bool = True) -> pd.DataFrame:
    """One row a part: the truth, what the engine said, what the baselines said."""
    v = judge(bag, prior_share=STATED_SHARE, fit=fit)
    n = bag.readings.n
    table = pd.DataFrame(
        {
            "world": bag.world.name, "kind": bag.world.kind, "bag": bag.label, "group": bag.group, "honest": bag.honest,
            "evidence": v.evidence, "probability": v.probability, "rejected": v.rejected,
            "not_accepted": v.not_accepted, "short": v.short, "true_area": bag.area, "area": v.area, "low": v.low,
            "high": v.high, "reach": v.reach, "chi_square_p": v.chi_square_p, "seconds": v.seconds / n,
            "contradicts": v.contradicts, "leading": v.leading,
            "main": max(v.modes, key=lambda mode: mode[2])[0],
        }
    )  # fmt: skip
    if baselines:
        table = table.assign(**naive_columns(bag))
    return table


def naive_columns(bag: Bag) -> dict[str, object]:
    """What the baselines said; NA where they can say nothing."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a robust covariance of few parts complains; its verdicts count
        said = naive(bag)
    return {name: said.get(name, pd.NA) for name in BASELINES}


def judge_case(
    name: str,
    *,
    small: bool = False,
    workers: int = 1,
    most_worlds: int | None = None,
    baselines: bool = False,
    keep: Path | None = None,
) -> pd.DataFrame:
    """All bags of a case by name, or of `prior-SHARE`, whose bad shares are drawn from the stated prior.

    `keep`: folder for the verdicts of each world; worlds found there are not judged again.
    """
    study = small_study() if small else whole_study()
    tasks = [(name, small, world, baselines, keep) for world in _worlds(name, study, most_worlds)]
    if keep is not None:
        keep.mkdir(parents=True, exist_ok=True)
    if workers == 1:
        tables = [_one_world(task) for task in tasks]
    else:
        with ProcessPoolExecutor(workers) as pool:
            tables = list(pool.map(_one_world, tasks))
    return pd.concat(tables, ignore_index=True)


def kept_verdicts(keep: Path) -> pd.DataFrame | None:
    """Verdicts kept of a case, of as many worlds as were judged; None where there are none."""
    found = [pd.read_pickle(path) for path in sorted(keep.glob("*.pkl"))]
    return pd.concat(found, ignore_index=True) if found else None


def path_of(keep: Path, world: str) -> Path:
    """Of the verdicts of one world."""
    return keep / ("".join(c if c.isalnum() else "_" for c in world) + ".pkl")


def _worlds(name: str, study: Study, most: int | None) -> list[str]:
    if name in PRIOR_SHARES:
        kinds: Sequence[str] = ("prior", "card")
    else:
        kinds = BY_NAME[name].kinds
    by_kind = [[w.name for w in study.worlds if w.kind == kind] for kind in kinds]
    if len(by_kind) == 2 and all(by_kind):  # as many worlds of one kind as of the other
        by_kind = [names[:20] for names in by_kind]
    return [name for names in by_kind for name in names[:most]]


def seen_worlds(study: Study) -> frozenset[str]:
    """Names of the worlds that the engine's settings were chosen on."""
    kinds = ("prior", "card")
    return frozenset(w for k in kinds for w in [w.name for w in study.worlds if w.kind == k][:SEEN_OF_EACH_KIND])


def add_baselines(name: str, keep: Path, *, workers: int = 1) -> None:
    """The naive baselines' columns for kept verdicts that were made without them."""
    with ProcessPoolExecutor(workers) as pool:
        list(pool.map(_with_baselines, [(name, path) for path in sorted(keep.glob("*.pkl"))]))


def _with_baselines(task: tuple[str, Path]) -> None:
    name, path = task
    said, out = pd.read_pickle(path), []
    if BASELINES.keys() <= set(said.columns):
        return
    for bag in _bags(name, whole_study(), str(said.world.iloc[0])):
        part = said[said.bag == bag.label]
        if part.group.tolist() != bag.group.tolist():
            raise ValueError(f"{bag.label}: kept verdicts are of other bags")
        out.append(part.assign(**naive_columns(bag)))
    pd.concat(out, ignore_index=True).to_pickle(path)


def _one_world(task: tuple[str, bool, str, bool, Path | None]) -> pd.DataFrame:
    name, small, world, baselines, keep = task
    if keep is not None and path_of(keep, world).exists():
        return pd.DataFrame(pd.read_pickle(path_of(keep, world)))
    study = small_study() if small else whole_study()
    tables = [judge_bag(bag, fit=_wants_fit(name), baselines=baselines) for bag in _bags(name, study, world)]
    out = pd.concat(tables, ignore_index=True)
    if keep is not None:
        out.to_pickle(path_of(keep, world))
    return out


def _bags(name: str, study: Study, world: str) -> Iterator[Bag]:
    if name in PRIOR_SHARES:
        return prior_bags(study, world, PRIOR_SHARES[name])
    return bags(BY_NAME[name], study, world)


def _wants_fit(name: str) -> bool:
    return name in BY_NAME and not BY_NAME[name].bad


def case_of(name: str) -> Case | None:
    """The case, None for the bags drawn from the prior."""
    return BY_NAME.get(name)


def cluster_share(values: pd.Series, worlds: pd.Series, draws: int = 2000) -> tuple[float, float, float]:
    """A share with its 95 % interval by drawing whole worlds with replacement: parts of one world go together."""
    if values.empty:
        return np.nan, np.nan, np.nan
    grouped = values.astype(float).groupby(worlds.to_numpy()).agg(["sum", "count"]).to_numpy()
    picked = np.random.default_rng(61).integers(0, len(grouped), (draws, len(grouped)))
    drawn = grouped[picked, 0].sum(axis=1) / grouped[picked, 1].sum(axis=1)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return float(values.astype(float).mean()), float(low), float(high)


__all__ = [
    "PRIOR_SHARES", "add_baselines", "case_of", "cluster_share", "judge_bag", "judge_case", "kept_verdicts",
    "seen_worlds",
]  # fmt: skip
