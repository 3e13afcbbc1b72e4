"""What a process does with a bundle of lots: judge them, and hand their JSON back."""

from __future__ import annotations

import os
import threading
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from partscreen.workflow.volume.kept import LotDone

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.instruments.uncertainty import SessionUncertainty
    from partscreen.readings.tables import Batch
    from partscreen.reference import Library
    from partscreen.results import ControlSeen, LotResult, Reason
    from partscreen.screening.fitting import SessionErrors
    from partscreen.screening.lot.setup import PopulationFor
    from partscreen.workflow.options import ScreenOptions
    from partscreen.workflow.volume.bundles import Bundle


@dataclass(frozen=True, slots=True)
class Standing:
    """What is the same for all bundles of a run."""

    chosen: ScreenOptions
    kit: Kit | None
    shared: SessionUncertainty
    brief: bool


@dataclass(frozen=True, slots=True)
class Order:
    """One bundle: its lots first in the batch, then the lots that teach."""

    bundle: Bundle
    batch: Batch
    contradictory: dict[int, Reason]
    errors: SessionErrors | None
    control: Mapping[int, ControlSeen]


@dataclass(frozen=True, slots=True)
class _Bench:
    standing: Standing
    library: Library
    population_for: PopulationFor


_bench: list[_Bench] = []


def begin_work(standing: Standing) -> None:
    """Once for each process: load what all bundles need, and end with the program that began it."""
    import multiprocessing
    import signal

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the program's to answer
    parent = multiprocessing.parent_process()
    if parent is not None:

        def wait() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=wait, daemon=True).start()
    open_bench(standing)


def open_bench(standing: Standing) -> None:
    """Load what all bundles need."""
    from partscreen.workflow.judge.learned import populations_of
    from partscreen.workflow.settings import load_library

    population_for, _ = populations_of(standing.chosen, ())
    _bench[:] = [_Bench(standing, load_library(standing.chosen.references), population_for)]


def judge_bundle(order: Order) -> list[tuple[LotDone, str]]:
    """The lots of a bundle, each with its JSON."""
    from partscreen.workflow.judge.screening import Prepared, judge_lots

    (bench,) = _bench
    standing, batch = bench.standing, order.batch
    ready = Prepared(
        standing.chosen, bench.library, standing.kit, batch, order.contradictory, batch, standing.shared, ()
    )
    numbers = order.bundle.lots
    results = judge_lots(
        ready,
        bench.population_for,
        only=range(len(numbers)),
        errors=None if order.errors is None else {order.bundle.key: order.errors},
        control=order.control,
    )
    return [
        (lot_done(number, result), lot_text(result, brief=standing.brief))
        for number, result in zip(numbers, results, strict=False)
    ]


def lot_text(lot: LotResult, *, brief: bool) -> str:
    """The lot as it stands in the JSON of a run."""
    leave_out: Any = {"parts": {"__all__": {"fit": {"covariance"}, "curves": True}}} if brief else None
    return lot.model_dump_json(by_alias=True, exclude=leave_out)


def lot_done(number: int, lot: LotResult) -> LotDone:
    """What is told of a lot once it is written."""
    from partscreen.workflow.judge.screening import codes_of_lot

    tally = Counter(part.disposition or "unusable" for part in lot.parts)
    return LotDone(
        number, lot.lot, lot.type, lot.n_parts, lot.judgement, dict(sorted(tally.items())),
        tuple(sorted(codes_of_lot(lot))),
    )  # fmt: skip
