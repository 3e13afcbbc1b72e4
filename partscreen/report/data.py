"""What the report's figures need beyond the JSON result: ready arrays, filled by the caller, drawn as they are.

SI units; NaN means not read or not known. One `LotData` a lot, one `PartData` a part, keyed by name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def no_readings() -> Floats:
    """An empty array of readings."""
    return np.zeros(0)


@dataclass(frozen=True, slots=True)
class Envelope:
    """A type's band over collector current.

    `ic` [A], rising; `low`, `high`, `typical`: shape of `ic`, NaN where the band is open or no typical figure is known.
    `origin`: one word a point, where the band comes from there ("limit", "typical curve", "population").
    """

    ic: Floats
    low: Floats
    high: Floats
    typical: Floats
    origin: tuple[str, ...]

    def __post_init__(self) -> None:
        n = len(self.ic)
        if not all(len(a) == n for a in (self.low, self.high, self.typical, self.origin)):
            raise ValueError(f"an envelope needs low, high, typical and origin for each of its {n} currents")


@dataclass(frozen=True, slots=True)
class LimitPoint:
    """One printed limit to draw: `quantity` is "hfe", "vbe" or "vce_sat"; `basis` as in the reference file."""

    quantity: Literal["hfe", "vbe", "vce_sat"]
    ic: float
    value: float
    side: Literal["min", "max"]
    basis: str


@dataclass(frozen=True, slots=True)
class Region:
    """The type's region of one spot quantity, with where it comes from. NaN: open on that side."""

    low: float
    high: float
    origin: str


@dataclass(frozen=True, slots=True)
class ControlCourse:
    """How the control piece of a session moved from its first reading; arrays of one length, NaN: not read.

    `at`: seconds since the first reading where `timed`, else its number in the order of reading. `gain`: relative
    change of hFE; `vbe` [V]. `temperature_known`: the share that the case temperature explains is taken out.
    """

    session: str
    at: Floats
    timed: bool
    temperature_known: bool
    gain: Floats
    gain_std: Floats
    vbe: Floats
    vbe_std: Floats


@dataclass(frozen=True, slots=True)
class PartData:
    """Raw readings of one part and their residuals (reading minus fit, in standard uncertainties; NaN: not fitted).

    `ic`, `hfe`, `vbe`, `hfe_residual`, `vbe_residual` share one length; `sat_ic`, `vce_sat`, `sat_residual` another.
    `c_cb`, `c_be` in farad; `gain`: hFE at the lot's working current.
    """

    ic: Floats = field(default_factory=no_readings)
    hfe: Floats = field(default_factory=no_readings)
    vbe: Floats = field(default_factory=no_readings)
    hfe_residual: Floats = field(default_factory=no_readings)
    vbe_residual: Floats = field(default_factory=no_readings)
    sat_ic: Floats = field(default_factory=no_readings)
    vce_sat: Floats = field(default_factory=no_readings)
    sat_residual: Floats = field(default_factory=no_readings)
    c_cb: float | None = None
    c_be: float | None = None
    gain: float | None = None


@dataclass(frozen=True, slots=True)
class LotData:
    """Envelopes, limit points and readings of one lot, with the conditions that stand on the axes.

    `conditions` are of the gain readings ("VCE = 5 V, case 25 °C"), `sat_conditions` of the saturation readings
    ("IC/IB = 10, case 25 °C"), `c_cb_conditions` and `c_be_conditions` of the capacitances.
    `working_ic` [A]: where `gain` was taken. `control`: control pieces of the sessions the lot was read in.
    """

    hfe: Envelope | None = None
    vbe: Envelope | None = None
    vce_sat: Envelope | None = None
    limits: tuple[LimitPoint, ...] = ()
    parts: Mapping[str, PartData] = field(default_factory=dict)
    working_ic: float | None = None
    conditions: str = ""
    sat_conditions: str = ""
    c_cb_conditions: str = ""
    c_be_conditions: str = ""
    c_cb: Region | None = None
    c_be: Region | None = None
    control: tuple[ControlCourse, ...] = ()


@dataclass(frozen=True, slots=True)
class ReportData:
    """Everything the figures need, by lot name; `notices` and `not_tested` are plain sentences printed at the end.

    `recorded`: where in the bench book the run stands, printed as the last line; empty where it was not recorded.
    """

    lots: Mapping[str, LotData] = field(default_factory=dict)
    notices: tuple[str, ...] = ()
    not_tested: tuple[str, ...] = ()
    recorded: str = ""
