"""The demo: eight lots of a small workshop that services the amplifiers of a village hall and a cinema club.

All invented. Alder ships sound lots, Birch smaller dies under the print, Cedar mixed lots. Every number is seeded; the
truth is known.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from dataclasses import dataclass, replace
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np

from partscreen.simulate.bench import Readings, read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import BenchKit, Plan, Sitting
from partscreen.simulate.parts import Alternatives, Kind, Parts, TruePart, draw_lot, in_order, rename, take

# Bench 1: pulses to 8 A, a known collector lead inside VCE(sat). Bench 2: a supply and meters to 1 A; parts lie bare on
# the bench and warm up (30 K/W to the air, assumption: of the size common for such packages without a heat sink).
BENCH_1 = BenchKit("bench 1", 10.0, gain_noise=0.002, sat_noise_relative=0.003, lead=0.004, fixture=2e-12)
BENCH_2 = replace(BENCH_1, name="bench 2", ic_max=1.0, gain_error=0.006, dwell=0.5, pulsed=False, heat_sink=30.0)

_TO_8 = np.array([0.01, 0.03, 0.1, 0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 8.0])
_TO_1 = np.array([0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0])
_SAT_8 = np.array([0.1, 0.5, 1.0, 3.0, 5.0, 8.0])
_SAT_1 = np.array([0.1, 0.25, 0.5, 1.0])
_BOTH_C = ((0, 0.0), (1, 10.0))
_STEPS = np.array([0.2, 0.5, 1, 2, 5, 10, 20, 35, 50, 75, 100, 140, 180, 230, 300, 420, 560]) * 1e-3

FULL = Plan(gain_ic=_TO_8, sat_ic=_SAT_8, capacitance=_BOTH_C)
FULL_NO_C = Plan(gain_ic=_TO_8, sat_ic=_SAT_8)
STEPPED = Plan(base_steps=_STEPS)
SMALL = Plan(gain_ic=_TO_1, sat_ic=_SAT_1)
UP_AND_DOWN = Plan(gain_ic=np.concatenate([_TO_1, _TO_1[-2::-1]]), sat_ic=_SAT_1)

CONTROL = "REF"
LIMITED_PART = "B2-04"  # read with the collector supply set to 5 A
ODD_LINE = 22  # line of A2.csv whose hFE was typed "0,435"


@dataclass(frozen=True, slots=True)
class DemoLot:
    """One bag: what it is in truth, how and where it was read, and in which file it lies."""

    name: str
    type_number: str
    supplier: str
    kinds: tuple[Kind, ...]
    seed: int
    kit: BenchKit
    plan: Plan
    sitting: Sitting
    session: str
    file: str
    note: str
    known_good: bool = False
    alternatives: Alternatives | None = None


def _sound(n: int) -> tuple[Kind, ...]:
    return (Kind.SOUND,) * n


_DAY_1 = Sitting(air=296.4, session=1)
_DAY_2 = Sitting(air=294.9, session=2)
_DAY_3 = Sitting(air=299.0, drift=1.5, logged=False, session=3)
_CEDAR_NPN = (
    *_sound(3),
    Kind.SMALLER_DIE,
    Kind.SOUND,
    Kind.OPEN,
    Kind.SMALLER_DIE,
    *_sound(2),
    Kind.REVERSED,
    Kind.SMALLER_DIE,
    Kind.SOUND,
)
_CEDAR_PNP = (*_sound(2), Kind.SMALLER_DIE, *_sound(3), Kind.SMALLER_DIE, Kind.SOUND, Kind.LEAK, Kind.SOUND)

DEMO_LOTS: tuple[DemoLot, ...] = (
    DemoLot("K1", "2SC5200", "surviving channel", _sound(6), 101, BENCH_1, FULL, _DAY_1, "day 1", "K1.csv",
            "taken out of the channel that still works", known_good=True),
    DemoLot("A1", "2SC5200", "Alder", _sound(12), 102, BENCH_1, FULL, replace(_DAY_1, start=600.0), "day 1", "A1.csv",
            "for the village hall; control piece REF read with it"),
    DemoLot("B1", "2SC5200", "Birch", (Kind.SMALLER_DIE,) * 10, 103, BENCH_1, FULL, replace(_DAY_1, start=1500.0),
            "day 1", "B1.xlsx", "for the village hall, half the price"),
    DemoLot("A2", "2SA1943", "Alder", _sound(12), 104, BENCH_1, FULL_NO_C, _DAY_2, "day 2", "A2.csv",
            "signed readings; one hFE typed wrongly"),
    DemoLot("B2", "2SA1943", "Birch", (Kind.SMALLER_DIE,) * 10, 105, BENCH_1, STEPPED,
            replace(_DAY_2, start=900.0, supply_limit=5.0, clipped=(LIMITED_PART,)), "day 2", "B2.csv",
            "base current stepped, signed; supply left at 5 A for one part"),
    DemoLot("C1", "MJL21194", "Cedar", _CEDAR_NPN, 106, BENCH_1, FULL, replace(_DAY_2, start=1800.0), "day 2", "C1.txt",
            "for the cinema club; swept from the top down"),
    DemoLot("C2", "MJL21193", "Cedar", _CEDAR_PNP, 107, BENCH_2, UP_AND_DOWN, _DAY_3, "day 3", "C2.csv",
            "up and down again on bench 2, temperature not written down"),
    DemoLot("A3", "MJL21194", "Alder", _sound(8), 108, BENCH_2, SMALL, replace(_DAY_3, start=3000.0), "day 3", "A3.csv",
            "for the cinema club; bench 2"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """Where the demo's files lie."""

    readings: tuple[Path, ...]
    lots: Path
    kit: Path
    readme: Path
    stage: Path


