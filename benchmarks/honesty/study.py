"""The worlds of the whole study, with the types a wrong die may come from."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from benchmarks.honesty.circuit import gain_sweep
from benchmarks.honesty.pools import CACHE, VERSION, Pool, pool
from benchmarks.honesty.worlds import ROOM, World, card_worlds, drawn_world, library, prior_world

N_PRIOR = 40


@dataclass(frozen=True, slots=True)
class Study:
    """worlds : those to make bags of. others : by world name, the types a wrong die comes from in sittings A and B."""

    worlds: tuple[World, ...]
    others: dict[str, tuple[World, World]]

    def world(self, name: str) -> World:
        """One of its worlds."""
        return next(w for w in self.worlds if w.name == name)

    def pool(self, world: World) -> Pool:
        """Its parts."""
        return pool(world, self.others[world.name])


@lru_cache(maxsize=1)
def whole_study() -> Study:
    """40 library types with drawn truths and every usable published card. Truths are kept with the pools."""
    path = CACHE / f"v{VERSION}" / "truths.json"
    if not path.exists():
        drawn = _with_others([*_prior_worlds(), *card_worlds()])
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(_as_plain(drawn)), encoding="utf-8")
    return _from_plain(json.loads(path.read_text(encoding="utf-8")))


def _prior_worlds() -> list[World]:
    drawn = (prior_world(of, 0) for of in _spread_out(library(), N_PRIOR + 12))
    return [w for w in drawn if w is not None][:N_PRIOR]


def _as_plain(study: Study) -> dict[str, Any]:
    cards = {w.name: {"card": w.card, "row": w.hfe_limits if w.kind == "card" else None} for w in study.worlds}
    return {"worlds": cards, "others": {name: [o.name for o in pair] for name, pair in study.others.items()}}


def _from_plain(held: dict[str, Any]) -> Study:
    by_name = {of.name: of for of in library()}
    published = {w.name: w for w in card_worlds()} if any(e["row"] for e in held["worlds"].values()) else {}
    worlds = {}
    for name, entry in held["worlds"].items():
        if entry["row"]:
            worlds[name] = published[name]
        else:
            of = by_name[name.split(" #")[0]]
            worlds[name] = drawn_world(of, entry["card"], name)
    others = {name: (worlds[a], worlds[b]) for name, (a, b) in held["others"].items()}
    return Study(tuple(worlds.values()), others)


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
