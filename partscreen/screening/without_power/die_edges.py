"""Die edges of opened pieces: the most direct reading of the die area, weighed as one more reading of the part.

The area of a mask is no device parameter and says nothing of the process, so it enters beside the electrical readings:
every hypothesis states an area, and the reading of it stands or falls with the hypothesis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from partscreen.readings.tables import Batch
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.hypotheses import AREAS
from partscreen.screening.evidence.reach import AREA_PRIOR_SD, Area

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

READING = "die edges"
EDGE_STD = 5e-5
"""Of one edge where none is stated: half a division of a 0.1 mm eyepiece scale or calliper (assumption). [m]"""

SAME_MASK = 0.02
"""ln area between dies of one mask: sawing and the eye's choice of the edge (assumption)."""

GRID = 0.12
"""ln area between a die and the nearest of the areas that hypotheses stand for: half of their spacing (assumption)."""

BELONGS = 0.9
"""An opened piece is one of its lot's main population (assumption, where the whole lot is asked about)."""


@dataclass(frozen=True, slots=True)
class DieAreas:
    """ln of die area in m^2 and its standard uncertainty, shape (n_parts,); NaN where not both edges were read.

    one_edge: numbers of parts of which only one edge was read; their area is not known and not guessed.
    """

    ln_area: Floats
    std: Floats
    one_edge: Ints


@dataclass(frozen=True, slots=True)
class WithEdges:
    """A lot weighed again with the die edges of its opened pieces. First axis the part; others are left as they were.

    evidence (n,), and `term` (n,), what the edges added to it; probability (n, h) and names as in `Weighed`; area: ln
    die area against the reference. modes: as in `Weighed`, weighed by the opened pieces where the reference is not the
    lot itself.
    """

    evidence: Floats
    term: Floats
    probability: Floats
    area: Area
    modes: tuple[tuple[str, str, float], ...]

    @property
    def main_unfit(self) -> float:
        """Probability that the lot's main population is not the marked type."""
        return math.fsum(p for _, kind, p in self.modes if kind != "marked")


def die_areas(batch: Batch, parts: Ints) -> DieAreas:
    """Die areas of `parts` (numbers in the batch) from their spot readings; repeated readings are averaged."""
    place = {int(p): i for i, p in enumerate(parts)}
    read: dict[tuple[int, str], list[tuple[float, float]]] = {}
    spots = batch.spots
    for row in np.flatnonzero(spots.use & ~spots.control & np.isfinite(spots.value)).tolist():
        quantity, at = str(spots.quantity[row]), place.get(int(spots.part[row]))
        if at is not None and quantity in ("die_edge_x", "die_edge_y") and spots.value[row] > 0:
            std = float(spots.std[row])
            read.setdefault((at, quantity), []).append((float(spots.value[row]), std if std > 0 else EDGE_STD))
    ln_area, std_area, one = np.full(parts.size, np.nan), np.full(parts.size, np.nan), []
    for at in range(parts.size):
        x, y = (read.get((at, q)) for q in ("die_edge_x", "die_edge_y"))
        if x and y:
            (a, sa), (b, sb) = _mean(x), _mean(y)
            ln_area[at], std_area[at] = np.log(a * b), np.hypot(sa / a, sb / b)
        elif x or y:
            one.append(at)
    return DieAreas(ln_area, std_area, np.array(one, dtype=np.int64))


def _mean(values: list[tuple[float, float]]) -> tuple[float, float]:
    """Mean, and its standard uncertainty: an instrument's error is common, so that repeats do not shrink it."""
    return float(np.mean([v for v, _ in values])), float(np.mean([s for _, s in values]))


def reference_area(known_good: DieAreas, printed: tuple[float, float] | None = None) -> tuple[float, float] | None:
    """ln of the type's die area and its standard uncertainty: known-good pieces first, else a printed (ln area, std).

    None where neither is known: the lot's own opened pieces are then compared with each other.
    """
    read = np.isfinite(known_good.ln_area)
    if not read.any():
        return printed
    weight = 1.0 / (known_good.std[read] ** 2 + SAME_MASK**2)
    return float((weight * known_good.ln_area[read]).sum() / weight.sum()), float(weight.sum() ** -0.5)


