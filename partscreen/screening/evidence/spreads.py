"""How much the parts of one lot may differ: as assumed, less in what faults show in, or as of several lots.

The spread is not known but assumed, so a lot is weighed under each of these and its own parts say which holds; parts
that do not belong have no say in it. None is narrower than a floor, or a lot of a few like parts would make faults of
their smallest differences.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.knowledge import Knowledge

Floats = npt.NDArray[np.float64]

SHARES = (0.9, 0.1)  # of lots: spread as assumed, put together of several lots (assumption)
OF_SEVERAL = 0.5  # of the variance between lots that stands between the parts of a lot of several (two: one half)


def main_spreads(known: Knowledge) -> tuple[Floats, ...]:
    """Covariances of the parts of a main population about its centre, (q, q) each, in the order of `SHARES`."""
    return (
        known.within,
        known.within + OF_SEVERAL * known.device_between,
    )
