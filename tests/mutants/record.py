"""Which test runs which line of the rooms under mutation, and how long it takes: recorded once, used to choose tests.

python -m tests.mutants.record        writes build/mutants/lines-N.json, one a group of tests

A test that fails on the code as it stands is left out.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import coverage
import pytest

from tests.mutants.rooms import BUILD, GROUPS, HOUSE, modules


class Recorder:
    """Names the running test to coverage. What a fixture runs is laid to the whole file, as fixtures are shared."""

    def __init__(self, cover: coverage.Coverage) -> None:
        self.cover = cover
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()  # would notice every mutant

    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed.add(report.nodeid)

    def pytest_configure(self, config):
        fixed_examples()

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self, item):
        yield from self._timed("file:" + item.nodeid.partition("::")[0])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item):
        yield from self._timed(item.nodeid)

    def _timed(self, name: str):
        self.cover.switch_context(name)
        began = time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[name] = round(self.seconds.get(name, 0.0) + time.process_time() - began, 3)
            self.cover.switch_context("between")


def fixed_examples() -> None:
    """The same hypothesis examples in every run: a mutant is killed always or never."""
    import hypothesis  # not before pytest has prepared its plugins

    hypothesis.settings.register_profile("mutants", derandomize=True, database=None, deadline=None)
    hypothesis.settings.load_profile("mutants")


def record(group: int) -> int:
    """Run one group of tests under coverage and write what was seen."""
    files = [str(path) for path in modules()]
    cover = coverage.Coverage(data_file=None, include=files, branch=False, config_file=False)
    recorder = Recorder(cover)
    cover.start()
    cover.switch_context("import")
    code = pytest.main(["-q", "-p", "no:cacheprovider", "-p", "no:cov", *GROUPS[group]], plugins=[recorder])
    cover.stop()
    data = cover.get_data()
    lines: dict[str, dict[int, list[str]]] = {}
    for path in files:
        seen = sorted(data.contexts_by_lineno(path).items())
        lines[str(Path(path).relative_to(HOUSE))] = {
            line: sorted(set(contexts) - {"", "import", "between"} - recorder.failed) for line, contexts in seen
        }
    BUILD.mkdir(parents=True, exist_ok=True)
    seconds = {name: taken for name, taken in recorder.seconds.items() if name not in recorder.failed}
    (BUILD / f"lines-{group}.json").write_text(json.dumps({"seconds": seconds, "lines": lines}))
    return int(code)


def main() -> int:
    if len(sys.argv) > 1:
        return record(int(sys.argv[1]))
    runs = [
        subprocess.Popen([sys.executable, "-m", "tests.mutants.record", str(group)]) for group in range(len(GROUPS))
    ]
    return max(run.wait() for run in runs)


if __name__ == "__main__":
    sys.exit(main())
