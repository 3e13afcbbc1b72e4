"""A pytest plugin (`-p benchmarks.clock`): what became of every test and the seconds it took, a line of JSON each.

The lines go to the file of PARTSCREEN_CLOCK as tests end, so that a run that is stopped has kept what it did. Processor
seconds are those of the test's own process and of its children that ended: on a machine shared with others they say
more than the clock on the wall. A fixture shared by many tests counts for the first of them.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Generator
from pathlib import Path

import pytest

_outcomes: dict[str, str] = {}


def _processor() -> float:
    return float(sum(os.times()[:4]))


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Failed in any phase is failed; skipped before or in the call is skipped."""
    if report.outcome != "passed" or report.nodeid not in _outcomes:
        _outcomes[report.nodeid] = report.outcome


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, None, None]:
    """Take the time of one test with its fixtures."""
    wall, processor = time.perf_counter(), _processor()
    yield
    took = {
        "test": item.nodeid,
        "outcome": _outcomes.get(item.nodeid, "not run"),
        "wall": round(time.perf_counter() - wall, 2),
        "processor": round(_processor() - processor, 2),
    }
    if place := os.environ.get("PARTSCREEN_CLOCK"):
        with Path(place).open("a", encoding="utf-8") as sink:
            sink.write(json.dumps(took) + "\n")
