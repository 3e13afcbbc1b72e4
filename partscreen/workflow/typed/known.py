"""What a type lets expect of typed figures: its population's reading of each column, and its printed limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from partscreen.readings.typed.columns import TypedColumn
    from partscreen.readings.typed.plausible import Usual
    from partscreen.reference.limits import Limit
    from partscreen.reference.models import ReferenceType
    from partscreen.reference.population import Population

ROOM = 298.15  # K
SAME = 0.02  # relative; a printed limit speaks of a reading at its own current and voltage
_BIASED = {"c_be": (0, "VEB"), "c_cb": (1, "VCB")}


def usual_of_type(columns: Sequence[TypedColumn], population: Population | None) -> list[Usual | None]:
    """What each column reads on parts of the type, with its spread (decades; VBE: volts); None: not known."""
    if population is None:
        return [None] * len(columns)
    return [_usual(column, population) for column in columns]


def _usual(column: TypedColumn, population: Population) -> Usual | None:
    from partscreen.readings.typed.plausible import Usual

    found = _predicted(column, population)
    if found is None:
        return None
    centre, slope, in_volts = found
    spread = float(np.sqrt(slope @ population.part_prior().covariance @ slope))
    if not (np.isfinite(centre) and np.isfinite(spread)):
        return None
    return Usual(centre, spread if in_volts else spread / np.log(10.0))


def _predicted(
    column: TypedColumn, population: Population
) -> tuple[float, np.ndarray[tuple[int, ...], np.dtype[np.float64]], bool] | None:
    """Reading of a middling part, its derivatives (of ln, of volts for VBE), whether they are volts."""
    from partscreen.device.capacitance import predict_capacitance
    from partscreen.device.predict import predict_gain, predict_saturation

    theta, constants = population.centre[None, :], population.constants
    said = {key: value for key, value in column.conditions.items() if isinstance(value, float)}
    if column.quantity in _BIASED:
        junction, key = _BIASED[column.quantity]
        found = predict_capacitance(theta, constants, np.array([[junction]]), np.array([[said.get(key, 0.0)]]))
        return float(np.exp(found.ln_c[0, 0])), found.d_ln_c[0, 0], False
    if "IC" not in said:
        return None
    ic = np.array([[said["IC"]]])
    if column.quantity in ("hfe", "vbe"):
        gain = predict_gain(theta, constants, ic, said.get("VCE", 5.0), ROOM)
        assert gain.d_ln_hfe is not None
        assert gain.d_vbe is not None
        if column.quantity == "hfe":
            return float(np.exp(gain.ln_hfe[0, 0])), gain.d_ln_hfe[0, 0], False
        return float(gain.vbe[0, 0]), gain.d_vbe[0, 0], True
    ib = said.get("IB") or (said["IC"] / said["IC_over_IB"] if said.get("IC_over_IB") else None)
    if column.quantity == "vce_sat" and ib:
        saturation = predict_saturation(theta, constants, ic, np.array([[ib]]), ROOM)
        assert saturation.d_vce is not None
        vce = float(saturation.vce[0, 0])
        return vce, saturation.d_vce[0, 0] / vce, False
    return None


def limit_remark(
    columns: Sequence[TypedColumn], kind: ReferenceType | None, gain_group: str | None
) -> Callable[[int, float], str | None] | None:
    """Says of a figure whether it is outside what every edition prints at the same conditions."""
    from partscreen.reference.limits import limits

    if kind is None:
        return None
    rows = [row for row in limits(kind, gain_group=gain_group) if row.is_limit and not row.doubt]
    of_column = [[row for row in rows if row.quantity == one.quantity and _same(row, one)] for one in columns]

    def remark(place: int, value: float) -> str | None:
        column = columns[place]
        for side in ("min", "max"):
            mine = [row for row in of_column[place] if row.side == side]
            if not mine:
                continue
            widest = min(mine, key=lambda r: r.value) if side == "min" else max(mine, key=lambda r: r.value)
            if (value < widest.value) if side == "min" else (value > widest.value):
                way = "below the printed minimum" if side == "min" else "above the printed maximum"
                figure = column.figure(widest.value)
                return f"{column.short} {column.figure(value)} is {way} of {figure} ({widest.source})."
        return None

    return remark


def _same(row: Limit, column: TypedColumn) -> bool:
    """Whether a limit is printed at the conditions of a column."""
    said = {key: value for key, value in column.conditions.items() if isinstance(value, float)}
    if "IC_over_IB" in said and "IC" in said:
        said.setdefault("IB", said["IC"] / said["IC_over_IB"])
    keys = [key for key in row.conditions if key not in ("f", "t")]
    return all(key in said and abs(said[key] - row.conditions[key]) <= SAME * row.conditions[key] for key in keys)
