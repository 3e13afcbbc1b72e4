"""Curves of the parts of a set on one grid, ready to be laid on top of each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.matching.distance import features_of, session_numbers
from partscreen.matching.stock import PartCurves
from partscreen.matching.usage import POINTS, Usage
from partscreen.results.matching import MatchedSet, WorkingCurrents

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Overlay:
    """Parts of one set at common currents.

    names, positions : one a part. ic (m,) [A]. hfe (k, m). vbe_from_rail (k, m): VBE less the mean of the parts of the
    same polarity in the set [V]; less the mean of all in a pair of one each. low, high : the currents compared [A].
    """

    names: tuple[str, ...]
    positions: tuple[str, ...]
    ic: Floats
    hfe: Floats
    vbe_from_rail: Floats
    low: float
    high: float


def by_name(parts: Iterable[PartCurves]) -> dict[tuple[str, str], PartCurves]:
    """Parts by lot and name."""
    return {(part.lot, part.part): part for part in parts}


def overlay(found: MatchedSet, parts: Mapping[tuple[str, str], PartCurves], compared: WorkingCurrents) -> Overlay:
    """The curves of a set over the currents that were compared and twice beyond, as far as all its parts reach.

    One NPN against one PNP: not beyond, for what the types differ by is known at the compared currents only.

    Parameters
    ----------
    found : a set of a match
    parts : from `by_name`
    compared : its currents; what NPN and PNP differ by in VBE as types is taken off where one stands against one

    Raises
    ------
    KeyError
        A part of the set is not among `parts`.
    """
    members = [parts[place.lot, place.part] for place in found.places]
    ends = [member.ic[np.isfinite(member.ln_hfe) & np.isfinite(member.vbe)] for member in members]
    low, high = compared.ic[0], compared.ic[-1]
    opposed = len(members) == 2 and members[0].polarity != members[1].polarity
    beyond = 1.0 if opposed and len(compared.ic) > 1 else 2.0
    first, last = max(low / beyond, *(e[0] for e in ends)), min(high * beyond, *(e[-1] for e in ends))
    ic = np.geomspace(first, last, 4 * POINTS)
    even = Usage(ic, np.ones(ic.size), "")  # weight 1, so that points are the plain figures
    points = features_of(members, even, session_numbers(members))
    npn = np.array([member.polarity == "NPN" for member in members])
    vbe = points.vbe.copy()
    if opposed:
        vbe[~npn] += _offset(compared, ic)
        vbe -= vbe.mean(axis=0)
    else:
        for rail in (npn, ~npn):
            if rail.any():
                vbe[rail] -= vbe[rail].mean(axis=0)
    return Overlay(tuple(found.parts), tuple(p.position for p in found.places), ic, np.exp(points.hfe), vbe, low, high)


def _offset(compared: WorkingCurrents, ic: Floats) -> Floats:
    """What NPN and PNP differ by in VBE as types, at currents within those compared. [V]"""
    from scipy.interpolate import CubicSpline

    told = np.array(compared.vbe_offsets_mv or [0.0] * len(compared.ic)) / 1e3
    if told.size < 4:
        return np.interp(np.log(ic), np.log(compared.ic), told)
    return np.asarray(CubicSpline(np.log(compared.ic), told)(np.log(ic)))
