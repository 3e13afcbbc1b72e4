"""Tests collected once, a child process for each mutant: it takes the mutant in, runs its tests, and ends."""

from __future__ import annotations

import contextlib
import io
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import pytest

from tests.mutants.operators import Mutant
from tests.mutants.record import fixed_examples
from tests.mutants.swap import load, put

MOST_SECONDS = 30  # processor time of a child; the tests chosen take less than half of it: more is a loop without end
WAITS = 8  # wall clock over processor time, on a busy machine


@dataclass(frozen=True, slots=True)
class Task:
    """A mutant and the tests that should notice it, in the order they are to run."""

    mutant: Mutant
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Verdict:
    """killed (by a test, or by not importing), survived, timeout. `by`: the test."""

    mutant: Mutant
    state: str
    by: str
    seconds: float


class Session:
    """A pytest plugin in the place of pytest's own loop over the tests."""

    def __init__(self, tasks: Sequence[Task], said: Callable[[Verdict], None], at_once: int) -> None:
        self.tasks, self.said, self.at_once = tasks, said, at_once
        self.failed = ""

    def pytest_configure(self, config):
        fixed_examples()

    def pytest_runtest_logreport(self, report):
        if report.failed and not self.failed:
            self.failed = report.nodeid

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session):
        items = {item.nodeid: item for item in session.items}
        running: dict[int, tuple[Task, int, float, str]] = {}
        waiting: Iterator[Task] = iter(self.tasks)
        while True:
            while len(running) < self.at_once and (task := next(waiting, None)) is not None:
                child, started = self._start(session, task, [items[name] for name in task.tests if name in items])
                running[child] = started
            if not running:
                return True
            self._end_overdue(running)
            child, status, used = os.wait4(-1, os.WNOHANG)
            if child in running:
                self.said(self._verdict(running.pop(child), status, used))
            else:
                time.sleep(0.02)

    def _start(self, session, task: Task, items: list):
        folder = tempfile.mkdtemp(prefix="mutant-")
        readable, writable = os.pipe()
        sys.stdout.flush()
        child = os.fork()
        if child == 0:
            os.setpgid(0, 0)
            os.close(readable)
            self._child(session, task, items, folder, writable)
        os.close(writable)
        return child, (task, readable, time.monotonic(), folder)

    def _child(self, session, task: Task, items: list, folder: str, writable: int) -> None:
        """Never returns."""
        try:
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS + 5))
            os.environ["PYTEST_DEBUG_TEMPROOT"] = folder
            with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
                try:
                    fresh = load(task.mutant)
                except Exception as error:
                    self.failed = f"import: {type(error).__name__}"
                else:
                    put(task.mutant, fresh)
                for item, following in zip(items, [*items[1:], None], strict=False):
                    if self.failed:
                        break
                    item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            os.write(writable, self.failed.encode())
            os._exit(1 if self.failed else 0)
        except BaseException as error:
            os.write(writable, f"crash: {type(error).__name__}: {error}".encode()[:500])
            os._exit(3)

    def _end_overdue(self, running) -> None:
        for child, (_, _, began, _) in running.items():
            if time.monotonic() - began > MOST_SECONDS * WAITS:
                os.killpg(child, signal.SIGKILL)

    def _verdict(self, started, status: int, used) -> Verdict:
        task, readable, _, folder = started
        with os.fdopen(readable) as pipe:
            by = pipe.read()
        shutil.rmtree(folder, ignore_errors=True)
        seconds = round(used.ru_utime + used.ru_stime, 2)
        if os.WIFSIGNALED(status):
            overdue = os.WTERMSIG(status) in (signal.SIGXCPU, signal.SIGKILL)
            return Verdict(task.mutant, "timeout" if overdue else "killed", f"signal {os.WTERMSIG(status)}", seconds)
        code = os.WEXITSTATUS(status)
        return Verdict(task.mutant, {0: "survived", 1: "killed"}.get(code, "crash"), by, seconds)


def run(tasks: Sequence[Task], said: Callable[[Verdict], None], at_once: int = 2) -> int:
    """Judge mutants; `said` is called as each verdict comes in. Returns pytest's exit code."""
    files = sorted({test.partition("::")[0] for task in tasks for test in task.tests})
    options = ["-q", "-p", "no:cacheprovider", "-p", "no:cov", "--no-header", "--no-summary"]
    return int(pytest.main([*options, *files], plugins=[Session(tasks, said, at_once)]))
