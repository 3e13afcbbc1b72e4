"""How far parts are from each other over the working currents, and whether that can be told from measurement."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.matching.stock import PartCurves
from partscreen.matching.usage import Usage

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

# Two readings of one part differ by less than this many standard uncertainties in hFE and in VBE both, 95 times in a
# hundred. It holds for root mean squares over any number of currents, however their errors hang together: the sharpest
# case is one common error (Szekely and Bakirov, 2003, extremal probabilities of Gaussian quadratic forms; memory).
COVERAGE = 2.24


@dataclass(frozen=True, slots=True)
class Tolerance:
    """What counts as matched: ratio of hFE in percent, VBE in volt.

    NTE159 data sheet, note 1: matched complementary pairs have their hFE within 10 % of each other.
    """

    hfe_percent: float = 10.0
    vbe: float = 0.020  # common practice, no source: 20 mV or better at idle

    @property
    def ln_hfe(self) -> float:
        """The tolerance of ln hFE."""
        return float(np.log1p(self.hfe_percent / 100.0))


@dataclass(frozen=True, slots=True)
class Features:
    """Parts as points whose distance is their difference; every array weighted by the root of the share of use.

    hfe (ln), vbe [V]: shape (n, m). own, session: squared standard uncertainty of root mean square ln hFE and VBE, (n,)
    each. group: number of the session, (n,).
    """

    hfe: Floats
    vbe: Floats
    own: tuple[Floats, Floats]
    session: tuple[Floats, Floats]
    group: Ints

    @property
    def n(self) -> int:
        """Number of parts."""
        return int(self.hfe.shape[0])

    def take(self, rows: npt.ArrayLike) -> Features:
        """Some of the parts."""
        r = np.asarray(rows, dtype=np.int64)
        return Features(
            self.hfe[r], self.vbe[r], (self.own[0][r], self.own[1][r]), (self.session[0][r], self.session[1][r]),
            self.group[r],
        )  # fmt: skip

    def shifted(self, vbe: Floats) -> Features:
        """With `vbe` (m,), weighted as the others, taken off the base-emitter voltage at every current."""
        return Features(self.hfe, self.vbe - vbe, self.own, self.session, self.group)


def session_of(part: PartCurves) -> tuple[int, str]:
    """What tells the session of a part from others; one without a name is that of its lot."""
    return part.run, part.session or f"lot {part.lot}"


def session_numbers(parts: Iterable[PartCurves]) -> dict[tuple[int, str], int]:
    """A number for every session of these parts."""
    return {name: i for i, name in enumerate(sorted({session_of(part) for part in parts}))}


def features_of(parts: Sequence[PartCurves], usage: Usage, numbers: Mapping[tuple[int, str], int]) -> Features:
    """Curves at the working currents, by a cubic spline over ln IC. `numbers`: of the sessions.

    Raises
    ------
    ValueError
        A part's curve does not reach a working current.
    """
    root, x = np.sqrt(usage.weight), np.log(usage.ic)
    rows: list[list[Floats]] = []
    for part in parts:
        read = [_at(part, values, x) for values in (part.ln_hfe, part.vbe, *part.own, *part.shared)]
        if not all(np.isfinite(r).all() for r in read[:2]):
            raise ValueError(f"the curve of part {part.label} does not reach from {usage.ic[0]:.3g} A to the top")
        rows.append(read)
    table = np.array(rows).reshape(len(parts), 6, x.size)
    squares = np.sum(np.nan_to_num(table[:, 2:]) ** 2 * usage.weight, axis=2)
    return Features(
        table[:, 0] * root, table[:, 1] * root, (squares[:, 0], squares[:, 1]), (squares[:, 2], squares[:, 3]),
        np.array([numbers[session_of(part)] for part in parts], dtype=np.int64),
    )  # fmt: skip


def _at(part: PartCurves, values: Floats, x: Floats) -> Floats:
    """One curve of a part at ln IC = x; NaN beyond its ends."""
    from scipy.interpolate import CubicSpline

    known = np.isfinite(values) & (part.ic > 0)
    if known.sum() < 2:
        return np.full(x.size, np.nan)
    at = np.log(part.ic[known])
    edge = 1e-6  # the grid of a usage may end a rounding error beyond that of the curve
    clipped = np.where((x > at[-1]) & (x < at[-1] + edge), at[-1], x)
    clipped = np.where((x < at[0]) & (x > at[0] - edge), at[0], clipped)
    return np.asarray(CubicSpline(at, values[known], extrapolate=False)(clipped))  # fitted curves are smooth


@dataclass(frozen=True, slots=True)
class Differences:
    """Between every part of one list (rows) and every part of another (columns); shape (n, m).

    hfe : root mean square difference of ln hFE. vbe : that of VBE [V]. hfe_std, vbe_std : standard uncertainty of
    either. distance : 1 is the tolerance of hFE, or of VBE, alone. alike : cannot be told apart. within : inside both
    tolerances. one_session : read in one session, so that its shared errors cancel.
    """

    hfe: Floats
    vbe: Floats
    hfe_std: Floats
    vbe_std: Floats
    distance: Floats
    alike: Bools
    within: Bools
    one_session: Bools


def differences(a: Features, b: Features, tolerance: Tolerance) -> Differences:
    """Every part of `a` against every part of `b`. An entry depends on its two parts alone, not on their order."""
    from scipy.spatial.distance import cdist

    hfe, vbe = cdist(a.hfe, b.hfe), cdist(a.vbe, b.vbe)
    same = a.group[:, None] == b.group[None, :]
    hfe_std, vbe_std = (
        np.sqrt(a.own[i][:, None] + b.own[i] + np.where(same, 0.0, a.session[i][:, None] + b.session[i]))
        for i in (0, 1)
    )
    return Differences(
        hfe, vbe, hfe_std, vbe_std,
        np.hypot(hfe / tolerance.ln_hfe, vbe / tolerance.vbe),
        (hfe <= COVERAGE * hfe_std) & (vbe <= COVERAGE * vbe_std),
        (hfe <= tolerance.ln_hfe) & (vbe <= tolerance.vbe),
        same,
    )  # fmt: skip


def common_offset(a: Features, b: Features) -> Floats:
    """Difference of the median VBE of two lists at every current, a minus b, weighted as they are: what two types
    differ by as such."""
    return np.asarray(np.median(a.vbe, axis=0) - np.median(b.vbe, axis=0))
