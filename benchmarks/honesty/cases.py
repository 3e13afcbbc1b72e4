"""The rows of the table of numbers to reach, each a recipe of bags."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from benchmarks.honesty.bags import LOGGED_STD, UNLOGGED_STD, Bag, make_bag
from benchmarks.honesty.pools import KITS, Pool
from benchmarks.honesty.study import Study
from benchmarks.honesty.worlds import World

Recipe = tuple[tuple[str, int, int], ...]  # group, first and last part of it
SITTINGS = ("A", "B")


@dataclass(frozen=True, slots=True)
class Case:
    """One row.

    bad : group of the bad parts, none where the lot is clean. sound : parts of the lot itself. top : the tester's
    highest collector current [A]. known : known-good parts (of another lot, read in another sitting). alone : every
    part judged as a lot of its own. kinds : kinds of worlds. rejected, not_accepted : least shares of bad parts to
    reach; falsely : most of the sound parts rejected.
    """

    name: str
    title: str
    bad: str = ""
    n_bad: int = 8
    sound: int = 32
    sound_group: str = "honest"
    top: float = 1.0
    caps: bool = True
    known: int = 0
    known_group: str = "K honest"
    alone: bool = False
    kinds: tuple[str, ...] = ("prior", "card")
    logged: bool = True
    rejected: float | None = None
    not_accepted: float | None = None
    falsely: float | None = 0.005


_TWO = {"known": 2}
CASES: tuple[Case, ...] = (
    Case("area70-none", "1 A + both C, no known-good: area 0.7", "area 0.7", rejected=0.95, not_accepted=0.97),
    Case("area70-two", "1 A + both C, two known-good: area 0.7", "area 0.7", **_TWO, rejected=0.97, not_accepted=0.98),
    Case("area80-two", "the same: area 0.8", "area 0.8", **_TWO, rejected=0.60, not_accepted=0.75),
    Case("leak-two", "the same: base-emitter leak", "leak", **_TWO, rejected=0.88, not_accepted=0.94),
    Case("other-two", "the same: another type", "other", **_TWO, rejected=0.995, not_accepted=0.995),
    Case("bond-two", "the same: damaged bond (no number to reach)", "bond", **_TWO),
    Case(
        "area70-0.2A", "0.2 A + both C, two known-good: area 0.7", "area 0.7", top=0.2, **_TWO, rejected=0.95,
        not_accepted=0.97,
    ),
    Case(
        "alone50-prior", "a part alone, 1 A, no C, data sheet only, truth drawn from the shipped prior: area 0.5",
        "area 0.5", sound=8, caps=False, alone=True, kinds=("prior",), rejected=0.70, not_accepted=0.85,
    ),
    Case(
        "alone60-prior", "the same: area 0.6", "area 0.6", sound=8, caps=False, alone=True, kinds=("prior",),
        rejected=0.40, not_accepted=0.60,
    ),
    Case(
        "lot50-sheet", "lots of 40, 1 A, no C, data sheet only: area 0.5", "area 0.5", caps=False, rejected=0.70,
        not_accepted=0.85,
    ),
    Case(
        "lot60-sheet", "the same: area 0.6", "area 0.6", caps=False, rejected=0.40, not_accepted=0.60,
    ),
    Case(
        "alone50-card", "a part alone, published cards as truth, ratings and one hFE row: area 0.5", "area 0.5",
        sound=8, caps=False, alone=True, kinds=("card",), falsely=0.01,
    ),
    Case(
        "most-small", "60 % small dies, eight known-good", "small", n_bad=24, sound=16, known=8, rejected=0.95,
        not_accepted=0.97,
    ),
    Case(
        "most-other", "60 % another type, eight known-good", "other", n_bad=24, sound=16, known=8, rejected=0.95,
        not_accepted=0.97,
    ),
    Case(
        "all-small", "wholly small dies of 0.3-0.6, eight known-good", "small", n_bad=40, sound=0, known=8,
        rejected=0.95, not_accepted=0.97, falsely=None,
    ),
    Case(
        "gain", "lots of 40 with 10 % of gain 0.5-0.72 inside the limits", "gain", n_bad=4, sound=36, rejected=0.35,
        not_accepted=0.75, falsely=0.001,
    ),
    Case("clean", "clean lots of 40, no known-good", sound=40),
    Case("clean-two", "clean lots of 40, two known-good", sound=40, **_TWO),
    Case("clean-5A", "clean lots of 40, 5 A + both C, two known-good", sound=40, top=5.0, **_TWO),
    Case("wafers", "clean lots of two wafer lots", sound=40, sound_group="two wafers honest"),
    Case("quasi", "quasi-saturation (RCO up to 0.1 ohm), two known-good", sound=40, sound_group="quasi honest",
         known=2, known_group="quasi K honest"),
    Case("quasi-5A", "the same to 5 A", sound=40, sound_group="quasi honest", known=2, known_group="quasi K honest",
         top=5.0),
    Case("unlogged", "temperature off by 5 K (sd), declared unlogged, two known-good", sound=40,
         sound_group="unlogged honest", logged=False, **_TWO),
    Case("area70-5A", "5 A + both C, two known-good: area 0.7 (no number to reach)", "area 0.7", top=5.0, **_TWO),
)  # fmt: skip


def bags(case: Case, study: Study, world_name: str) -> Iterator[Bag]:
    """All bags of a case in one world, always the same ones."""
    world = study.world(world_name)
    for bag in _of_world(case, world, study.pool(world)):
        yield from bag.alone() if case.alone else [bag]


def _of_world(case: Case, world: World, parts: Pool) -> Iterator[Bag]:
    kit = KITS.index(case.top)
    for sitting in SITTINGS if case.sound_group == "honest" else ("",):
        rng = np.random.default_rng([53, *case.name.encode(), *world.name.encode(), *sitting.encode()])
        rows = parts.rows(f"{sitting} {case.sound_group}".strip(), 0, case.sound)
        if case.bad:
            rows = np.concatenate((rows, parts.rows(f"{sitting} {case.bad}", 0, case.n_bad)))
        known = [parts.rows(case.known_group, 0, case.known)] if case.known else []
        yield make_bag(
            world, parts, f"{case.name} {world.name} {sitting}".strip(), rows, known, kit, rng, caps=case.caps,
            temp_std=LOGGED_STD if case.logged else UNLOGGED_STD,
        )  # fmt: skip
