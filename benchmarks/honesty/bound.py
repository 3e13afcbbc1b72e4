"""How hard a kind of bad part is: what a test that knows everything but the part itself would find.

The centre of the lot, the spread of its parts and the mean direction in which the other bad parts of the world lie are
taken from the truth; the best straight-line test of hFE and VBE along that direction is set to a share of sound parts
rejected. Not a strict bound (bad parts are no Gaussian), but no screener can be asked for much more.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import norm

from benchmarks.honesty.bags import HFE_STD, VBE_STD
from benchmarks.honesty.pools import KITS, Pool
from benchmarks.honesty.study import Study

Floats = npt.NDArray[np.float64]
FALSE_ALARMS = (1e-3, 0.02, 0.05)
_SOUND = ("A honest", "B honest", "K honest", "K2 honest")
_VOLT = 0.01  # [V] puts VBE on the scale of ln hFE


def detectable(study: Study, kind: str, worlds: list[str], top: float = 1.0) -> pd.DataFrame:
    """Per part of a kind, how far out such a test would see it, in sound standard deviations: columns world, away."""
    rows = []
    for name in worlds:
        pool = study.pool(study.world(name))
        rows.append(pd.DataFrame({"world": name, "away": _of_world(pool, kind, KITS.index(top))}))
    return pd.concat(rows, ignore_index=True)


def beyond(false_alarms: float) -> float:
    """From where on a part is rejected, in sound standard deviations."""
    return float(norm.isf(false_alarms))


def _of_world(pool: Pool, kind: str, kit: int) -> Floats:
    at = [0, 2, 5, pool.gain_ic.shape[1] - 1]

    def seen(group: str) -> Floats:
        rows = pool.rows(group)
        return np.concatenate((np.log(pool.hfe[rows, kit][:, at]), pool.vbe[rows, kit][:, at] / _VOLT), axis=1)

    about = np.concatenate([seen(group) - seen(group).mean(axis=0) for group in _SOUND])
    noise = np.diag([HFE_STD**2] * len(at) + [(VBE_STD / _VOLT) ** 2] * len(at))
    inverse = np.linalg.inv(np.cov(about.T) + noise)
    read = np.random.default_rng(67).normal(0.0, 1.0, (2 * len(pool.group), 2 * len(at))) * np.sqrt(np.diag(noise))
    off = np.concatenate([seen(f"{s} {kind}") - seen(f"{s} honest").mean(axis=0) for s in "AB"])
    if len(off) < 2:  # no other part to take the direction from
        return np.zeros(0)
    # Each part is left out of its own direction: with eight parts it would else point at itself.
    mean = (off.sum(axis=0) - off) / (len(off) - 1)
    seen_off = off + read[: len(off)]
    length = np.sqrt(np.einsum("nk,kj,nj->n", mean, inverse, mean))
    return np.asarray(np.einsum("nk,kj,nj->n", seen_off, inverse, mean) / length)
