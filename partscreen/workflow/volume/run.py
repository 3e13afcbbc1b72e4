"""A run of many parts: judged bundle by bundle on all processors, the result written lot by lot, taken up again after a
stop."""

from __future__ import annotations

import multiprocessing
import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.workflow.judge.screening import code_of_run
from partscreen.workflow.options import Progress, silent
from partscreen.workflow.volume.bundles import Bundle, errors_of_sessions, plan_bundles
from partscreen.workflow.volume.kept import Kept, LotDone, run_key
from partscreen.workflow.volume.work import Order, Standing, begin_work, judge_bundle, open_bench

if TYPE_CHECKING:
    from partscreen.workflow.judge.screening import Prepared

LARGE = 2_000  # parts; a run of more is judged bundle by bundle where nothing but JSON is asked for (assumption)
WAITING = 2  # bundles ready for each process, besides the one it works on


@dataclass(frozen=True, slots=True)
class Streamed:
    """A run whose result went to a file lot by lot. `lots`: in the order of the result."""

    path: Path
    lots: tuple[LotDone, ...]
    exit_code: int
    notices: tuple[str, ...]
    problems: tuple[str, ...] = ()


def stream_screening(
    ready: Prepared,
    json_out: Path,
    *,
    brief: bool = False,
    progress: Progress | None = None,
    large: int = LARGE,
    processes: int | None = None,
) -> Streamed | None:
    """Judge a large run and write its JSON lot by lot; None where the run is small, and nothing is done.

    Parameters
    ----------
    ready : files read and checked, by `prepare_files`
    json_out : the file; until it is whole, finished lots lie in a folder beside it, named after it
    brief : leave out covariances and curves
    large : parts; a run of more is large
    processes : how many judge side by side; None: one for each processor; 1: this one judges itself

    Raises
    ------
    UnusableInput
        A place cannot be written to, or memory ran out.

    Notes
    -----
    A run that was stopped goes on where it was: finished lots are kept under a key of input, settings and program, and
    the same command takes them up again. Lots of another key are never used.
    """
    batch = ready.batch
    if batch.n_parts <= large:
        return None
    try:
        with Kept.open(json_out, run_key(ready, brief=brief)) as kept:
            bundles = plan_bundles(ready)
            lots = _judged(ready, bundles, kept, brief, progress or silent, processes or _processors())
            done = kept.number_taken_up
            before, after = ready.told([], _spreads(ready)).model_dump_json(by_alias=True).rsplit('"lots":[]', 1)
            kept.assemble(f'{before}"lots":[', lots, f"]{after}")
    except OSError as error:
        raise not_writable(
            error,
            error.filename or json_out,
            "name a folder that exists, may be written to and has room for the result twice",
        ) from error
    codes = {code for lot in lots for code in lot.codes}
    left_out = any(row.code != "NOT_COVERED" for row in batch.not_judged)
    notices = ready.notices
    if done:
        parts = sum(lot.n_parts for lot in lots if lot.taken_up)
        told = f"{done} lots ({parts} parts) were taken up from a stopped run of the same command"
        notices = (*notices, told)
    return Streamed(
        json_out, tuple(lots), code_of_run(codes, nothing_lost=not (batch.problems or left_out)),
        (*notices, *kept.remarks), tuple(str(problem) for problem in batch.problems),
    )  # fmt: skip


def _spreads(ready: Prepared) -> str | None:
    from partscreen.workflow.judge.learned import populations_of

    return populations_of(ready.chosen, ())[1]


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _judged(
    ready: Prepared, bundles: Sequence[Bundle], kept: Kept, brief: bool, tell: Progress, processes: int
) -> list[LotDone]:
    """All lots in the order of the batch, those of an earlier run as they were kept."""
    found: dict[int, LotDone] = {}
    total = sum(len(bundle.lots) for bundle in bundles)
    missing = []
    for bundle in bundles:
        before = kept.bundle(bundle.number)
        if before is None:
            missing.append(bundle)
        else:
            found |= {lot.number: lot for lot in before}
    tell("judging lots", len(found), total)
    for bundle, texts in _work(ready, missing, brief, processes):
        found |= {lot.number: lot for lot in kept.keep(bundle.number, texts)}
        tell("judging lots", len(found), total)
    return [found[number] for number in sorted(found)]


def _work(
    ready: Prepared, bundles: Sequence[Bundle], brief: bool, processes: int
) -> Iterator[tuple[Bundle, list[tuple[LotDone, str]]]]:
    """Bundles as they are finished, in their order; a few are laid out ahead, so that memory stays bounded."""
    if not bundles:
        return
    standing = Standing(ready.chosen, ready.kit, ready.shared, brief)
    order_of = _orders(ready, bundles)
    if processes == 1:
        open_bench(standing)
        for bundle in bundles:
            yield bundle, judge_bundle(order_of(bundle))
        return
    with _pool(min(processes, len(bundles)), standing) as pool:
        running: deque[tuple[Bundle, Future[list[tuple[LotDone, str]]]]] = deque()
        coming = iter(bundles)
        try:
            while True:
                for ahead in islice(coming, processes * (1 + WAITING) - len(running)):
                    running.append((ahead, pool.submit(judge_bundle, order_of(ahead))))
                if not running:
                    return
                bundle, future = running.popleft()
                yield bundle, future.result()
        except BrokenProcessPool as error:
            what = "a process that judged lots ended without a word; it may have run out of memory"
            fix = "close other programs and give the same command again: it goes on where it stopped"
            raise UnusableInput([Problem("PROCESS_LOST", what, fix)]) from error
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _pool(processes: int, standing: Standing) -> ProcessPoolExecutor:
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(processes, mp_context=context, initializer=begin_work, initargs=(standing,))


def _orders(ready: Prepared, bundles: Sequence[Bundle]) -> Callable[[Bundle], Order]:
    from partscreen.readings.some_parts import Bundles
    from partscreen.workflow.papers.read_as import control_seen

    errors = errors_of_sessions(ready, bundles)
    cut, control = Bundles(ready.batch), control_seen(ready.with_control)

    def order(bundle: Bundle) -> Order:
        batch, parts = cut.take((*bundle.lots, *bundle.teachers))
        mine = {i: ready.contradictory[p] for i, p in enumerate(parts.tolist()) if p in ready.contradictory}
        inputs = tuple(one.model_copy(update={"problems": []}) for one in batch.inputs)
        return Order(bundle, replace(batch, inputs=inputs), mine, errors.get(bundle.key), control)

    return order