def weigh_edges(
    weighed: Weighed, area: Area, areas: DieAreas, reference: tuple[float, float] | None
) -> WithEdges | None:
    """Add the die edges to a weighed lot.

    Parameters
    ----------
    weighed, area : of n parts, without the edges
    areas : of the same parts
    reference : ln area of the type's die and its standard uncertainty; None: the median of the lot's opened pieces,
        which tells strangers among them but nothing of the lot as a whole.

    Returns
    -------
    WithEdges; None where no piece was opened, or one alone without a reference: that compares with nothing.
    """
    opened = np.flatnonzero(np.isfinite(areas.ln_area))
    if not opened.size or (reference is None and opened.size < 2):
        return None
    mean, std = np.zeros(areas.std.shape), areas.std.copy()
    for i in opened:
        mean[i], own = _against(areas, int(i), opened, reference)
        std[i] = np.hypot(std[i], own)
    ratio = areas.ln_area - mean
    stated, sd = _stated(weighed)
    ln_p = np.zeros(weighed.probability.shape)
    total = np.hypot(std[opened, None], sd[None, :])
    ln_p[opened] = -0.5 * ((ratio[opened, None] - stated[None, :]) / total) ** 2 - np.log(total)
    with np.errstate(divide="ignore"):
        posterior = np.log(weighed.probability) + ln_p
        before = np.log(weighed.probability)
    term = np.zeros(weighed.evidence.shape)
    term[opened] = _odds(posterior[opened]) - _odds(before[opened])
    posterior = np.exp(posterior - logsumexp(posterior, axis=1, keepdims=True))
    modes = weighed.modes if reference is None else _modes(weighed, ratio[opened], std[opened])
    return WithEdges(weighed.evidence + term, term, posterior, _area(area, ratio, std, opened), modes)


def _against(areas: DieAreas, i: int, opened: Ints, reference: tuple[float, float] | None) -> tuple[float, float]:
    """ln area that piece i is compared with, and its standard uncertainty: the reference, else the other pieces."""
    if reference is not None:
        return reference
    others = opened[opened != i]
    spread = np.hypot(areas.std[others], SAME_MASK)
    return float(np.median(areas.ln_area[others])), float(np.median(spread) / np.sqrt(others.size))


def _odds(ln_p: Floats) -> Floats:
    """ln of everything else over "as marked", which comes first."""
    return np.asarray(logsumexp(ln_p[:, 1:], axis=1) - ln_p[:, 0])


def _stated(weighed: Weighed) -> tuple[Floats, Floats]:
    """ln area ratio that each hypothesis states, and how surely: a fault leaves the die as it is."""
    pairs = [_area_of(name, kind) for name, kind in zip(weighed.names, weighed.kinds, strict=True)]
    return np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])


def _area_of(name: str, kind: str) -> tuple[float, float]:
    for ratio in AREAS:
        if name.startswith(f"die area {ratio:g} of"):
            return float(np.log(ratio)), float(np.hypot(GRID, SAME_MASK))
    if kind == "type" or name.startswith("unlike"):
        return 0.0, AREA_PRIOR_SD
    return 0.0, SAME_MASK


def _modes(weighed: Weighed, ratio: Floats, std: Floats) -> tuple[tuple[str, str, float], ...]:
    """What the main population is, weighed by the opened pieces: most of them are of it."""
    ln_p = []
    for name, kind, probability in weighed.modes:
        mean, sd = _area_of(name, kind)
        main, wide = np.hypot(std, sd), np.hypot(std, AREA_PRIOR_SD)
        each = np.logaddexp(
            np.log(BELONGS) - 0.5 * ((ratio - mean) / main) ** 2 - np.log(main),
            np.log1p(-BELONGS) - 0.5 * (ratio / wide) ** 2 - np.log(wide),
        )
        ln_p.append(np.log(max(probability, 1e-300)) + each.sum())
    shares = np.exp(np.array(ln_p) - logsumexp(ln_p))
    return tuple((name, kind, float(p)) for (name, kind, _), p in zip(weighed.modes, shares, strict=True))


def _area(area: Area, ratio: Floats, std: Floats, opened: Ints) -> Area:
    """The electrical and the direct reading of the area, weighed by their precision."""
    ln, sd = area.ln.copy(), area.sd.copy()
    direct, electrical = std[opened] ** -2, sd[opened] ** -2
    ln[opened] = (direct * ratio[opened] + electrical * ln[opened]) / (direct + electrical)
    sd[opened] = (direct + electrical) ** -0.5
    return Area(ln, sd)
