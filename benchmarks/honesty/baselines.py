"""What usual practice makes of the same bags: rejected or not, from the readings of the bag alone."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from benchmarks.honesty.bags import Bag
from benchmarks.honesty.circuit import gain_sweep
from benchmarks.honesty.pools import GAIN_VCE
from benchmarks.honesty.worlds import ROOM, World

Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
_FEWEST = 5
_TYPICAL: dict[tuple[str, float], Floats] = {}


def printed_limits(bag: Bag) -> Bools:
    """hFE at two currents (a tenth of the tester's highest, and it) against typical / 1.7 and typical x 1.7."""
    at = [int(np.argmin(np.abs(bag.readings.ic / bag.readings.ic[-1] - share))) for share in (0.1, 1.0)]
    ratio = np.log(bag.readings.hfe[:, at] / typical_hfe(bag.world, bag.readings.ic[at]))
    return np.asarray(~(np.abs(ratio) < np.log(1.7)).all(axis=1))


def typical_hfe(world: World, ic: Floats) -> Floats:
    """hFE of the type's typical part, by ngspice."""
    key = (world.name, float(ic[-1]))
    if key not in _TYPICAL:
        one = {k: np.array([v]) for k, v in world.card.items()}
        _TYPICAL[key] = gain_sweep(one, ic, GAIN_VCE, np.array([ROOM]))[0][0]
    return _TYPICAL[key]


def part_average_testing(bag: Bag) -> Bools:
    """hFE at every current outside robust mean +/- 6 robust sigma of the bag.

    References
    ----------
    AEC-Q001 Rev-D, part average testing: robust mean = median, robust sigma = (Q3 - Q1) / 1.35, limits at 6 sigma.
    """
    hfe = bag.readings.hfe
    low, middle, high = np.nanquantile(hfe, [0.25, 0.5, 0.75], axis=0)
    return np.asarray((np.abs(hfe - middle) > 6.0 * (high - low) / 1.35).any(axis=1))


def isolation_forest(bag: Bag) -> Bools:
    """Isolation forest on raw hFE, fitted to the bag itself, threshold as the library has it."""
    from sklearn.ensemble import IsolationForest

    found = IsolationForest(random_state=0, n_estimators=100).fit_predict(_filled(bag.readings.hfe))
    return np.asarray(found < 0)


def robust_covariance(bag: Bag) -> Bools:
    """Robust Mahalanobis distance of raw readings above the 97.5 % point of chi-square, the usual cut.

    hFE and VBE at three currents, the last VCE(sat) and both capacitances where read: 40 parts do not carry more.
    """
    from scipy.stats import chi2
    from sklearn.covariance import MinCovDet

    r = bag.readings
    at = [0, r.ic.size // 2, r.ic.size - 1]
    columns = [np.log(r.hfe[:, at]), r.vbe[:, at], r.sat[:, -1:]]
    if np.isfinite(r.cbe).any():
        columns.append(np.log(np.stack((r.cbe, r.ccb), axis=1)))
    x = _filled(np.concatenate(columns, axis=1))
    x = (x - np.median(x, axis=0)) / np.maximum(x.std(axis=0), 1e-12)
    x = x[:, x.std(axis=0) > 0]
    distance = MinCovDet(random_state=0).fit(x).mahalanobis(x)
    return np.asarray(distance > chi2.ppf(0.975, x.shape[1]))


def _filled(x: Floats) -> Floats:
    seen = np.isfinite(x)
    middle = [np.median(x[seen[:, i], i]) if seen[:, i].any() else 0.0 for i in range(x.shape[1])]
    return np.where(seen, x, middle)


BASELINES: dict[str, Callable[[Bag], Bools]] = {
    "printed limits": printed_limits,
    "part average testing": part_average_testing,
    "isolation forest": isolation_forest,
    "robust covariance": robust_covariance,
}


def naive(bag: Bag) -> dict[str, Bools]:
    """Rejected or not by every baseline that can say something of the bag; a part alone has only printed limits."""
    usable = BASELINES if bag.readings.n >= _FEWEST else {"printed limits": printed_limits}
    return {name: of(bag) for name, of in usable.items()}
