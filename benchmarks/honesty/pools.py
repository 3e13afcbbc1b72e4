"""All parts of a type world, read by ngspice without reading errors, and kept on disk for the next run."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from benchmarks.honesty.circuit import depletion, gain_sweep, saturation_sweep
from benchmarks.honesty.parts import draw_parts, join, lot_effect, pick, with_bond, with_gain, with_leak
from benchmarks.honesty.worlds import ROOM, World

Floats = npt.NDArray[np.float64]
Cards = dict[str, Floats]
VERSION = 5
KITS = (0.2, 1.0, 5.0)  # [A] highest collector current of a tester
N_GAIN, N_SAT = 11, 5
GAIN_VCE = 5.0
LOWEST = 0.005  # [A]
LOT, BAD, KNOWN = 40, 8, 8
AREAS = (0.5, 0.6, 0.7, 0.8)
CACHE = Path(os.environ.get("PARTSCREEN_HONESTY_CACHE", Path.home() / ".cache" / "partscreen-honesty"))


@dataclass(frozen=True, slots=True)
class Pool:
    """Readings of n parts without errors.

    group : (n,), such as "A honest" (sitting A, sound parts); hfe, vbe : (n, kits, N_GAIN); sat : (n, kits, N_SAT);
    cbe at 0 V, ccb at 10 V : (n,); area : (n,), die area against that of the type the part truly is.
    gain_ic, sat_ic : (kits, points).
    """

    group: npt.NDArray[np.str_]
    hfe: Floats
    vbe: Floats
    sat: Floats
    cbe: Floats
    ccb: Floats
    area: Floats
    gain_ic: Floats
    sat_ic: Floats

    def rows(self, group: str, first: int = 0, last: int | None = None) -> npt.NDArray[np.int64]:
        """Rows of a group, a slice of them."""
        return np.flatnonzero(self.group == group)[first:last]


@dataclass(slots=True)
class _Builder:
    world: World
    rng: np.random.Generator
    cards: list[Cards]
    groups: list[str]
    temps: list[Floats]

    def add(self, group: str, cards: Cards, temp: float) -> None:
        n = cards["is"].size
        self.cards.append(cards)
        self.groups += [group] * n
        self.temps.append(np.full(n, ROOM + temp))


def currents(ic_rated: float) -> tuple[Floats, Floats]:
    """Collector currents of sweeps by kit: gain (kits, N_GAIN), saturation (kits, N_SAT). [A]"""
    tops = [min(kit, ic_rated) for kit in KITS]
    gain = np.stack([np.geomspace(LOWEST, top, N_GAIN) for top in tops])
    return gain, np.stack([np.geomspace(top / 10.0, top, N_SAT) for top in tops])


def sound_lot(world: World, n: int, rng: np.random.Generator, card: dict[str, float] | None = None) -> Cards:
    """Sound parts of one lot, those that pass the maker's hFE limits; a lot of which too few pass is never shipped."""
    for _ in range(30):
        cards = draw_parts(card or world.card, lot_effect(rng), 2 * n, rng)
        passed = np.flatnonzero(passes(world, cards))
        if passed.size >= n:
            return pick(cards, passed[:n])
    return pick(cards, np.arange(n))


def passes(world: World, cards: Cards) -> npt.NDArray[np.bool_]:
    """Whether parts meet the maker's hFE limits at 25 degC."""
    fits = np.ones(cards["is"].size, dtype=bool)
    for ic, vce, low, high in world.hfe_limits:
        hfe, _ = gain_sweep(cards, np.array([ic]), vce, np.full(fits.size, ROOM))
        with np.errstate(invalid="ignore"):
            fits &= (hfe[:, 0] >= low) & (hfe[:, 0] <= high)
    return fits


def build(world: World, others: Sequence[World], seed: int) -> Pool:
    """Make all parts of a world and read them. `others`: types a wrong die may come from, one a sitting."""
    rng = np.random.default_rng([31, seed, *world.name.encode()])
    b = _Builder(world, rng, [], [], [])
    for sitting, other in zip("AB", others, strict=True):
        _sitting(b, sitting, other)
    _special_lots(b)
    return _read(world, b)


