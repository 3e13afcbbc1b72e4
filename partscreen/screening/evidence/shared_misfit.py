"""What the parts of a lot have in common beyond the device model is the model's error, not theirs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.linear import Linearised

Floats = npt.NDArray[np.float64]

OWN_SHARE = 0.15
"""Share of the model's error in which parts of one type differ among themselves: about their spread (assumption)."""


def share_misfit(readings: Linearised, weight: Floats) -> Linearised:
    """Take the common misfit off, reading by reading, each part left out of what is taken off it.

    Parameters
    ----------
    weight : (n_parts,), probability of belonging to the lot's main population.

    Returns
    -------
    Linearised
        Residuals less the common misfit; std with what is left of it: all of the model's error for a part alone, little
        more than the parts' own share in a lot.
    """
    model = readings.misfit
    if not model.any():
        return readings
    own = readings.std**2 + (OWN_SHARE * model) ** 2
    counts = np.where(readings.present & (model > 0.0), weight[:, None] / own, 0.0)
    place, size = readings.place, int(readings.place.max()) + 1

    def over_lot(values: Floats) -> Floats:
        return np.asarray(np.bincount(place.ravel(), values.ravel(), size)[place])

    with np.errstate(divide="ignore"):
        prior = np.where(model > 0.0, model**-2.0, 0.0)
    others = np.maximum(over_lot(counts) - counts, 0.0)
    total = np.where(prior > 0.0, others + prior, 1.0)
    common = (over_lot(counts * readings.residual) - counts * readings.residual) / total
    left = np.where(prior > 0.0, 1.0 / total, 0.0)
    touched = readings.present & (model > 0.0)
    return replace(
        readings,
        residual=np.where(touched, readings.residual - common, readings.residual),
        std=np.where(touched, np.sqrt(own + left), readings.std),
    )
