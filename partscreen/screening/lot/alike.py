"""Parts of a type the library does not hold: judged against known-good parts alone, or within their own lot.

No data sheet is claimed. The prior is one of any transistor of the polarity whose rated current is guessed, widely,
from the highest current that was read; all that is known of the parts then comes from known-good parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.device.prior import TypeConstants
from partscreen.reference.population_constants import Grading
from partscreen.reference.population_regression import IC_SCALE
from partscreen.reference.population_spreads import Spreads, load_spreads
from partscreen.results import Reason
from partscreen.screening.evidence.weigh_lots import LotEvidence

Floats = npt.NDArray[np.float64]

RATED_OVER_TOP = 4.0
RATED_LN_SD = 1.1
"""Rated current over the highest one read: 4, within a factor of 3 either way (assumption: benches stop between a
fiftieth of the rated current and the whole of it)."""

BIAS_LN_SD = 0.5
"""A junction capacitance under bias against that at zero, where only capacitances set the scale (assumption)."""

FEW = 3
"""Known-good parts below which their own spread is not seen at all."""


@dataclass(frozen=True, slots=True)
class AssumedPopulation:
    """What is assumed of a type not in the library; arrays as in `partscreen.reference.population.Population`.

    ic_rated [A] is a guess, `ic_ln_sd` its uncertainty; `basis` says from what.
    """

    centre: Floats
    centre_covariance: Floats
    between: Floats
    within: Floats
    constants: TypeConstants
    gradings: tuple[Grading, Grading]
    ic_rated: float
    ic_ln_sd: float
    basis: str
    type_number: str = ""
    spreads: Spreads | None = None


def top_current(observations: Observations) -> float | None:
    """Highest collector current that any part was read at [A]; None where none was."""
    read = [
        observations.gain_ic[np.isfinite(observations.hfe) | np.isfinite(observations.vbe)],
        observations.sat_ic[np.isfinite(observations.vce_sat)],
    ]
    values = np.concatenate(read)
    values = values[np.isfinite(values) & (values > 0)]
    return float(values.max()) if values.size else None


def assumed_population(
    polarity: str,
    top: float | None,
    *,
    capacitance: tuple[str, float] | None = None,
    vceo: float | None = None,
    spreads: Spreads | None = None,
) -> AssumedPopulation:
    """A wide population for a type that the library does not hold.

    Parameters
    ----------
    polarity : "NPN" or "PNP"
    top : float or None
        Highest collector current read [A], from `top_current`.
    capacitance : ("c_cb" or "c_be", value), optional
        A capacitance of the parts [F], used where no current was read.
    vceo : float, optional
        Where the user knows it. [V]

    Raises
    ------
    ValueError
        Polarity unknown, or neither a current nor a capacitance was read: nothing sets the scale of the die.
    """
    if polarity not in ("NPN", "PNP"):
        raise ValueError(f"polarity {polarity!r} of a type that is not in the library: say NPN or PNP with the lot")
    table = spreads or load_spreads()
    if top is not None and top > 0:
        ic, sd = RATED_OVER_TOP * top, RATED_LN_SD
        basis = (
            f"rated current guessed as {ic:.3g} A, within a factor of {np.exp(sd):.0f}, from readings up to {top:.3g} A"
        )
    elif capacitance is not None and capacitance[1] > 0:
        ic, sd = _rated_from_capacitance(table, *capacitance)
        told = f"a capacitance of {capacitance[1] * 1e12:.3g} pF"
        basis = f"rated current guessed as {ic:.2g} A, within a factor of {np.exp(sd):.0f}, from {told}"
    else:
        raise ValueError(
            "a type that is not in the library, and neither a current nor a capacitance was read: "
            "nothing sets the scale of the die; read hFE and VBE at one current, or C_CB"
        )
    mean, covariance = table.rating_prior(ic, vceo)
    step = 0.2
    up, down = (table.rating_prior(ic * np.exp(s), vceo)[0] for s in (step, -step))
    slope = (up - down) / (2.0 * step)
    figures = table.constants["NPN" if polarity == "NPN" else "PNP"]
    values = {name: figure.value * (ic if figure.per_ampere else 1.0) for name, figure in figures.items()}
    stds = {name: figure.spread or 0.0 for name, figure in figures.items()}
    return AssumedPopulation(
        mean,
        covariance + sd**2 * np.outer(slope, slope) + table.spread("edition"),
        table.spread("between"),
        table.spread("within"),
        TypeConstants(polarity=polarity, ic_rated=ic, **values),
        (
            Grading(values["vje"], values["mje"], stds["vje"], stds["mje"], 0.0),
            Grading(values["vjc"], values["mjc"], stds["vjc"], stds["mjc"], 0.0),
        ),
        ic,
        sd,
        basis,
    )


def _rated_from_capacitance(table: Spreads, quantity: str, value: float) -> tuple[float, float]:
    """Rated current [A] and its ln sd: the regression of capacitance on rated current, read backwards."""
    row = table.ratings["cjc" if quantity == "c_cb" else "cje"]
    at_scale, exponent, _ = row.coefficients
    ic = IC_SCALE * np.exp((np.log(value) - at_scale) / exponent)
    return float(ic), float(np.hypot(row.sd, BIAS_LN_SD) / exponent)


@dataclass(frozen=True, slots=True)
class Alike:
    """One part against known-good parts. word: "alike", "unlike" or "undecided"."""

    word: str
    reason: Reason


def compare(
    found: LotEvidence, part: int, *, known_good_parts: int, known_good_lots: int, basis: str, unlike_above: float = 3.0
) -> Alike:
    """What can be said of one part of a type that the library does not hold.

    Parameters
    ----------
    found : the lot, weighed with an assumed population that the known-good parts have taught
    part : number within the lot
    basis : of the assumed population, for the figures
    unlike_above : evidence from which a part is called unlike them (that of a reject)
    """
    evidence = float(found.weighed.evidence[part])
    reach = float(found.reach_absolute[part] if known_good_parts else found.reach[part])
    figures: dict[str, float | int | str | None] = {
        "evidence": evidence, "known_good_parts": known_good_parts, "known_good_lots": known_good_lots,
        "reach": reach, "rests_on": basis,
    }  # fmt: skip
    word = "unlike" if evidence >= unlike_above else "alike" if evidence <= 0.0 else "undecided"
    if not known_good_parts:
        said = {"alike": "Like", "unlike": "Unlike", "undecided": "Not clearly like or unlike"}[word]
        sentence = (
            f"{said} the rest of its lot. The type is not in the library and no known-good part was read: "
            "a lot wholly of another die would look the same."
        )
        return Alike(word, Reason(code="WITHIN_LOT_ONLY", sentence=sentence, figures=figures))
    said = {"alike": "Alike", "unlike": "Unlike", "undecided": "Neither clearly alike nor unlike"}[word]
    sentence = (
        f"{said} {_parts(known_good_parts, known_good_lots)}; the type is not in the library, nothing is claimed of a "
        f"data sheet. {_how_little(known_good_parts, known_good_lots)}{_blind(reach)}"
    )
    return Alike(word, Reason(code="AGAINST_KNOWN_GOOD_ONLY", sentence=sentence, figures=figures))


def _parts(parts: int, lots: int) -> str:
    return f"{parts} known-good part{'' if parts == 1 else 's'} of {lots} lot{'' if lots == 1 else 's'}"


def _how_little(parts: int, lots: int) -> str:
    if parts < FEW:
        return (
            f"{'One part says' if parts == 1 else 'Two parts say'} where the type lies and nothing of how far its "
            "parts differ: that is assumed. "
        )
    if lots < 2:
        return "Parts of one lot say nothing of how far lots differ: that is assumed. "
    return ""


def _blind(reach: float) -> str:
    if reach < 0.05:
        return "These readings would not have shown a smaller die."
    return f"A die above {reach:.2f} of theirs could have been missed."
