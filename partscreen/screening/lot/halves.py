"""Lots of two populations of about equal size, where nothing but the lot itself says which of them is right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.results import Reason
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised
from partscreen.screening.evidence.reach import Area
from partscreen.screening.evidence.weigh import cumulative_log_likelihood, factor
from partscreen.screening.lot.view import ABOUT_EQUAL

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

TELLS = 3.0
"""Evidence by which the reference alone must tell the halves apart: that of a reject (natural log)."""

LEAST_PARTS = 4


@dataclass(frozen=True, slots=True)
class Halves:
    """Two halves of a lot. smaller_share; area_ratio: of the half called unfit over the other; reference: mean
    evidence of the reference alone for the half called fit, against the other.
    """

    unfit: Bools
    smaller_share: float
    area_ratio: float
    reference: float

    @property
    def undecided(self) -> bool:
        """About equal, and the reference does not say which is right: all parts are to be held."""
        return self.smaller_share >= ABOUT_EQUAL and self.reference < TELLS

    def reason(self) -> Reason:
        """For the lot."""
        n = int(self.unfit.sum())
        sentence = (
            f"The lot holds two populations of about equal size ({n} and {self.unfit.size - n} parts, die areas in the "
            f"ratio {self.area_ratio:.2f}); which one is right is not known, so all are held: read known-good parts."
        )
        figures: dict[str, float | int | str | None] = {
            "smaller_share": self.smaller_share, "area_ratio": self.area_ratio, "reference_evidence": self.reference,
        }  # fmt: skip
        return Reason(code="WHICH_HALF_UNKNOWN", sentence=sentence, figures=figures)


def apart(weighed: Weighed, known: Knowledge) -> Bools:
    """Parts that do not belong to what the lot was taken for; (n,)."""
    if known.bulk_is_type:  # the readings alone: the share of the others weighs on both halves alike
        return np.asarray(weighed.evidence > 0.0)
    return np.asarray(weighed.probability_unfit > 0.5)


def halves_of(readings: Linearised, weighed: Weighed, area: Area, known: Knowledge) -> Halves | None:
    """The two halves that weighing divided a lot into; None where it is of one kind or of fewer than 4 parts.

    Weighing a lot jointly settles on one half as the type even where the prior is as good as none; this asks the
    reference alone.
    """
    unfit = apart(weighed, known)
    if unfit.size < LEAST_PARTS or unfit.all() or not unfit.any():
        return None
    lower = factor(readings, known.lot_covariance + known.within)
    alone = cumulative_log_likelihood(readings, known.centre[None], lower)[:, 0, -1]
    count = np.maximum(readings.present.sum(axis=1), 1)
    # Parts read at fewer points have densities of other dimensions: compared by the reading, as many as most have.
    per_reading = alone / count * float(np.median(count))
    reference = float(np.median(per_reading[~unfit]) - np.median(per_reading[unfit]))
    if known.bulk_is_type:  # an assumed centre is no reference
        reference = 0.0
    share = float(unfit.mean())
    ratio = float(np.exp(np.median(area.ln[unfit]) - np.median(area.ln[~unfit])))
    return Halves(unfit, min(share, 1.0 - share), ratio, reference)
