"""The worlds of the whole study and of the small fixed sample, with the types a wrong die may come from."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from benchmarks.honesty.circuit import gain_sweep
from benchmarks.honesty.pools import Pool, pool
from benchmarks.honesty.worlds import ROOM, World, card_worlds, library, prior_world

N_PRIOR = 40


@dataclass(frozen=True, slots=True)
class Study:
    """worlds : those to make bags of. others : by world name, the types a wrong die comes from in sittings A and B."""

    worlds: tuple[World, ...]
    others: dict[str, tuple[World, World]]

    def pool(self, world: World) -> Pool:
        """Its parts."""
        return pool(world, self.others[world.name])


@lru_cache(maxsize=2)
def whole_study() -> Study:
    """40 library types with drawn truths and every usable published card."""
    prior = [w for w in (prior_world(of, 0) for of in _spread_out(library(), N_PRIOR + 12)) if w is not None]
    return _with_others([*prior[:N_PRIOR], *card_worlds()])


@lru_cache(maxsize=2)
def small_study(names: tuple[str, ...] = ("2SC5200", "MJL21193", "MJ15003", "2SA1943")) -> Study:
    """A few library types, for the fixed sample of ordinary test runs."""
    found = [prior_world(of, 0) for of in library() if of.name in names]
    return _with_others([w for w in found if w is not None])


def _spread_out(types: Sequence, n: int) -> list:  # type: ignore[type-arg]
    """n types in a fixed shuffled order, so that no family of names is preferred."""
    order = np.random.default_rng(5).permutation(len(types))
    return [types[i] for i in order[:n]]


def _with_others(worlds: Sequence[World]) -> Study:
    table = {w.name: _signature(w) for w in worlds}
    others = {}
    for w in worlds:
        rng = np.random.default_rng([41, *w.name.encode()])
        far = [o for o in worlds if o.polarity == w.polarity and differs(table[w.name], table[o.name])]
        pool_of = far or [o for o in worlds if o.name != w.name]
        a, b = rng.choice(len(pool_of), 2, replace=len(pool_of) < 2)
        others[w.name] = (pool_of[a], pool_of[b])
    return Study(tuple(worlds), others)


def _signature(world: World) -> np.ndarray:  # type: ignore[type-arg]
    one = {k: np.array([v]) for k, v in world.card.items()}
    hfe, vbe = gain_sweep(one, np.array([0.01, 0.1, 1.0]), 5.0, np.array([ROOM]))
    ln_c = np.log([world.card["cje"], world.card["cjc"] * (1 + 10 / world.card["vjc"]) ** -world.card["mjc"]])
    return np.concatenate((np.log(hfe[0]) / 0.5, vbe[0] / 0.02, ln_c / 0.25))


def differs(a: np.ndarray, b: np.ndarray) -> bool:  # type: ignore[type-arg]
    """Whether two types are outside one equivalence class: a typical reading differs by more than lots of one type do.

    hFE by a factor of 1.65, VBE by 20 mV (both at 10, 100 mA or 1 A), or a capacitance by 28 % (about two standard
    deviations of parts of different lots; assumption).
    """
    return bool(np.max(np.abs(a - b)) > 1.0)


def make_pools(study: Study, workers: int = 2) -> None:
    """Run ngspice for every world not yet on disk."""
    with ProcessPoolExecutor(workers) as pool_:
        list(pool_.map(study.pool, study.worlds))
