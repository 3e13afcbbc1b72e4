"""Measure the evidence engine on lots made by ngspice.

python -m benchmarks.honesty [--small] [--case NAME] [--worlds N] [--workers N] [--fresh] [--again]

Verdicts are kept world by world, so that a run goes on where it was ended; after a change of the engine ask for
--fresh.
"""

from __future__ import annotations

import argparse
import os
import shutil
import time
from pathlib import Path

import pandas as pd

from benchmarks.honesty.cases import CASES
from benchmarks.honesty.page import document
from benchmarks.honesty.pools import CACHE
from benchmarks.honesty.run import PRIOR_SHARES, add_baselines, case_of, judge_case, kept_verdicts
from benchmarks.honesty.sample import KEPT, small_study, write_sample
from benchmarks.honesty.study import make_pools, whole_study

PAGE = Path(__file__).resolve().parents[2] / "docs" / "honesty.md"


def main() -> None:
    """Run, print the page, and write it where every case was measured."""
    names = [case.name for case in CASES] + list(PRIOR_SHARES)
    ask = argparse.ArgumentParser(prog="python -m benchmarks.honesty")
    ask.add_argument("--small", action="store_true", help="the committed sample of four worlds, up to 1 A")
    ask.add_argument("--case", action="append", choices=names, help="only this case; may be given again")
    ask.add_argument("--worlds", type=int, help="at most so many worlds of each kind")
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    ask.add_argument(
        "--fresh", action="store_true", help="judge anew what was kept (else a run goes on where it ended)"
    )
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
    if not (given.again or given.baselines or given.small or given.worlds):
        make_pools(whole_study(), given.workers)
    tables: dict[str, pd.DataFrame] = {}
    for name in given.case or names:
        begin, case = time.perf_counter(), case_of(name)
        if given.small and case is not None and case.top not in KEPT:
            continue
        if given.fresh:
            shutil.rmtree(kept / name, ignore_errors=True)
        if given.baselines:
            add_baselines(name, kept / name, workers=given.workers)
        elif not given.again:
            judge_case(
                name, small=given.small, workers=given.workers, most_worlds=given.worlds,
                baselines=not given.engine_only, keep=kept / name,
            )  # fmt: skip
        found = kept_verdicts(kept / name)
        if found is not None:
            tables[name] = found
            print(f"{name}: {len(found)} parts, {time.perf_counter() - begin:.0f} s", flush=True)
    command = "python -m benchmarks.honesty" + (f" --worlds {given.worlds}" if given.worlds else "")
    page = document(tables, command, small_study() if given.small else whole_study())
    print(page)
    if not given.case and not given.small:
        PAGE.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
