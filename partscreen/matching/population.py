"""Parts of one lot of a type as its population has them, where too few were read to tell the spread."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.device.predict import predict_gain
from partscreen.matching.usage import Usage
from partscreen.reference.population import Population

Floats = npt.NDArray[np.float64]

_SEED = 20261126
_VCE = 5.0  # V; differences between parts hardly depend on it
_JUNCTION = 298.15  # K


def drawn_parts(population: Population, usage: Usage, count: int) -> Floats:
    """`count` parts about the centre of the type, spread as parts of one lot are.

    Returns
    -------
    array, shape (count, 2 m): ln hFE and VBE [V] at the working currents; parts the model cannot take there are drawn
    again.
    """
    rng = np.random.default_rng(_SEED)
    rows: list[Floats] = []
    found = 0
    for _ in range(20):
        theta = rng.multivariate_normal(population.centre, population.within, count, method="cholesky")
        ic = np.tile(usage.ic, (count, 1))
        read = predict_gain(
            theta, population.constants, ic, np.full(ic.shape, _VCE), np.full(ic.shape, _JUNCTION), True, jacobian=False
        )
        both = np.hstack([read.ln_hfe, read.vbe])
        good = both[np.isfinite(both).all(axis=1)]
        rows.append(good)
        found += good.shape[0]
        if found >= count:
            break
    return np.vstack(rows)[:count]
