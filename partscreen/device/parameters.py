"""The coordinates of a device fit: what each number of `theta` is, in which unit, and how it goes with die area.

`theta` holds natural logarithms of positive parameters, except where `log` is False. Order and names are fixed here and
nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True, slots=True)
class Parameter:
    """One coordinate. `area`: exponent with die area (value goes as area**area)."""

    name: str
    symbol: str
    unit: str
    log: bool
    area: float
    words: str


PARAMETERS: tuple[Parameter, ...] = (
    Parameter("is", "IS", "A", True, 1.0, "transport saturation current"),
    Parameter("nf", "NF", "1", True, 0.0, "forward emission coefficient"),
    Parameter("bf", "BF", "1", True, 0.0, "ideal forward gain"),
    Parameter("ikf", "IKF", "A", True, 1.0, "forward knee current"),
    # Recombination base current at IC = 10 mA instead of ISE: takes out the ridge between ISE, IS and NE.
    Parameter("leak", "IB2", "A", True, 0.45, "recombination base current at 10 mA collector current"),
    Parameter("ne", "NE", "1", True, 0.0, "recombination emission coefficient"),
    Parameter("vaf", "VAF", "V", True, 0.0, "forward Early voltage"),
    Parameter("rb", "RB", "ohm", True, -1.0, "base resistance at low current"),
    Parameter("irb", "IRB", "A", True, 1.0, "base current at which the base resistance has halved"),
    Parameter("re", "RE", "ohm", True, -1.0, "emitter resistance"),
    Parameter("rc", "RC", "ohm", True, -1.0, "collector resistance"),
    Parameter("br", "BR", "1", True, 0.0, "ideal reverse gain"),
    Parameter("cje", "CJE", "F", True, 1.0, "base-emitter capacitance at zero bias"),
    Parameter("cjc", "CJC", "F", True, 1.0, "collector-base capacitance at zero bias"),
    Parameter("nkf", "NKF", "1", True, 0.0, "exponent of the high-current roll-off"),
    Parameter("qs", "QS", "V", False, 0.0, "quasi-saturation drop on VCE(sat) at rated current"),
    Parameter("rth", "RTH", "K/W", True, -0.5, "thermal resistance junction to case during a reading"),
)

NAMES: tuple[str, ...] = tuple(p.name for p in PARAMETERS)
INDEX: dict[str, int] = {name: i for i, name in enumerate(NAMES)}
N_PARAMETERS = len(PARAMETERS)
AREA_DIRECTION: npt.NDArray[np.float64] = np.array([p.area for p in PARAMETERS])
