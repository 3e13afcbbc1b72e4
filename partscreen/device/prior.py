"""What is known of a part before it is measured, in the coordinates of `partscreen.device.parameters`."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TypeConstants:
    """What the fit takes as given for a type. SPICE names; volts, amperes, kelvin, electron-volts.

    `ic_rated` scales quasi-saturation and leakage; `tnom` is the temperature at which `theta` is expressed.
    """

    polarity: str  # "NPN" or "PNP"
    ic_rated: float
    isc: float = 0.0
    nc: float = 2.0
    var: float = np.inf
    ikr: float = np.inf
    eg: float = 1.11
    xti: float = 3.0
    xtb: float = 1.5
    vje: float = 0.75
    mje: float = 0.33
    vjc: float = 0.6
    mjc: float = 0.4
    fc: float = 0.5
    tnom: float = 300.15


@dataclass(frozen=True, slots=True)
class PartPrior:
    """Gaussian prior of one part of a type.

    Attributes
    ----------
    mean : array, shape (n_parameters,)
    covariance : array, shape (n_parameters, n_parameters)
    constants : TypeConstants
    """

    mean: Floats
    covariance: Floats
    constants: TypeConstants
