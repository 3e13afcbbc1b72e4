"""What kind of sweep rows belong to, magnitudes from signed readings, and gain from currents."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.readings.tables import Bools, Floats, Ints, Sweep

OFFSET_SHARE = 0.01  # a reversed current above this share of the part's largest is no offset (assumption)
HFE_TOLERANCE = 0.02  # a given gain further than this (and rounding) from IC/IB is spoken of (assumption)


def classify(group: Ints, numbers: dict[str, Floats]) -> Ints:
    """Sweep code of each row where the file does not say it; -1 where the columns fit no kind.

    Parameters
    ----------
    group : (n,)
        Number of the part and run a row belongs to, 0 to n_groups-1; one kind is found for each group.
    numbers
        SI magnitudes by quantity key; missing columns are absent.
    """
    n = len(group)
    blank = np.full(n, np.nan)
    ic, ib, vce, vbe, hfe = (numbers.get(key, blank) for key in ("ic", "ib", "vce", "vbe", "hfe"))
    n_groups = int(group.max()) + 1 if n else 0
    size = np.bincount(group, minlength=n_groups)
    ib_levels, ib_known = _levels(group, ib, n_groups)
    vce_levels, vce_known = _levels(group, vce, n_groups)
    # An output family holds IB while VCE is stepped: few base currents, several collector voltages under each.
    output = (
        (ib_known >= 3)
        & (vce_known >= 3)
        & (ib_levels * 3 <= size)
        & (vce_levels >= 3)
        & (vce_levels * ib_levels <= 2 * size)
    )
    # A forced VBE climbs in equal steps and the current is what comes; a forced current is a round figure.
    round_ic = np.bincount(group[_round_figures(ic)], minlength=n_groups)
    gummel = _even_steps(group, vbe, n_groups) & (_levels(group, ic, n_groups)[1] >= 5) & (2 * round_ic < size)
    given = np.bincount(group, weights=(~np.isnan(hfe)).astype(float), minlength=n_groups) > 0
    forced = ~given & _constant_ratio(group, ic, ib, n_groups) & _low(group, vce, n_groups)
    kind = np.full(n_groups, int(Sweep.GAIN))
    kind[forced] = int(Sweep.SATURATION)
    kind[gummel] = int(Sweep.GUMMEL)
    kind[output] = int(Sweep.OUTPUT)
    out = kind[group]
    # Gain or VBE without its current is kept too: the kit may know at which current it reads.
    has_gain = ~np.isnan(hfe) | ~np.isnan(vbe) | (~np.isnan(ic) & ~np.isnan(ib))
    any_gain = np.bincount(group, weights=has_gain.astype(float), minlength=n_groups) > 0
    out = np.where(any_gain[group], out, -1)
    if "vce_sat" in numbers:
        out = np.where(~np.isnan(numbers["vce_sat"]), int(Sweep.SATURATION), out)
    return out.astype(np.int64)


def _levels(group: Ints, values: Floats, n_groups: int) -> tuple[Ints, Ints]:
    """Distinct levels (0.5 % apart or more) and known values in each group."""
    known = ~np.isnan(values)
    g, v = group[known], values[known]
    order = np.lexsort((v, g))
    g, v = g[order], v[order]
    new = np.ones(len(g), dtype=np.bool_)
    new[1:] = (g[1:] != g[:-1]) | (np.abs(v[1:] - v[:-1]) > 0.005 * np.abs(v[1:]))
    return np.bincount(g[new], minlength=n_groups), np.bincount(g, minlength=n_groups)


def _even_steps(group: Ints, values: Floats, n_groups: int) -> Bools:
    """Groups whose values climb in equal steps over 0.1 V or more: a forced base-emitter voltage."""
    out = np.zeros(n_groups, dtype=np.bool_)
    known = ~np.isnan(values)
    g, v = group[known], values[known]
    if not len(g):
        return out
    order = np.lexsort((v, g))
    g, v = g[order], v[order]
    step = np.diff(v)
    same = (np.diff(g) == 0) & (step > 1e-6)
    gs, step = g[1:][same], step[same]
    count = np.bincount(gs, minlength=n_groups)
    mean = np.bincount(gs, weights=step, minlength=n_groups) / np.maximum(count, 1)
    off = np.bincount(gs, weights=(np.abs(step - mean[gs]) > 0.02 * mean[gs] + 1e-5).astype(float), minlength=n_groups)
    return np.asarray((count >= 5) & (off == 0) & (mean * count > 0.1), dtype=np.bool_)


def _round_figures(values: Floats) -> Bools:
    """Values of two digits at most, as people set them."""
    with np.errstate(divide="ignore", invalid="ignore"):
        digits = values / 10.0 ** (np.floor(np.log10(values)) - 1.0)
        return np.asarray(np.abs(digits - np.round(digits)) < 1e-6, dtype=np.bool_)


def _constant_ratio(group: Ints, ic: Floats, ib: Floats, n_groups: int) -> Bools:
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(ib > 0, ic / ib, np.nan)
    known = np.isfinite(ratio) & (ratio > 0)
    count = np.bincount(group[known], minlength=n_groups)
    high = np.full(n_groups, -np.inf)
    low = np.full(n_groups, np.inf)
    np.maximum.at(high, group[known], ratio[known])
    np.minimum.at(low, group[known], ratio[known])
    with np.errstate(invalid="ignore"):
        return np.asarray((count >= 2) & (high <= 1.02 * low) & (high <= 50.0), dtype=np.bool_)


def _low(group: Ints, vce: Floats, n_groups: int) -> Bools:
    """Groups whose collector voltage is known and stays below 3 V (saturation, not a working point; assumption)."""
    high = np.full(n_groups, -np.inf)
    known = ~np.isnan(vce)
    np.maximum.at(high, group[known], vce[known])
    return (high > -np.inf) & (high < 3.0)


@dataclass(frozen=True, slots=True)
class Signs:
    """Rows whose sign contradicts their part, and the sign of each part.

    `voltage`: a voltage the wrong way round, no forward reading. `current`: a current the wrong way round and too large
    for an offset. `part`, shape (n_parts,): sign of the collector currents as read (base currents or voltages where
    there are none); 0: nothing read.
    """

    voltage: Bools
    current: Bools
    part: Ints


def magnitudes(part: Ints, numbers: dict[str, Floats], n_parts: int) -> Signs:
    """Turn signed readings into magnitudes, in place.

    A reading against the sign of its part comes out negative, so that offsets at the low end stay visible to the
    quality checks.
    """
    sign = np.zeros(n_parts, dtype=np.int64)
    for key in ("ic", "ib", "vbe", "vce"):
        if key in numbers:
            total = np.bincount(part, weights=np.nan_to_num(numbers[key]), minlength=n_parts)
            sign = np.where(sign == 0, np.sign(total).astype(np.int64), sign)
    voltage = np.zeros(len(part), dtype=np.bool_)
    current = np.zeros(len(part), dtype=np.bool_)
    for key in ("ic", "ib", "vce", "vbe", "vce_sat"):
        values = numbers.get(key)
        if values is None:
            continue
        plus = np.bincount(part, weights=(values > 0).astype(float), minlength=n_parts)
        minus = np.bincount(part, weights=(values < 0).astype(float), minlength=n_parts)
        # A column that keeps one sign throughout a part follows its own convention; only a change says something.
        mixed = ((plus > 0) & (minus > 0))[part]
        values[:] = np.where(mixed, values * sign[part], np.abs(values))
        if key in ("ic", "ib"):
            largest = np.zeros(n_parts)
            np.maximum.at(largest, part, np.nan_to_num(np.abs(values)))
            current |= values < -OFFSET_SHARE * largest[part]
        else:
            voltage |= values < 0
    return Signs(voltage, current, sign)


def settle_gain(numbers: dict[str, Floats], resolution: dict[str, Floats] | None = None) -> tuple[Floats, Bools]:
    """hFE of each row, as given, else IC/IB; where the two disagree IC/IB is used. And the rows where they do.

    `resolution`: half a unit of the last written digit of ic, ib and hfe, allowed for rounding; None: no allowance.
    """
    n = len(next(iter(numbers.values()))) if numbers else 0
    blank = np.full(n, np.nan)
    ic, ib, given = (numbers.get(key, blank) for key in ("ic", "ib", "hfe"))
    with np.errstate(divide="ignore", invalid="ignore"):
        worked = np.where((ib > 0) & ~np.isnan(ic), ic / ib, np.nan)
        allowed = HFE_TOLERANCE * worked
        if resolution is not None:
            allowed = allowed + worked * (resolution["ic"] / ic + resolution["ib"] / ib) + resolution["hfe"]
        differ = np.abs(given - worked) > allowed
    hfe = np.where(np.isnan(given) | differ, worked, given)
    return hfe, np.asarray(differ, dtype=np.bool_)
