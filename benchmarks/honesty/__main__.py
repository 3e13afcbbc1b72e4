"""Measure the evidence engine on lots made by ngspice.

python -m benchmarks.honesty [--small] [--case NAME] [--worlds N] [--workers N] [--again]
"""

from __future__ import annotations

import argparse
import os
import time
from pathlib import Path

import pandas as pd

from benchmarks.honesty.baselines import BASELINES
from benchmarks.honesty.cases import CASES
from benchmarks.honesty.page import document
from benchmarks.honesty.pools import CACHE
from benchmarks.honesty.run import PRIOR_SHARES, add_baselines, case_of, judge_case
from benchmarks.honesty.sample import small_study, write_sample
from benchmarks.honesty.study import make_pools, whole_study

PAGE = Path(__file__).resolve().parents[2] / "docs" / "honesty.md"


def main() -> None:
    """Run, print the page, and write it where every case was measured."""
    names = [case.name for case in CASES] + list(PRIOR_SHARES)
    ask = argparse.ArgumentParser(prog="python -m benchmarks.honesty")
    ask.add_argument("--small", action="store_true", help="the committed sample of four worlds, 1 A kit only")
    ask.add_argument("--case", action="append", choices=names, help="only this case; may be given again")
    ask.add_argument("--worlds", type=int, help="at most so many worlds of each kind")
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    ask.add_argument("--again", action="store_true", help="table of the verdicts kept from the last run")
    ask.add_argument("--baselines", action="store_true", help="add the naive baselines to the verdicts kept, no more")
    ask.add_argument(
        "--engine-only", action="store_true", help="leave the naive baselines out (they take half the time)"
    )
    ask.add_argument("--write-sample", action="store_true", help="write the committed sample anew")
    given = ask.parse_args()
    if given.write_sample:
        write_sample()
        return
    kept = CACHE / ("verdicts-small" if given.small else "verdicts")
    kept.mkdir(parents=True, exist_ok=True)
    if not given.again and not given.small and not given.worlds:
        make_pools(whole_study(), given.workers)
    tables: dict[str, pd.DataFrame] = {}
    for name in given.case or names:
        begin, path = time.perf_counter(), kept / f"{name}.pkl"
        if given.baselines:
            _add_baselines(name, path, given.workers)
            continue
        if given.again:
            if path.exists():
                tables[name] = pd.read_pickle(path)
            continue
        case = case_of(name)
        if given.small and case is not None and case.top != 1.0:
            continue
        tables[name] = judge_case(
            name, small=given.small, workers=given.workers, most_worlds=given.worlds, baselines=not given.engine_only
        )
        tables[name].to_pickle(path)
        print(f"{name}: {len(tables[name])} parts, {time.perf_counter() - begin:.0f} s", flush=True)
    if given.baselines:
        return
    command = "python -m benchmarks.honesty" + (f" --worlds {given.worlds}" if given.worlds else "")
    page = document(tables, command, small_study() if given.small else whole_study())
    print(page)
    if not given.case and not given.small:
        PAGE.write_text(page, encoding="utf-8")


def _add_baselines(name: str, path: Path, workers: int) -> None:
    if not path.exists():
        return
    begin, said = time.perf_counter(), pd.read_pickle(path)
    if BASELINES.keys() <= set(said.columns):
        return
    add_baselines(name, said, workers=workers).to_pickle(path)
    print(f"{name}: baselines of {len(said)} parts, {time.perf_counter() - begin:.0f} s", flush=True)


if __name__ == "__main__":
    main()
