"""How hard a kind of bad part is: what a test that knows everything but the part itself would find.

The centre of the lot, the spread of its parts and the mean direction in which the bad parts lie are taken from the
truth; the best straight-line test of hFE and VBE along that direction is set to reject one sound part in a thousand.
Not a strict bound (bad parts are no Gaussian), but no screener can be asked for much more.
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
FALSE_ALARMS = 1e-3
_SOUND = ("A honest", "B honest", "K honest", "K2 honest")
_VOLT = 0.01  # [V] puts VBE on the scale of ln hFE


def detectable(study: Study, kind: str, worlds: list[str], top: float = 1.0) -> pd.DataFrame:
    """Per part of a kind, whether such a test would reject it: columns world, found."""
    rows = []
    for name in worlds:
        pool = study.pool(study.world(name))
        found = _of_world(pool, kind, KITS.index(top))
        rows.append(pd.DataFrame({"world": name, "found": found}))
    return pd.concat(rows, ignore_index=True)


def _of_world(pool: Pool, kind: str, kit: int) -> npt.NDArray[np.bool_]:
    at = [0, 2, 5, pool.gain_ic.shape[1] - 1]

    def seen(group: str) -> Floats:
        rows = pool.rows(group)
        return np.concatenate((np.log(pool.hfe[rows, kit][:, at]), pool.vbe[rows, kit][:, at] / _VOLT), axis=1)

    about = np.concatenate([seen(group) - seen(group).mean(axis=0) for group in _SOUND])
    noise = np.diag([HFE_STD**2] * len(at) + [(VBE_STD / _VOLT) ** 2] * len(at))
    inverse = np.linalg.inv(np.cov(about.T) + noise)
    found = []
    for sitting in ("A", "B"):
        off = seen(f"{sitting} {kind}") - seen(f"{sitting} honest").mean(axis=0)
        if len(off):
            mean = off.mean(axis=0)
            found.append(off @ inverse @ mean / np.sqrt(mean @ inverse @ mean) > norm.isf(FALSE_ALARMS))
    return np.concatenate(found) if found else np.zeros(0, dtype=bool)
