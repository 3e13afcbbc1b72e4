"""Gummel-Poon parameters of one or many parts, by their SPICE names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.temperature import log_is_ratio

Floats = npt.NDArray[np.float64]
Value = float | Floats

# A zero in a SPICE card means "this effect is left out" for these.
_ZERO_IS_INFINITE = ("vaf", "var", "ikf", "ikr", "irb")


@dataclass(frozen=True, slots=True)
class Card:
    """Gummel-Poon parameters; names and defaults of SPICE, lower case (`is_` because `is` is a Python keyword).

    Each is a float, or an array that broadcasts against (n_parts, n_points), usually of shape (n_parts, 1).
    SI units: amperes, volts, ohms, farads; `eg` in electron-volts, `tnom` in kelvin. `inf` leaves an effect out
    (VAF, VAR, IKF, IKR, IRB); with `irb` infinite the base resistance is RBM + (RB - RBM)/qb, else the IRB form.
    `rbm` NaN means RBM = RB, the SPICE default.
    PNP parts are described by magnitudes.

    References
    ----------
    Xyce Reference Guide, Q_Device (level 1); ngspice source, bjtload.c and bjttemp.c.
    """

    is_: Value = 1e-16
    bf: Value = 100.0
    nf: Value = 1.0
    vaf: Value = np.inf
    ikf: Value = np.inf
    nkf: Value = 0.5
    ise: Value = 0.0
    ne: Value = 1.5
    br: Value = 1.0
    nr: Value = 1.0
    var: Value = np.inf
    ikr: Value = np.inf
    isc: Value = 0.0
    nc: Value = 2.0
    rb: Value = 0.0
    rbm: Value = np.nan
    irb: Value = np.inf
    re: Value = 0.0
    rc: Value = 0.0
    cje: Value = 0.0
    vje: Value = 0.75
    mje: Value = 0.33
    cjc: Value = 0.0
    vjc: Value = 0.75
    mjc: Value = 0.33
    fc: Value = 0.5
    xtb: Value = 0.0
    xti: Value = 3.0
    eg: Value = 1.11
    tnom: Value = 300.15

    def at(self, temp: npt.ArrayLike) -> Card:
        """The card at another temperature [K]: IS, BF, BR, ISE and ISC moved, `tnom` set to `temp`.

        Saturation currents and gains follow ngspice's default temperature level; resistances, knees and Early
        voltages stay.
        """
        kelvin = np.asarray(temp, dtype=float)
        rise = log_is_ratio(kelvin, self.tnom, self.eg, self.xti)
        gain = (kelvin / self.tnom) ** self.xtb
        return replace(
            self,
            is_=self.is_ * np.exp(rise),
            bf=self.bf * gain,
            br=self.br * gain,
            ise=self.ise * np.exp(rise / self.ne) / gain,
            isc=self.isc * np.exp(rise / self.nc) / gain,
            tnom=kelvin,
        )


CARD_NAMES: tuple[str, ...] = tuple(f.name for f in fields(Card))


def card_from_spice(parameters: Mapping[str, float], *, tnom: float = 300.15, nr_is_nf: bool = True) -> Card:
    """A card from published SPICE figures.

    Parameters
    ----------
    parameters : mapping
        SPICE names in lower case (`is`, `bf`, ...), SI units. Absent means the simulator's default; names outside the
        plain DC model and the junction capacitances (TF, XTF, KF, ...) are left out, as they do not act here.
    tnom : float
        Temperature at which the figures hold. [K]
    nr_is_nf : bool
        Set NR = NF. Where they differ VCE(sat) comes out zero or negative at low current, which no transistor does.

    Notes
    -----
    NKF is capped at 1, as ngspice does.
    """
    values: dict[str, float] = {}
    for spice, number in parameters.items():
        name = "is_" if spice == "is" else spice
        if name in CARD_NAMES and name != "tnom":
            values[name] = float(number)
    for name in _ZERO_IS_INFINITE:
        if values.get(name) == 0.0:
            values[name] = np.inf
    if "nkf" in values:
        values["nkf"] = min(values["nkf"], 1.0)
    if nr_is_nf:
        values["nr"] = values.get("nf", 1.0)
    return Card(**values, tnom=tnom)
