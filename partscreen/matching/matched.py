"""Sets of the result from rows of parts."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.matching.distance import Differences
from partscreen.matching.ready import Ready
from partscreen.matching.set_problem import LOOSE
from partscreen.matching.stock import PartCurves
from partscreen.results.matching import MatchedPart, MatchedSet

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def percent(ln_difference: float) -> float:
    """A difference of ln hFE as percent of the smaller."""
    return float(100.0 * np.expm1(ln_difference))


def pair_set(ready: Ready, d: Differences, i: int, j: int) -> MatchedSet:
    """One NPN with one PNP."""
    places = [*_places(ready.a, [i], "N", None), *_places(ready.b, [j], "P", None)]
    return MatchedSet(
        parts=[ready.a[i].label, ready.b[j].label], places=places, hfe_difference_percent=percent(d.hfe[i, j]),
        vbe_difference_mv=1e3 * d.vbe[i, j], hfe_uncertainty_percent=percent(d.hfe_std[i, j]),
        vbe_uncertainty_mv=1e3 * d.vbe_std[i, j], within_tolerance=bool(d.within[i, j]),
        alike_within_measurement=bool(d.alike[i, j]), one_session=bool(d.one_session[i, j]),
        distance=float(d.distance[i, j]),
    )  # fmt: skip


def group_set(ready: Ready, d: Differences, rows: Ints) -> MatchedSet:
    """Parts of one polarity; the distance is the mean of its pairs."""
    a, b = (rows[x] for x in np.triu_indices(rows.size, 1))
    letter = "N" if ready.a[int(rows[0])].polarity == "NPN" else "P"
    means = ready.points_a.vbe @ np.sqrt(ready.usage.weight)
    return MatchedSet(
        parts=[ready.a[i].label for i in rows.tolist()], places=_places(ready.a, rows.tolist(), letter, means),
        **_largest([(d, a, b)]), distance=float(d.distance[a, b].mean()),
    )  # fmt: skip


def rail_set(
    ready: Ready, npn: Differences, pnp: Differences, across: Differences, a: Ints, b: Ints, cost: float, amplifier: int
) -> MatchedSet:
    """A channel set: NPN rows `a`, PNP rows `b`; within tolerance also needs the loose one across."""
    root = np.sqrt(ready.usage.weight)
    places = [
        *_places(ready.a, a.tolist(), "N", ready.points_a.vbe @ root),
        *_places(ready.b, b.tolist(), "P", ready.points_b.vbe @ root),
    ]
    rails = [(d, rows[x], rows[y]) for d, rows in ((npn, a), (pnp, b)) for x, y in [np.triu_indices(rows.size, 1)]]
    figures = _largest(rails)
    far = across.distance[np.ix_(a, b)].max()
    figures["within_tolerance"] = bool(figures["within_tolerance"] and far * LOOSE <= np.sqrt(2.0))
    return MatchedSet(
        parts=[p.label for p in (*(ready.a[i] for i in a), *(ready.b[j] for j in b))], places=places, **figures,
        across_hfe_percent=percent(float(across.hfe[np.ix_(a, b)].max())),
        across_vbe_mv=1e3 * float(across.vbe[np.ix_(a, b)].max()), distance=cost, amplifier=amplifier or None,
    )  # fmt: skip


def _largest(pieces: Sequence[tuple[Differences, Ints, Ints]]) -> dict[str, Any]:
    """The largest differences over pairs of parts, with the uncertainty of just that pair."""
    hfe, hfe_std, vbe, vbe_std = (
        np.concatenate([getattr(d, name)[a, b] for d, a, b in pieces]) for name in ("hfe", "hfe_std", "vbe", "vbe_std")
    )
    flags = {
        name: all(bool(getattr(d, key)[a, b].all()) for d, a, b in pieces)
        for name, key in (("within_tolerance", "within"), ("alike_within_measurement", "alike"),
                          ("one_session", "one_session"))
    }  # fmt: skip
    if not hfe.size:  # one device per rail
        return {"hfe_difference_percent": 0.0, "vbe_difference_mv": 0.0, **flags}
    i, j = int(hfe.argmax()), int(vbe.argmax())
    return {
        "hfe_difference_percent": percent(float(hfe[i])), "hfe_uncertainty_percent": percent(float(hfe_std[i])),
        "vbe_difference_mv": 1e3 * float(vbe[j]), "vbe_uncertainty_mv": 1e3 * float(vbe_std[j]), **flags,
    }  # fmt: skip


def _places(parts: Sequence[PartCurves], rows: Sequence[int], letter: str, means: Floats | None) -> list[MatchedPart]:
    middle = 0.0 if means is None else float(means[list(rows)].mean())
    return [
        MatchedPart(
            position=f"{letter}{place}", part=parts[i].part, lot=parts[i].lot, type=parts[i].type,
            session=parts[i].session, vbe_from_mean_mv=None if means is None else 1e3 * (float(means[i]) - middle),
        )
        for place, i in enumerate(rows, 1)
    ]  # fmt: skip


def ranked_sets(sets: Sequence[MatchedSet]) -> list[MatchedSet]:
    """Those alike within measurement first, unranked and by name; then the others, the best of them ranked 1."""
    alike = sorted((s for s in sets if s.alike_within_measurement), key=lambda s: s.parts)
    others = sorted((s for s in sets if not s.alike_within_measurement), key=lambda s: (s.distance, s.parts))
    ranks: list[int] = [1] * len(others)
    for place, (before, now) in enumerate(pairwise(others), 1):
        ranks[place] = ranks[place - 1] if now.distance == before.distance else place + 1
    return [*alike, *(s.model_copy(update={"rank": rank}) for s, rank in zip(others, ranks, strict=True))]
