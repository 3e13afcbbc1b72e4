"""What is taken off a reading before it is judged, each with its uncertainty; and functions that move readings in
temperature.

Data for the fit are corrected for leads and fixture only: the fit models temperature itself. `vbe_to_temperature` and
`hfe_to_temperature` are for reporting and comparing readings.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from partscreen.device.temperature import vbe_slope
from partscreen.device.thermal import early_rise, shift_to_temperature
from partscreen.readings.findings import add_note
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.instruments.leads import SessionLeads, empty_fixture, session_fixture, session_leads
from partscreen.readings.tables import Batch, Floats, Points, Sweep
from partscreen.results import QualityNote

REFERENCE_TEMP = 298.15
EARLY_LAW_STD = 0.2  # relative; assumption: one-dimensional flow into silicon of constant properties
RTH_STD = 0.2  # relative; assumption: a printed RthJC is a maximum, parts and mounting differ
FIXTURE_STD = 0.1  # relative, of a fixture capacitance stated with a reading; assumption
SLOPE_STD = 0.05  # relative, of dVBE/dT; assumption: EG and XTI of the type differ from 1.11 eV and 3
XTB_STD = 0.5  # assumption: printed gain curves of two temperatures give XTB of about 1 to 2


# NaN is "not measured" and every comparison with it fails; zeros and infinities of a file must not stop a batch.
@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def correct(batch: Batch, kit: Kit | None) -> tuple[Batch, tuple[QualityNote, ...]]:
    """Take leads out of VCE and VBE and the fixture out of capacitances; once, after `apply_kit`.

    Lead resistance is used only where the kit states it or a short-circuit reading (a VCE(sat) with the condition
    `piece=short`) gives it. The uncertainty of what is taken off is added in quadrature to that of the reading.

    Returns
    -------
    Batch
        Corrected; readings without a part in the fixture are no longer used.
    notes : tuple of QualityNote
        One per correction applied.
    """
    notes: list[QualityNote] = []
    leads = session_leads(batch, kit)
    if leads is not None and leads.known.any():
        batch, more = _without_leads(batch, leads)
        notes += more
    for quantity in ("c_be", "c_cb"):
        batch, more = _without_fixture(batch, kit, quantity)
        notes += more
    spots = batch.spots
    return replace(batch, spots=replace(spots, use=spots.use & ~empty_fixture(batch))), tuple(notes)


def _without_leads(batch: Batch, leads: SessionLeads) -> tuple[Batch, list[QualityNote]]:
    p = batch.points
    with np.errstate(divide="ignore", invalid="ignore"):
        ib = np.nan_to_num(np.where(np.isfinite(p.ib), p.ib, p.ic / p.hfe), posinf=0.0, neginf=0.0)
    ic = np.nan_to_num(p.ic)
    collector, emitter = leads.collector[p.session], leads.emitter[p.session]
    drop = ic * collector + (ic + ib) * emitter
    vce = p.vce - drop
    vce_std = np.hypot(p.vce_std, ic * leads.total_std[p.session])
    shared = 1.0 if leads.emitter_in_vbe else 0.0
    vbe_drop = shared * ((ic + ib) * emitter + ib * leads.base[p.session])
    vbe_extra = shared * np.hypot(ic * leads.emitter_std[p.session], ib * leads.base_std[p.session])
    # a drop beyond the whole reading says that the lead value is wrong, or that the part was not there
    negative = (p.sweep == Sweep.SATURATION) & (vce <= 0.0) & (p.vce > 0.0)
    points = replace(
        p,
        vce=vce,
        vce_std=vce_std,
        vbe=p.vbe - vbe_drop,
        vbe_std=np.hypot(p.vbe_std, vbe_extra),
        use=p.use & ~negative,
    )
    batch = _note_negative(replace(batch, points=points), p, negative)
    return batch, [_lead_note(leads, p)]


def _note_negative(batch: Batch, before: Points, negative: npt.NDArray[np.bool_]) -> Batch:
    for part in np.unique(before.part[negative]):
        count = int((negative & (before.part == part)).sum())
        note = QualityNote(
            code="LEADS_EXCEED_READING",
            sentence=(
                f"In {count} point(s) the drop in the leads is larger than the VCE(sat) read: check the lead "
                f"resistance. "
                "Left out."
            ),
            figures={"points": count},
            used=False,
        )
        batch = add_note(batch, int(part), note)
    return batch


def _lead_note(leads: SessionLeads, points: Points) -> QualityNote:
    top = float(np.nanmax(np.where(points.sweep == Sweep.SATURATION, points.ic, 0.0), initial=0.0))
    total = float(np.max(leads.collector + leads.emitter))
    std = float(np.max(leads.total_std))
    in_vbe = leads.emitter_in_vbe and bool((leads.emitter > 0.0).any() or (leads.base > 0.0).any())
    origin = "a short-circuit reading" if leads.from_short.any() else "the kit"
    return QualityNote(
        code="CORRECTED_LEADS",
        sentence=(
            f"{1e3 * total:.3g} +- {1e3 * std:.2g} milliohm of leads and contacts (from {origin}) were taken out of VCE"
            f"{' and VBE' if in_vbe else ''}: {1e3 * total * top:.3g} mV at the highest current."
        ),
        figures={"lead_ohm": total, "lead_std_ohm": std, "highest_ic_a": top},
    )


def _without_fixture(batch: Batch, kit: Kit | None, quantity: str) -> tuple[Batch, list[QualityNote]]:
    spots = batch.spots
    rows = (spots.quantity == quantity) & ~empty_fixture(batch)
    value, std = session_fixture(batch, kit, quantity)
    off, off_std = np.where(rows, value[spots.session], 0.0), np.where(rows, std[spots.session], 0.0)
    for index in np.flatnonzero(rows):
        stated = spots.conditions[index].get("fixture")
        if isinstance(stated, (int, float)):
            off[index], off_std[index] = stated, FIXTURE_STD * stated
    if not (off > 0.0).any():
        return batch, []
    too_small = rows & (spots.value <= off)
    corrected = replace(
        spots,
        value=np.where(too_small, spots.value, spots.value - off),
        std=np.hypot(spots.std, off_std),
        use=spots.use & ~too_small,
    )
    batch = replace(batch, spots=corrected)
    for index in np.flatnonzero(too_small):
        note = QualityNote(
            code="FIXTURE_EXCEEDS_READING",
            sentence=f"The capacitance ({spots.value[index]:.3g} F) is not above that of the empty fixture. Left out.",
            figures={"value": float(spots.value[index]), "fixture": float(off[index])},
            used=False,
        )
        batch = add_note(batch, int(spots.part[index]), note)
    largest, its_std = float(off.max()), float(off_std[int(off.argmax())])
    note = QualityNote(
        code="CORRECTED_FIXTURE",
        sentence=(
            f"{1e12 * largest:.3g} +- {1e12 * its_std:.2g} pF of the empty fixture were taken out of "
            f"{int(rows.sum())} reading(s)."
        ),
        run=quantity,
        figures={"fixture_f": largest, "fixture_std_f": its_std, "readings": int(rows.sum())},
    )
    return batch, [note]


def self_heating(
    power: npt.ArrayLike,
    *,
    pulse_seconds: float | None = None,
    die_area: float | None = None,
    die_area_std: float = 0.0,
    rth_jc: float | None = None,
) -> tuple[Floats, Floats]:
    """Rise of the junction over the case during a reading, and its standard uncertainty. [K]

    Parameters
    ----------
    power : array
        IC VCE + IB VBE. [W]
    pulse_seconds, die_area, die_area_std : float
        For a pulse: its length [s], active die area and its standard uncertainty [m^2]. Holds while heat stays within
        the die (about 1 ms for 0.3 mm of silicon).
    rth_jc : float
        For a steady reading: thermal resistance junction to case. [K/W]

    Raises
    ------
    ValueError
        Neither (pulse and area) nor thermal resistance.
    """
    watts = np.asarray(power, dtype=float)
    if pulse_seconds is not None and die_area is not None:
        rise = early_rise(watts, die_area, pulse_seconds)
        return rise, np.abs(rise) * float(np.hypot(die_area_std / die_area, EARLY_LAW_STD))
    if rth_jc is not None:
        rise = np.asarray(watts * rth_jc)
        return rise, np.abs(rise) * RTH_STD
    raise ValueError("self_heating needs pulse_seconds with die_area, or rth_jc")


def vbe_to_temperature(
    vbe: npt.ArrayLike,
    vbe_std: npt.ArrayLike,
    junction_temp: npt.ArrayLike,
    junction_temp_std: npt.ArrayLike,
    *,
    reference_temp: float = REFERENCE_TEMP,
    eg: float = 1.11,
    xti: float = 3.0,
) -> tuple[Floats, Floats]:
    """VBE at one junction temperature, constant collector current, with its standard uncertainty. [V]

    The slope (VBE - EG - XTI VT)/T, taken midway between the temperatures, has a relative uncertainty of `SLOPE_STD`.
    """
    temp = np.asarray(junction_temp, dtype=float)
    first = vbe_slope(vbe, temp, eg, xti)
    midway = np.asarray(vbe, dtype=float) + first * 0.5 * (reference_temp - temp)
    slope = vbe_slope(midway, 0.5 * (temp + reference_temp), eg, xti)
    return shift_to_temperature(
        vbe, vbe_std, temp, junction_temp_std, slope, np.abs(slope) * SLOPE_STD, reference_temp=reference_temp
    )


def hfe_to_temperature(
    hfe: npt.ArrayLike,
    hfe_std: npt.ArrayLike,
    junction_temp: npt.ArrayLike,
    junction_temp_std: npt.ArrayLike,
    *,
    reference_temp: float = REFERENCE_TEMP,
    xtb: float = 1.5,
) -> tuple[Floats, Floats]:
    """hFE at one junction temperature where the ideal base current rules, with its standard uncertainty.

    BF(T) = BF (T/Tn)^XTB (ngspice bjttemp.c); XTB has a standard uncertainty of `XTB_STD`.
    """
    if not reference_temp > 0.0:
        raise ValueError(f"reference_temp is {reference_temp} K; kelvin expected, did you pass degrees Celsius?")
    gain, temp = np.asarray(hfe, dtype=float), np.asarray(junction_temp, dtype=float)
    ln_ratio = np.log(reference_temp / temp)
    shifted = gain * np.exp(xtb * ln_ratio)
    relative = np.sqrt(
        (np.asarray(hfe_std, dtype=float) / gain) ** 2
        + (ln_ratio * XTB_STD) ** 2
        + (xtb / temp * np.asarray(junction_temp_std, dtype=float)) ** 2
    )
    return shifted, np.abs(shifted) * relative
