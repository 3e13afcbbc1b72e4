"""Bags as a bench reads them: rows of a pool with the errors of a sitting and of every reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from benchmarks.honesty.circuit import FORCED_GAIN
from benchmarks.honesty.pools import GAIN_VCE, Pool
from benchmarks.honesty.worlds import ROOM, World
from partscreen.device.observations import Observations

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

HFE_STD, VBE_STD, SAT_STD, SAT_REL, CAP_STD = 0.008, 1e-3, 2e-3, 0.01, 0.012
SITTING_GAIN_STD, LOGGED_STD, UNLOGGED_STD = 0.003, 0.5, 5.0
CCB_BIAS = 10.0


@dataclass(frozen=True, slots=True)
class Readings:
    """Of n parts in one sitting: ic (k,), hfe, vbe (n, k); sat_ic (s,), sat (n, s); cbe, ccb (n,), NaN where not read.

    temp_std : declared standard uncertainty of the temperature. [K]
    """

    ic: Floats
    hfe: Floats
    vbe: Floats
    sat_ic: Floats
    sat: Floats
    cbe: Floats
    ccb: Floats
    temp_std: float

    @property
    def n(self) -> int:
        return int(self.cbe.shape[0])

    def part(self, i: int) -> Readings:
        """One part alone."""
        one = slice(i, i + 1)
        return Readings(
            self.ic, self.hfe[one], self.vbe[one], self.sat_ic, self.sat[one], self.cbe[one], self.ccb[one],
            self.temp_std,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Bag:
    """A lot to be judged. group, honest, area : (n,), the truth. known : known-good lots of the type."""

    world: World
    label: str
    readings: Readings
    known: tuple[Readings, ...]
    group: npt.NDArray[np.str_]
    honest: npt.NDArray[np.bool_]
    area: Floats

    def alone(self) -> list[Bag]:
        """Every part as a lot of its own."""
        return [
            Bag(
                self.world, f"{self.label}/{i}", self.readings.part(i), self.known, self.group[i : i + 1],
                self.honest[i : i + 1], self.area[i : i + 1],
            )
            for i in range(self.readings.n)
        ]  # fmt: skip


def read(
    pool: Pool, rows: Ints, kit: int, rng: np.random.Generator, *, caps: bool = True, temp_std: float = LOGGED_STD
) -> Readings:
    """Read parts in one sitting."""
    hfe, vbe, sat = pool.hfe[rows, kit], pool.vbe[rows, kit], pool.sat[rows, kit]
    off = np.exp(rng.normal(0.0, SITTING_GAIN_STD))

    def noise(shape: tuple[int, ...]) -> Floats:
        return rng.normal(0.0, 1.0, shape)

    cbe = pool.cbe[rows] * np.exp(CAP_STD * noise(rows.shape))
    ccb = pool.ccb[rows] * np.exp(CAP_STD * noise(rows.shape))
    nothing = np.full(rows.shape, np.nan)
    return Readings(
        ic=pool.gain_ic[kit],
        hfe=hfe * off * np.exp(HFE_STD * noise(hfe.shape)),
        vbe=vbe + VBE_STD * noise(vbe.shape),
        sat_ic=pool.sat_ic[kit],
        sat=sat + sat_std(sat) * noise(sat.shape),
        cbe=cbe if caps else nothing,
        ccb=ccb if caps else nothing,
        temp_std=temp_std,
    )


def sat_std(sat: Floats) -> Floats:
    """2 mV and 1 %. [V]"""
    return np.hypot(SAT_STD, SAT_REL * sat)


def make_bag(
    world: World, pool: Pool, label: str, rows: Ints, known: list[Ints], kit: int, rng: np.random.Generator, *,
    caps: bool = True, temp_std: float = LOGGED_STD,
) -> Bag:  # fmt: skip
    """Shuffle and read a bag; known-good lots are read in sittings of their own, temperature logged."""
    rows = rng.permutation(rows)
    group = np.array([name.split(" ", 1)[-1] for name in pool.group[rows]])
    return Bag(
        world, label, read(pool, rows, kit, rng, caps=caps, temp_std=temp_std),
        tuple(read(pool, k, kit, rng, caps=caps) for k in known), group,
        np.char.endswith(group, "honest"), pool.area[rows],
    )  # fmt: skip


def observations(several: list[Readings]) -> Observations:
    """Readings of several sittings laid out for a fit, one session each. All with the same points."""
    first = several[0]
    n = sum(r.n for r in several)
    hfe, vbe, sat, cbe, ccb = (
        np.concatenate([getattr(r, name) for r in several]) for name in ("hfe", "vbe", "sat", "cbe", "ccb")
    )

    def tiled(values: npt.ArrayLike) -> npt.NDArray[np.generic]:
        return np.tile(np.asarray(values), (n, 1))

    count, sessions = np.array([r.n for r in several]), len(several)
    sat_ic = tiled(first.sat_ic).astype(float)
    return Observations(
        gain_ic=tiled(first.ic).astype(float), gain_vce=np.full(hfe.shape, GAIN_VCE),
        gain_temp=np.full(hfe.shape, ROOM),
        gain_pulsed=np.ones(hfe.shape, dtype=bool), hfe=hfe, hfe_ln_std=np.full(hfe.shape, HFE_STD), vbe=vbe,
        vbe_std=np.full(vbe.shape, VBE_STD), sat_ic=sat_ic, sat_ib=sat_ic / FORCED_GAIN,
        sat_temp=np.full(sat.shape, ROOM), sat_pulsed=np.ones(sat.shape, dtype=bool), vce_sat=sat,
        vce_sat_std=sat_std(np.nan_to_num(sat, nan=1.0)),
        cap_junction=tiled([0, 1]).astype(np.int64), cap_bias=tiled([0.0, CCB_BIAS]).astype(float),
        cap=np.stack((cbe, ccb), axis=1), cap_ln_std=np.full((n, 2), CAP_STD),
        session=np.repeat(np.arange(sessions), count), session_temp_std=np.array([r.temp_std for r in several]),
        session_gain_ln_std=np.full(sessions, SITTING_GAIN_STD), session_lead_std=np.zeros(sessions),
    )  # fmt: skip
