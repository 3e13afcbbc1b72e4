"""Spot readings held against limits: leakage, breakdown, capacitance, VBE(sat), fT.

A spot reading is rarely taken at the limit's very condition. Where the quantity is known to rise or fall with the
condition, a reading on one side of it still bounds the value at it: leakage read at a lower voltage than the limit's
is less than at the limit's (more current than the maximum there is a break; less says nothing), capacitance read at a
lower reverse bias is more. A reading that bounds the value only from the side that cannot decide leaves the limit not
reached.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from partscreen.readings.tables import Batch, Spots
from partscreen.screening.limits.conformance import Tolerance, conformance_probability
from partscreen.screening.limits.spot_conditions import number_of, spot_base_current, spot_temperature
from partscreen.screening.limits.values import CARRIED, DIRECT, LimitValues, nothing_reached
from partscreen.screening.observe import UNSTATED_BIAS_LN_STD

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EXACT, LOWER, UPPER, SILENT = 0, 1, 2, 3  # what a reading says of the value at the limit's condition

Trend = Literal["rises", "falls", "not known"]

_EDGE = 1 + 1e-9  # a stated edge belongs to what is alike, however it is rounded
DEFAULT_LN_STD = 0.03  # assumption, where the door gave none
LEAKAGE_LN_PER_KELVIN = np.log(2) / 10  # doubles every 10 K (common practice, no source)
LIKE_TEMPERATURE = 5.0  # [K] nearer than this the temperatures count as the same; the difference enters the uncertainty


@dataclass(frozen=True, slots=True)
class Rule:
    """How a quantity goes with its condition.

    `axis`: the condition it rises or falls with (`trend`); where that is not known only like conditions count.
    `tolerance`: share of the axis within which conditions are alike. `also`: further conditions and
    how near they must be (share).
    """

    axis: tuple[str, ...]
    trend: Trend
    tolerance: float
    also: tuple[tuple[str, float], ...] = ()
    ln_per_kelvin: float = 0.0
    bound_is_firm: bool = True


# Leakage: alike from 0.98 of the limit's voltage. V(BR)CBO, CES and EBO are read on a steep avalanche branch: the
# voltage rises a little with current, so half to one and a half times the test current is alike. V(BR)CEO and CER snap
# back: from their knee the voltage falls with current towards the sustaining voltage, which is what the sheet limits
# (pulsed, tens of milliamperes). A reading well below that current bounds it from above; a merely leaky part need not
# follow, so that alone never rejects.
RULES: dict[str, Rule] = {
    "icbo": Rule(("VCB",), "rises", 0.02, ln_per_kelvin=LEAKAGE_LN_PER_KELVIN),
    "iceo": Rule(("VCE",), "rises", 0.02, ln_per_kelvin=LEAKAGE_LN_PER_KELVIN),
    "iebo": Rule(("VEB",), "rises", 0.02, ln_per_kelvin=LEAKAGE_LN_PER_KELVIN),
    "ices": Rule(("VCE",), "rises", 0.02, ln_per_kelvin=LEAKAGE_LN_PER_KELVIN),
    "icer": Rule(("VCE",), "rises", 0.02, (("RBE", 0.05),), LEAKAGE_LN_PER_KELVIN),
    "icex": Rule(("VCE",), "rises", 0.02, (("VBE_off", 0.1),), LEAKAGE_LN_PER_KELVIN),
    "v_br_cbo": Rule(("IC", "IE"), "rises", 0.5),
    "v_br_ces": Rule(("IC",), "rises", 0.5),
    "v_br_ebo": Rule(("IE", "IC"), "rises", 0.5),
    "v_br_ceo": Rule(("IC",), "falls", 0.5, bound_is_firm=False),
    "v_br_cer": Rule(("IC",), "falls", 0.5, (("RBE", 0.05),), bound_is_firm=False),
    "c_cb": Rule(("VCB",), "falls", 0.1),
    "c_be": Rule(("VEB",), "falls", 0.1),
    "vbe_sat": Rule(("IC",), "rises", 0.05, (("ratio", 0.5),)),
    "ft": Rule(("IC",), "not known", 0.1, (("VCE", 0.5),)),
}


@dataclass(frozen=True, slots=True)
class SpotTable:
    """Spot readings of a group, by quantity: part (number within the group), value, relative std, temperature,
    conditions."""

    part: Ints
    value: Floats
    ln_std: Floats
    temperature: Floats
    row: Ints
    conditions: tuple[dict[str, float | str], ...]


def spot_tables(batch: Batch, parts: Ints, temperature: float | None) -> dict[str, SpotTable]:
    """Usable spot readings of the parts, one table a quantity that has a rule above."""
    spots: Spots = batch.spots
    place = np.full(batch.n_parts, -1, dtype=np.int64)
    place[parts] = np.arange(parts.size)
    keep = spots.use & ~spots.control & np.isfinite(spots.value) & (spots.part >= 0)
    keep[keep] = place[spots.part[keep]] >= 0
    out = {}
    for quantity in RULES:
        rows = np.flatnonzero(keep & (spots.quantity == quantity)) if keep.size else np.zeros(0, dtype=np.int64)
        if not rows.size:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            ln_std = np.abs(spots.std[rows] / spots.value[rows])
        told = tuple(spots.conditions[i] for i in rows)
        kelvin = np.array([spot_temperature(c, temperature) for c in told], dtype=float)
        ln_std = np.where(np.isfinite(ln_std), ln_std, DEFAULT_LN_STD)
        out[quantity] = SpotTable(place[spots.part[rows]], np.abs(spots.value[rows]), ln_std, kelvin, rows, told)
    return out


def _axis(told: Mapping[str, float | str], names: tuple[str, ...]) -> float:
    """The condition by its name, else as written without one (V, I)."""
    plain = ("V",) if names[0].startswith("V") else ("I", "limit")
    return number_of(dict(told), *names, *plain)


def _base_is_open(told: Mapping[str, float | str]) -> bool:
    return str(told.get("base", "open")).strip().lower() == "open" and "RBE" not in told


def _relations(rule: Rule, quantity: str, table: SpotTable, limit: Mapping[str, float]) -> tuple[Ints, Floats]:
    """What each reading says of the value at the limit's condition, and extra relative uncertainty."""
    at = _axis(limit, rule.axis)
    here = np.array([_axis(c, rule.axis) for c in table.conditions], dtype=float)
    extra = np.zeros(here.size)
    if quantity in ("c_cb", "c_be"):
        # Bias not stated: 0 V, with broad uncertainty.
        extra = np.where(np.isfinite(here), 0.0, UNSTATED_BIAS_LN_STD)
        here = np.nan_to_num(here)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = here / at
    alike = np.abs(share - 1) <= rule.tolerance * _EDGE
    if at == 0:
        alike, share = here == 0, 1 + here
    below, above = (share < 1) & ~alike, (share > 1) & ~alike
    low, high = (below, above) if rule.trend == "rises" else (above, below)
    says = np.where(alike, EXACT, SILENT)
    if rule.trend != "not known":
        says = np.where(low, LOWER, np.where(high, UPPER, says))
    if quantity in ("iceo", "v_br_ceo"):
        says = np.where([_base_is_open(c) for c in table.conditions], says, SILENT)
    for name, near in rule.also:
        says = np.where([_near(c, limit, name, near) for c in table.conditions], says, SILENT)
    return says.astype(np.int64), extra


