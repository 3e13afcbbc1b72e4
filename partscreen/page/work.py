"""Long work: one worker process that is kept warm, one job after another, with progress, ended when asked to."""

from __future__ import annotations

import multiprocessing
import queue
import threading
import time
import traceback
from dataclasses import dataclass, field
from itertools import chain
from multiprocessing.connection import Connection
from typing import Any, Literal

from partscreen.errors import Problem, UnusableInput

State = Literal["waiting", "running", "done", "refused", "crashed", "cancelled"]
_TELL_EVERY = 0.1  # seconds between two words of progress
_HEAD_START = 1.5  # seconds the first page has before the worker process begins


@dataclass(slots=True)
class Job:
    """One task and how far it is. `problems`: why it was refused; `trace`: where it crashed."""

    task: str
    given: Any
    state: State = "waiting"
    what: str = ""
    done: int = 0
    total: int = 0
    result: Any = None
    problems: tuple[Problem, ...] = ()
    trace: str = ""
    started: float = field(default_factory=time.monotonic)
    stop: bool = False

    @property
    def ended(self) -> bool:
        """Whether nothing more will come of it."""
        return self.state not in ("waiting", "running")

    async def settled(self, seconds: float) -> bool:
        """Wait so long at most; whether it has ended."""
        import anyio

        until = time.monotonic() + seconds
        while not self.ended and time.monotonic() < until:
            await anyio.sleep(0.02)
        return self.ended


class Worker:
    """The worker process and the thread that hands it jobs."""

    def __init__(self) -> None:
        self._jobs: queue.SimpleQueue[Job | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._current: Job | None = None
        self._process: Any = None
        self._pipe: Connection | None = None
        self._closed = threading.Event()
        self._thread = threading.Thread(target=self._run, name="page worker", daemon=True)
        self._thread.start()

    def submit(self, task: str, given: Any) -> Job:
        """Queue a task; its job tells how far it is."""
        job = Job(task, given)
        self._jobs.put(job)
        return job

    def cancel(self, job: Job) -> None:
        """End a job: one that waits is not begun, one that runs is ended with its process."""
        with self._lock:
            job.stop = True
            if job.state == "waiting":
                job.state = "cancelled"
            elif job is self._current and self._process is not None:
                self._process.terminate()

    def close(self) -> None:
        """End the process; running work is lost."""
        with self._lock:
            self._closed.set()
            if self._process is not None:
                self._process.terminate()
        self._jobs.put(None)
        self._thread.join(5.0)
        if self._process is not None:
            self._process.join(5.0)

    def _run(self) -> None:
        first = self._first()
        if self._closed.is_set():
            return
        self._begin()
        for job in chain([first] if first else [], iter(self._jobs.get, None)):
            if self._closed.is_set():
                return
            with self._lock:
                if job.ended:
                    continue
                job.state, self._current = "running", job
            try:
                self._work(job)
            except (EOFError, OSError):
                self._lost(job)
            finally:
                with self._lock:
                    self._current = None

    def _first(self) -> Job | None:
        """The first job, if it comes soon: the process begins a moment later, so as not to hinder the first page."""
        try:
            return self._jobs.get(timeout=_HEAD_START)
        except queue.Empty:
            return None

    def _begin(self) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=serve_tasks, args=(theirs,), name="partscreen page worker", daemon=True)
        with self._lock:
            if self._closed.is_set():
                return
            process.start()
            theirs.close()
            self._process, self._pipe = process, ours

    def _work(self, job: Job) -> None:
        if self._pipe is None:
            raise EOFError
        self._pipe.send((job.task, job.given))
        while not job.ended:
            kind, *told = self._pipe.recv()
            if kind == "progress":
                job.what, job.done, job.total = told
            elif kind == "done":
                job.result, job.state = told[0], "done"
            elif kind == "refused":
                job.problems, job.state = told[0], "refused"
            else:
                job.trace, job.state = told[0], "crashed"

    def _lost(self, job: Job) -> None:
        """The process ended under a job: because it was asked to, or because it died."""
        if self._process is not None:
            self._process.join(5.0)
        self._begin()
        job.trace = "" if job.stop else "the worker process ended without a word; it may have run out of memory"
        job.state = "cancelled" if job.stop else "crashed"


def serve_tasks(pipe: Connection) -> None:
    """What the worker process does: tasks as they come, until the other end is gone."""
    import signal

    from partscreen.page.tasks import TASKS, WARMING

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the page's to answer, which then ends this process
    for load in WARMING:
        if pipe.poll():
            break  # somebody waits: the task loads what it needs itself
        load()
    while True:
        try:
            name, given = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer = ("done", TASKS[name](given, _teller(pipe)))
        except UnusableInput as error:
            answer = ("refused", error.problems)
        except Exception:
            answer = ("crashed", traceback.format_exc())
        try:
            pipe.send(answer)
        except (BrokenPipeError, OSError):
            return


def _teller(pipe: Connection) -> Any:
    last, told = 0.0, ""

    def tell(what: str, done: int, total: int) -> None:
        nonlocal last, told
        now = time.monotonic()
        if what != told or done >= total or now - last > _TELL_EVERY:
            last, told = now, what
            pipe.send(("progress", what, done, total))

    return tell
