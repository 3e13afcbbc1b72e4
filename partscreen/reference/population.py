"""The population of a type: what its parts are before any is measured, how sure that is, and where each figure came
from.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import INDEX, NAMES
from partscreen.device.prior import PartPrior, TypeConstants
from partscreen.reference.library import Library
from partscreen.reference.models import ReferenceType
from partscreen.reference.population_constants import Grading, constants_for, gradings_for, rated_current
from partscreen.reference.population_fit import Centre, fit_centre
from partscreen.reference.population_spreads import Spreads, load_spreads
from partscreen.reference.population_store import Entry, key_of_bytes, key_of_type, load_store
from partscreen.reference.population_tails import with_tails
from partscreen.reference.population_witnesses import ORIGINS, Witnesses, gather

Floats = npt.NDArray[np.float64]
RATING = "rating regression"
ASSUMED = "assumption"
_CACHE: OrderedDict[tuple[int, frozenset[str], frozenset[int], str | None], tuple[ReferenceType, Population | None]] = (
    OrderedDict()
)
_CACHE_SIZE = 256
_BAND_MARGIN = 8.0 / 7.0


@dataclass(frozen=True, slots=True)
class Population:
    """Parameters of a type's parts, in the coordinates of `partscreen.device.parameters`.

    Attributes
    ----------
    centre : array, shape (n_parameters,)
    centre_covariance, between, within : arrays, shape (n_parameters, n_parameters)
        Uncertainty of the centre of the edition at hand; lots about that centre; parts about their lot.
    constants : TypeConstants
    gradings : tuple of Grading
        How the base-emitter and the collector-base capacitance fall with bias. The fit takes potential and exponent as
        given: a capacitance read at another bias than the sheet's is to be widened by `Grading.ln_std`.
    sources : dict
        Per parameter, where most of what is known of its centre came from: "rating regression", "limit interval",
        "one-sided limit", "typical value", "digitised curve", "published thermal resistance" or "assumption".
    chi_square, dof : misfit of what the sheets say to the prior from ratings, and the number of figures used.
    spreads : those it was made with, where they are not the packaged ones.
    """

    type_number: str
    centre: Floats
    centre_covariance: Floats
    between: Floats
    within: Floats
    constants: TypeConstants
    gradings: tuple[Grading, Grading]
    sources: dict[str, str]
    chi_square: float = 0.0
    dof: int = 0
    gain_group: str | None = None
    spreads: Spreads | None = None

    def part_prior(self) -> PartPrior:
        """Prior of one part of an unknown lot: all three kinds of ignorance added."""
        return PartPrior(self.centre, self.centre_covariance + self.between + self.within, self.constants)

    def sd(self) -> Floats:
        """Standard deviation of one part of an unknown lot, shape (n_parameters,)."""
        return np.sqrt(np.diag(self.part_prior().covariance))


def population_for(
    of: ReferenceType,
    *,
    leave_out_sources: Iterable[str] = (),
    leave_out_curves: Iterable[int] = (),
    gain_group: str | None = None,
    spreads: Spreads | None = None,
) -> Population | None:
    """The population of a type from whatever its file holds.

    Parameters
    ----------
    leave_out_sources : ids of sources whose rows and curves must not be used (ratings stay: they name the type)
    leave_out_curves : indexes into `of.curves`
    gain_group : rank printed on the parts, where the sheet names such ranks; narrows the gain
    spreads : other spreads than the packaged ones; given, everything is computed and nothing taken from the store

    Returns
    -------
    Population, or None where the device model does not hold (Darlington) or the rated current is not known: then
    limits and lot statistics only.
    """
    key = (id(of), frozenset(leave_out_sources), frozenset(leave_out_curves), gain_group)
    if spreads is None and key in _CACHE and _CACHE[key][0] is of:
        _CACHE.move_to_end(key)
        return _CACHE[key][1]
    plain = spreads is None and not key[1] and not key[2] and gain_group is None
    stored = load_store().by_type.get(key_of_type(of)) if plain else None
    found = _stored(stored) if stored else _build(of, key[1], key[2], gain_group, spreads or load_spreads())
    if spreads is not None and found is not None:
        found = _with_learned_centre(replace(found, spreads=spreads), spreads)
    if spreads is None:
        _CACHE[key] = (of, found)
        while len(_CACHE) > _CACHE_SIZE:
            _CACHE.popitem(last=False)
    return found


def _with_learned_centre(population: Population, spreads: Spreads) -> Population:
    """The centre that known-good lots taught, where the spreads hold one; that of a gain group is another."""
    learned = spreads.type_centres.get(population.type_number)
    if learned is None or population.gain_group is not None:
        return population
    sources = dict.fromkeys(population.sources, f"{learned.parts} known-good parts of {learned.lots} lots")
    centre, covariance = np.array(learned.centre), np.array(learned.covariance)
    return replace(population, centre=centre, centre_covariance=covariance, sources=sources)


def populations_of(library: Library, polarity: str, *, besides: str = "") -> Iterator[tuple[str, Population]]:
    """Type number and population of every type of one polarity that has a population, `besides` left out.

    A file whose population is stored is not even parsed: asking for all types costs little.
    """
    store = load_store()
    for name in library.names:
        try:
            entry = store.by_file.get(key_of_bytes(library.files[name].read_bytes()))
        except OSError:  # the file a type was parsed from may be gone by now
            entry = None
        of = library.type(name) if entry is None else entry
        if of.polarity == polarity and of.name != besides:
            found = _stored(of) if isinstance(of, Entry) else population_for(of)
            if found is not None:
                yield of.name, found


@lru_cache(maxsize=512)
def _stored(entry: Entry) -> Population | None:
    fields = entry.fields()
    return None if fields is None else Population(**fields)


def why_no_population(of: ReferenceType) -> str:
    """In words, why `population_for` gives None; empty where it does not."""
    if of.is_darlington:
        return f"{of.name} is a Darlington: limits and lot statistics only, the transistor model does not describe it"
    if rated_current(of) is None:
        return f"{of.name}: no rated collector current and no hFE row is known, so nothing sets the scale of its die"
    return ""


def _build(
    of: ReferenceType, left_out: frozenset[str], left_curves: frozenset[int], gain_group: str | None, spreads: Spreads
) -> Population | None:
    ic_rated = rated_current(of)
    if of.is_darlington or ic_rated is None:
        return None
    kept = [c for i, c in enumerate(of.curves) if i not in left_curves and not set(c.source) <= left_out]
    constants = constants_for(of, ic_rated, kept, spreads)
    mean, covariance = spreads.rating_prior(ic_rated, of.rating("VCEO"))
    thermal = of.rating("RTHJC")
    if thermal:
        _place_thermal(mean, covariance, thermal)
    witnesses = gather(
        of, spreads, ic_rated, leave_out_sources=left_out, leave_out_curves=left_curves, gain_group=gain_group
    )
    edition = spreads.spread("edition") / 2.0  # two typical parts of different editions differ by the whole of it
    centre = fit_centre(mean, covariance, witnesses, constants, edition)
    centre = with_tails(centre, mean, covariance, witnesses, constants)
    widths = np.array(witnesses.offset) / spreads.limits["hfe_band"].sd
    kinds = [centre.covariance + edition, spreads.spread("between"), spreads.spread("within")]
    about_centre, between, within = _held_to_bands(kinds, centre, witnesses, widths)
    return Population(
        of.name,
        centre.theta,
        about_centre,
        between,
        within,
        constants,
        gradings_for(of, constants, kept, spreads),
        _origins(covariance, centre, witnesses, bool(thermal)),
        centre.chi_square,
        centre.dof,
        gain_group,
    )


def _place_thermal(mean: Floats, covariance: Floats, thermal: float) -> None:
    """A printed RthJC: a reading sees about half of it, within a factor of two (assumption)."""
    at = INDEX["rth"]
    mean[at] = np.log(0.5 * thermal)
    covariance[at, :] = covariance[:, at] = 0.0
    covariance[at, at] = np.log(2.0) ** 2


def _held_to_bands(kinds: list[Floats], centre: Centre, of: Witnesses, widths: Floats) -> list[Floats]:
    """Parts of a type lie inside its hFE band: all kinds of spread shrink alike along ln hFE until together they fit
    the band.

    `widths`: shape (n_witnesses,), ln(maximum/minimum) where a witness is a band. A band counts as a flat distribution
    a seventh wider than printed, because sheets are met at their own temperature and pulse only.
    """
    bands = [i for i, origin in enumerate(of.origin) if origin == "limit interval" and centre.used[i]]
    if not bands:
        return kinds
    for i in bands:
        along = centre.slopes[i]
        variances = [float(along @ kind @ along) for kind in kinds]
        allowed = (_BAND_MARGIN * widths[i]) ** 2 / 12.0
        keep = min(1.0, allowed / sum(variances))
        kinds = [
            kind - (1.0 - keep) / variance * np.outer(kind @ along, kind @ along)
            for kind, variance in zip(kinds, variances, strict=True)
        ]
    return kinds


def _origins(covariance: Floats, centre: Centre, of: Witnesses, thermal: bool) -> dict[str, str]:
    """Per parameter the origin that tells most of it: the one whose witnesses alone would shrink the rating prior
    furthest.
    """
    out = dict.fromkeys(NAMES, RATING)
    out.update({"irb": ASSUMED, "qs": ASSUMED, "rth": "published thermal resistance" if thermal else ASSUMED})
    if not len(of):
        return out
    noise, prior = of.covariance(), np.diag(covariance)
    shrunk = {}
    for origin in ORIGINS:
        rows = np.array([o == origin for o in of.origin])
        if rows.any():
            j = centre.slopes[rows]
            total = j @ covariance @ j.T + noise[np.ix_(rows, rows)]
            shrunk[origin] = np.einsum("pi,ip->p", covariance @ j.T, np.linalg.solve(total, j @ covariance)) / prior
    for i, name in enumerate(NAMES):
        origin, share = max(((o, s[i]) for o, s in shrunk.items()), key=lambda pair: pair[1], default=("", 0.0))
        if share > 0.19:  # its sd would fall by a tenth or more
            out[name] = origin
    return out