def _sitting(b: _Builder, sitting: str, other: World) -> None:
    """A lot and everything that could be mixed into it, read in one sitting."""
    rng, card, temp = b.rng, b.world.card, b.rng.normal(0.0, 0.5)
    sound = sound_lot(b.world, LOT + 8 * BAD, rng)
    b.add(f"{sitting} honest", pick(sound, np.arange(LOT)), temp)
    lot = lot_effect(rng)
    for area in AREAS:
        b.add(f"{sitting} area {area:g}", draw_parts(card, lot_effect(rng), BAD, rng, area=area), temp)
    area = rng.uniform(0.3, 0.6)
    b.add(f"{sitting} small", draw_parts(card, lot_effect(rng), LOT, rng, area=area), temp)
    # Worn or weak parts of the very same lot: only one thing is wrong with them.
    leaky, bond, weak = (pick(sound, np.arange(LOT + a * BAD, LOT + e * BAD)) for a, e in ((0, 1), (1, 2), (2, 8)))
    b.add(f"{sitting} leak", with_leak(leaky, rng), temp)
    b.add(f"{sitting} bond", with_bond(bond, rng), temp)
    b.add(f"{sitting} other", draw_parts(other.card, lot, 24, rng), temp)
    weak = with_gain(weak, rng)
    inside = np.flatnonzero(passes(b.world, weak))[:BAD]
    b.add(f"{sitting} gain", pick(weak, inside), temp)


def _special_lots(b: _Builder) -> None:
    rng, world = b.rng, b.world
    b.add("K honest", sound_lot(world, KNOWN, rng), rng.normal(0.0, 0.5))
    b.add("K2 honest", sound_lot(world, KNOWN, rng), rng.normal(0.0, 0.5))
    half = LOT // 2
    b.add("two wafers honest", join(sound_lot(world, half, rng), sound_lot(world, half, rng)), rng.normal(0.0, 0.5))
    temp = rng.normal(0.0, 5.0)
    b.add("unlogged honest", sound_lot(world, LOT, rng), temp)
    b.add("unlogged area 0.7", draw_parts(world.card, lot_effect(rng), BAD, rng, area=0.7), temp)
    quasi = {**world.card, "rco": rng.uniform(0.02, 0.1), "vo": rng.uniform(3.0, 8.0), "gamma": 1e-11}
    temp = rng.normal(0.0, 0.5)
    b.add("quasi honest", sound_lot(world, LOT, rng, quasi), temp)
    b.add("quasi area 0.7", draw_parts(quasi, lot_effect(rng), BAD, rng, area=0.7), temp)
    b.add("quasi K honest", sound_lot(world, KNOWN, rng, quasi), rng.normal(0.0, 0.5))


def _read(world: World, b: _Builder) -> Pool:
    cards, temp = join(*b.cards), np.concatenate(b.temps)
    gain_ic, sat_ic = currents(world.ic_rated)
    gains = [gain_sweep(cards, ic, GAIN_VCE, temp) for ic in gain_ic]
    return Pool(
        group=np.array(b.groups),
        hfe=np.stack([g[0] for g in gains], axis=1),
        vbe=np.stack([g[1] for g in gains], axis=1),
        sat=np.stack([saturation_sweep(cards, ic, temp) for ic in sat_ic], axis=1),
        cbe=depletion(cards["cje"], 0.0, cards["vje"], cards["mje"]),
        ccb=depletion(cards["cjc"], 10.0, cards["vjc"], cards["mjc"]),
        area=cards["area"],
        gain_ic=gain_ic,
        sat_ic=sat_ic,
    )


def pool(world: World, others: Sequence[World], seed: int = 0) -> Pool:
    """The pool of a world, from disk where it was made before."""
    mark = "".join(c if c.isalnum() else "_" for c in f"{world.name} {world.kind} {seed}")
    path = CACHE / f"v{VERSION}" / f"{mark}.npz"
    if path.exists():
        with np.load(path) as held:
            return Pool(**{name: held[name] for name in held.files})
    made = build(world, others, seed)
    path.parent.mkdir(parents=True, exist_ok=True)
    partial = path.with_suffix(f".{os.getpid()}.npz")
    np.savez_compressed(partial, **{name: getattr(made, name) for name in Pool.__dataclass_fields__})
    partial.replace(path)
    return made