def lot_parts(lot: DemoLot) -> Parts:
    """The parts of a demo lot, named as their stickers are."""
    parts = draw_lot(type_card(lot.type_number), lot.kinds, lot.seed, lot=lot.name, alternatives=lot.alternatives)
    return rename(parts, [f"{lot.name}-{i + 1:02d}" for i in range(parts.n_parts)])


def lot_readings(lot: DemoLot) -> Readings:
    """What the bench wrote down of a demo lot. In lot A1 the control piece is read first, after ten parts and last."""
    parts = lot_parts(lot)
    if lot.name == "A1":
        piece = rename(draw_lot(type_card(lot.type_number), [Kind.SOUND], 199, lot=""), [CONTROL])
        parts = in_order([piece, take(parts, slice(0, 10)), piece, take(parts, slice(10, None)), piece])
    return read_lot(parts, lot.kit, lot.plan, lot.seed + 1000, lot.sitting)


def demo_truth() -> dict[tuple[str, str], TruePart]:
    """The truth of every demo part, by (lot, part)."""
    return {(t.lot, t.name): t for lot in DEMO_LOTS for t in lot_parts(lot).truth}


def reading_names() -> tuple[str, ...]:
    """Names of the files of readings, in the order of the scenario; the capacitances come last."""
    return (*(lot.file for lot in DEMO_LOTS), "capacitance.csv")


def copy_demo_files(folder: Path) -> DemoFiles:
    """Copy the shipped demo files into a folder (made if need be) and say where each lies."""
    folder.mkdir(parents=True, exist_ok=True)
    with as_file(files("partscreen.simulate").joinpath("demo_files")) as shipped:
        for source in sorted(shipped.iterdir()):
            shutil.copyfile(source, folder / source.name)
    return demo_files(folder)


def demo_files(folder: Path | None = None) -> DemoFiles:
    """The demo's files in a folder; without one, those of the installed package (a package on disk, not zipped).

    Raises
    ------
    FileNotFoundError
        One of them is missing.
    """
    where = folder if folder is not None else Path(str(files("partscreen.simulate").joinpath("demo_files")))
    found = DemoFiles(
        tuple(where / n for n in reading_names()),
        where / "lots.csv",
        where / "kit.toml",
        where / "README.md",
        where / "stage.toml",
    )
    _all_there((*found.readings, found.lots, found.kit, found.readme, found.stage))
    return found


def _all_there(paths: Iterable[Path]) -> None:
    missing = [str(path) for path in paths if not path.is_file()]
    if missing:
        raise FileNotFoundError(f"demo files are missing: {', '.join(missing)}; install the package again")