def _near(told: dict[str, float | str], limit: Mapping[str, float], name: str, near: float) -> bool:
    if name == "ratio":
        wanted, here = limit["IC"] / limit["IB"], number_of(told, "IC") / spot_base_current(told)
    else:
        wanted, here = float(limit.get(name, np.nan)), number_of(told, name)
    return bool(abs(here / wanted - 1) <= near * _EDGE)


def _with_temperature(rule: Rule, table: SpotTable, temperature: float, says: Ints) -> tuple[Ints, Floats]:
    """A leakage read warmer than the limit bounds it from above, cooler from below; near it the doubling law is
    corrected for."""
    if not rule.ln_per_kelvin:
        return says, np.zeros(says.size)
    step = table.temperature - temperature
    warm, cool = step > LIKE_TEMPERATURE, step < -LIKE_TEMPERATURE
    upper, lower = np.isin(says, (EXACT, UPPER)), np.isin(says, (EXACT, LOWER))
    says = np.where(warm, np.where(upper, UPPER, SILENT), np.where(cool, np.where(lower, LOWER, SILENT), says))
    return says, np.where(warm | cool, 0.0, -rule.ln_per_kelvin * step)


def spot_at_limit(
    tables: Mapping[str, SpotTable],
    quantity: str,
    side: str,
    limit_value: float,
    conditions: Mapping[str, float],
    temperature: float,
    n_parts: int,
    temperature_std: float = 2.0,
) -> LimitValues:
    """Value of a spot quantity at a limit, by the rules above. Several readings of a part: the one that speaks most
    against it.

    Raises
    ------
    KeyError
        No rule for the quantity.
    """
    rule = RULES[quantity]
    out = nothing_reached(n_parts, log=True)
    table = tables.get(quantity)
    if table is None:
        return out
    says, extra = _relations(rule, quantity, table, conditions)
    says, shift = _with_temperature(rule, table, temperature, says)
    ln_value = np.log(np.maximum(table.value, 1e-300)) + shift
    std = np.sqrt(table.ln_std**2 + extra**2 + (0.5 * shift) ** 2 + (rule.ln_per_kelvin * temperature_std) ** 2)
    edge = float(np.log(limit_value))
    tolerance = Tolerance(low=edge) if side == "min" else Tolerance(high=edge)
    chance = conformance_probability(ln_value, std, tolerance)
    decides_break, decides_pass = (UPPER, LOWER) if side == "min" else (LOWER, UPPER)
    speaks = (says == EXACT) | ((says == decides_break) & (chance < 0.5)) | ((says == decides_pass) & (chance >= 0.5))
    rows = np.flatnonzero(speaks)
    # Worst first; a part keeps its first.
    rows = rows[np.argsort(chance[rows], kind="stable")]
    _, first = np.unique(table.part[rows], return_index=True)
    rows = rows[first]
    part = table.part[rows]
    out.value[part], out.std[part] = np.exp(ln_value[rows]), std[rows]
    out.reached[part] = np.where((says[rows] == decides_break) & (not rule.bound_is_firm), CARRIED, DIRECT)
    return out
