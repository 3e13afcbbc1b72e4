"""Standard uncertainty of every reading: from the kit, else stated assumptions; digits; what a session shares."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.readings.instruments.kit import Accuracy, Instrument, Kit
from partscreen.readings.instruments.leads import session_leads
from partscreen.readings.tables import Batch, Bools, Floats, Ints, Points, Spots, Sweep

SQRT3 = float(np.sqrt(3.0))  # limit of a rectangular distribution over its standard deviation (JCGM 100:2008, 4.3.7)


@dataclass(frozen=True, slots=True)
class Assumption:
    """A figure taken where nothing was said, and why that figure."""

    relative: float
    absolute: float
    why: str


# Every one an assumption; readings without a kit are judged with these and the report says so.
DEFAULTS: dict[str, Assumption] = {
    "hfe": Assumption(0.01, 0.0, "point-to-point scatter of a bench tester"),
    "ic": Assumption(0.007, 0.0, "two currents of 0.7 % give a gain of 1 %"),
    "ib": Assumption(0.007, 0.0, "two currents of 0.7 % give a gain of 1 %"),
    "vbe": Assumption(0.0, 2e-3, "last digit of a meter that shows millivolts, with contact scatter"),
    "vbe_sat": Assumption(0.0, 2e-3, "as VBE"),
    "vbe_before": Assumption(0.0, 2e-3, "as VBE"),
    "vbe_after": Assumption(0.0, 2e-3, "as VBE"),
    "vce_sat": Assumption(0.015, 3e-3, "contact scatter of a few milliohm at amperes, and the meter"),
    "vce": Assumption(0.01, 1e-2, "a set supply read on an ordinary meter"),
    "c_be": Assumption(0.012, 0.0, "ordinary capacitance meter"),
    "c_cb": Assumption(0.012, 0.0, "ordinary capacitance meter"),
    "ft": Assumption(0.10, 0.0, "fixture-dependent"),
    "dwell": Assumption(0.05, 0.0, "a stopwatch"),
    "die_edge_x": Assumption(0.02, 2e-5, "a rule under a lens"),
    "die_edge_y": Assumption(0.02, 2e-5, "a rule under a lens"),
}
DEFAULT_LEAKAGE = Assumption(0.05, 1e-9, "leakage follows the room's temperature and the set-up's own leakage")
DEFAULT_VOLTAGE = Assumption(0.01, 0.5, "the knee of a breakdown is read by eye")
ASSUMED_TEMPERATURE = 25.0 + ZERO_CELSIUS  # assumption: a room, and the part at room temperature
SHORT_PULSE = 1e-3  # s; heat is still inside 0.3 mm of silicon (assumption; the diffusion length at 1 ms)
TEMP_STD_LOGGED = 0.5  # K; assumption: a sensor on the case, read with the points
TEMP_STD_STATED = 2.0  # K; assumption: a room thermometer, the case taken as the room
TEMP_STD_ASSUMED = 5.0  # K; assumption: 25 degC taken, rooms and finger heat span about 15 to 35 degC
SESSION_GAIN_ASSUMED = 0.02  # assumption: two current ranges of an uncalibrated meter at 1 to 2 %
SESSION_LEAD_ASSUMED = 0.01  # ohm; assumption: two clips; goes into VCE(sat) as IC times it
# Share of a percent-of-reading limit that differs from point to point; all of it is shared by a session too
# (assumption).
POINT_SHARE = 0.3


@dataclass(frozen=True, slots=True)
class SessionUncertainty:
    """Standard uncertainties of errors that one session shares; arrays have shape (n_sessions,).

    `temp_std` [K], `gain_ln_std` relative on hFE [1], `lead_std` collector-emitter lead seen in VCE(sat) [ohm].
    """

    temp_std: Floats
    gain_ln_std: Floats
    lead_std: Floats


def limit_std(accuracy: Accuracy, value: Floats, *, percent_share: float = 1.0) -> Floats:
    """Standard uncertainty from a printed limit of error. The unit is that of `value`."""
    limit = percent_share * accuracy.percent / 100.0 * np.abs(value) + accuracy.counts * accuracy.count_size
    std: Floats = (limit + accuracy.absolute) / SQRT3
    return std


def resolution(values: Floats, *, may_be_set: bool = False) -> float:
    """The step the digits of a set of readings show, or 0 where they show none.

    Tries 1, 2 and 5 times powers of ten; a step counts if every reading is a multiple of it and no figure has more than
    six digits. Fewer than 8 different readings show nothing. Where the values may be set ones, fewer than 30 different,
    or readings of which four in five repeat, show set points rather than digits (assumption).
    """
    finite = np.abs(values[np.isfinite(values) & (values != 0.0)])[:4000]
    distinct = np.unique(finite)
    if distinct.size < 8 or (may_be_set and (distinct.size < 30 or distinct.size < 0.2 * finite.size)):
        return 0.0
    for power in range(2, -13, -1):
        for leading in (5.0, 2.0, 1.0):
            step = leading * 10.0**power
            ratio = distinct / step
            if ratio[0] > 0.5 and ratio[-1] < 1e6 and np.all(np.abs(ratio - np.round(ratio)) < 1e-6 + 1e-9 * ratio):
                return step
    return 0.0


# NaN is "not measured" and every comparison with it fails; zeros and infinities of a file must not stop a batch.
@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def apply_kit(batch: Batch, kit: Kit | None, *, temperature: float | None = None) -> Batch:
    """Fill standard uncertainties, missing conditions and case temperatures.

    Parameters
    ----------
    batch : Batch
        As imported. Uncertainties already there are kept.
    kit : Kit or None
        Without one the table `DEFAULTS` holds.
    temperature : float or None
        Case temperature of points that have none. [K] Else ambient, the kit's, 25 degC, in this order.

    Raises
    ------
    ValueError
        temperature outside 200 to 500 K.
    """
    if temperature is not None and not 200.0 < temperature < 500.0:
        raise ValueError(f"temperature is {temperature} K; kelvin expected, did you pass degrees Celsius?")
    points, assumed = _temperatures(batch, kit, temperature)
    points = _kit_conditions(points, kit)
    points = _point_stds(points, kit, len(batch.sessions))
    return replace(batch, points=points, spots=_spots(batch.spots, kit), assumed_temp=assumed)


def session_uncertainty(batch: Batch, kit: Kit | None, *, temperature: float | None = None) -> SessionUncertainty:
    """What the readings of one session share, after `apply_kit` (and `correct`, which has taken known leads out).

    `temperature`: what was given to `apply_kit`. The lead's uncertainty also stands in the uncertainty of each
    corrected VCE(sat): who fits with both overstates it, by a factor of sqrt(2) at most.
    """
    n = len(batch.sessions)
    assumed = np.isin(np.arange(n), list(batch.assumed_temp))
    stated = temperature is not None or (kit is not None and kit.temperature_logged)
    temp_std = np.where(assumed, TEMP_STD_STATED if stated else TEMP_STD_ASSUMED, TEMP_STD_LOGGED)
    gain = _kit_gain(kit) if kit is not None else SESSION_GAIN_ASSUMED
    leads = session_leads(batch, kit)
    lead_std = np.full(n, SESSION_LEAD_ASSUMED) if leads is None else leads.total_std
    return SessionUncertainty(temp_std, np.full(n, gain), lead_std)


def _kit_gain(kit: Kit) -> float:
    def percent(key: str) -> float | None:
        reader = kit.reader_of(key)
        return reader.accuracy[key].percent if reader and key in reader.accuracy else None

    direct, ic, ib = percent("hfe"), percent("ic"), percent("ib")
    if direct is not None:
        return direct / 100.0 / SQRT3
    if ic is not None and ib is not None:
        return float(np.hypot(ic, ib)) / 100.0 / SQRT3
    return SESSION_GAIN_ASSUMED


def _temperatures(batch: Batch, kit: Kit | None, temperature: float | None) -> tuple[Points, frozenset[int]]:
    points = batch.points
    missing = ~np.isfinite(points.case_temp)
    unread = frozenset(range(len(batch.sessions))) - {int(s) for s in np.unique(points.session)}
    if not missing.any():
        return points, batch.assumed_temp | unread
    fallback = temperature if temperature is not None else kit.temperature_kelvin if kit else ASSUMED_TEMPERATURE
    filled = np.where(missing, np.where(np.isfinite(points.ambient), points.ambient, fallback), points.case_temp)
    assumed = frozenset(int(s) for s in np.unique(points.session[missing]))
    if temperature is None:
        kept = _reads_its_own(points, missing, sorted(assumed))
        for session, median in kept.items():
            here = missing & (points.session == session) & ~np.isfinite(points.ambient)
            filled = np.where(here, median, filled)
        assumed -= kept.keys()
    return replace(points, case_temp=filled), batch.assumed_temp | assumed | unread


def _reads_its_own(points: Points, missing: Bools, sessions: list[int]) -> dict[int, float]:
    """Median temperature of sittings that read it with most points, much the same throughout.

    Where such a sitting lacks it here and there, it keeps what it read: a cell that cannot be used must not cost the
    other parts theirs.
    """
    out = {}
    for session in sessions:
        mine = points.session == session
        read = points.case_temp[mine & ~missing]
        if 2 * read.size > np.count_nonzero(mine) and float(np.ptp(read)) <= 2 * TEMP_STD_ASSUMED:
            out[session] = float(np.median(read))
    return out


def _kit_conditions(points: Points, kit: Kit | None) -> Points:
    """Fixed VCE of gain sweeps, base current of saturation sweeps from the forced gain, short pulses.

    What a row says of itself stands: a kit of short pulses makes none of a reading of half a second.
    """
    if kit is None:
        return points
    gain_vce = _fixed(kit, ("hfe", "ic"), "VCE")
    forced = _fixed(kit, ("vce_sat", "vce"), "forced_gain")
    vce, ib = points.vce, points.ib
    if gain_vce is not None:
        at_fixed = (points.sweep == Sweep.GAIN) | (points.sweep == Sweep.GUMMEL)
        vce = np.where(at_fixed & np.isnan(vce), gain_vce, vce)
    if forced is not None:
        ib = np.where((points.sweep == Sweep.SATURATION) & np.isnan(ib), points.ic / forced, ib)
    pulsed = points.pulsed.copy()
    silent = np.ones(pulsed.size, np.bool_) if points.pulse_stated is None else ~points.pulse_stated
    for quantity, rows in (("hfe", points.sweep != Sweep.SATURATION), ("vce_sat", points.sweep == Sweep.SATURATION)):
        reader = kit.reader_of(quantity) or kit.reader_of("ic")
        if reader is not None and reader.pulse_seconds is not None and reader.pulse_seconds <= SHORT_PULSE:
            pulsed |= rows & silent
    return replace(points, vce=vce, ib=ib, pulsed=pulsed)


def _fixed(kit: Kit, quantities: tuple[str, ...], condition: str) -> float | None:
    for quantity in quantities:
        reader = kit.reader_of(quantity)
        value = reader.conditions.get(condition) if reader else None
        if isinstance(value, (int, float)):
            return float(value)
    return None


def _point_stds(points: Points, kit: Kit | None, n_sessions: int) -> Points:
    saturated = points.sweep == Sweep.SATURATION
    given = _gain_was_given(points)
    digits = {
        name: _session_resolution(getattr(points, name), points.session, n_sessions, rows, may_be_set)
        for name, rows, may_be_set in (
            ("ic", np.isfinite(points.ic), True),
            ("ib", np.isfinite(points.ib), True),
            ("vbe", points.sweep != Sweep.GUMMEL, False),  # the base voltage of a Gummel sweep is set
            ("vce", saturated, False),
            ("hfe", given, False),
        )
    }
    ic_std = np.hypot(_column_std("ic", points.ic, kit), digits["ic"])
    ib_std = np.hypot(_column_std("ib", points.ib, kit), digits["ib"])
    vbe_std = np.hypot(_column_std("vbe", points.vbe, kit), digits["vbe"])
    vce_std = np.where(saturated, _column_std("vce_sat", points.vce, kit), _column_std("vce", points.vce, kit))
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.hypot(ic_std / np.abs(points.ic), ib_std / np.abs(points.ib))
    hfe_given = np.hypot(_column_std("hfe", points.hfe, kit), digits["hfe"])
    hfe_std = np.where(given, hfe_given, relative * np.abs(points.hfe))
    if points.hfe_noise is not None:
        hfe_std = np.hypot(hfe_std, points.hfe_noise)
    if points.vbe_noise is not None:
        vbe_std = np.hypot(vbe_std, points.vbe_noise)
    return replace(
        points,
        ic_std=_keep(points.ic_std, ic_std),
        hfe_std=_keep(points.hfe_std, hfe_std),
        vbe_std=_keep(points.vbe_std, vbe_std),
        vce_std=_keep(points.vce_std, np.hypot(vce_std, digits["vce"])),
    )


def _keep(there: Floats, new: Floats) -> Floats:
    return np.where(np.isfinite(there), there, new)


def _gain_was_given(points: Points) -> Bools:
    """Gain read by the tester itself, not worked out from the currents beside it."""
    with np.errstate(divide="ignore", invalid="ignore"):
        worked_out = np.abs(points.ic / points.ib / points.hfe - 1.0) < 1e-9
    return np.isfinite(points.hfe) & ~worked_out


def reading_std(name: str, values: Floats, kit: Kit | None) -> Floats:
    """Standard uncertainty that `apply_kit` would give readings of a quantity, in its unit; shape of `values`.

    `name`: key of the quantity table, or ic, ib, vce.
    """
    return _column_std(name, values, kit)


def _column_std(name: str, values: Floats, kit: Kit | None) -> Floats:
    reader = kit.reader_of(name) if kit else None
    if reader is None and kit is not None and name == "vce_sat":
        reader, name = kit.reader_of("vce"), "vce"
    accuracy = reader.accuracy.get(name) if reader else None
    if accuracy is not None:
        return limit_std(accuracy, values, percent_share=POINT_SHARE if name in ("ic", "ib", "hfe") else 1.0)
    default = _default(name)
    std: Floats = np.hypot(default.relative * np.abs(values), default.absolute)
    return std


def _default(name: str) -> Assumption:
    if name in DEFAULTS:
        return DEFAULTS[name]
    return DEFAULT_VOLTAGE if name.startswith("v_br") else DEFAULT_LEAKAGE


def _session_resolution(values: Floats, session: Ints, n_sessions: int, rows: Bools, may_be_set: bool) -> Floats:
    """Standard uncertainty of rounding, per row: step / sqrt(12)."""
    out = np.zeros(n_sessions)
    for number in range(n_sessions):
        seen = values[rows & (session == number)]
        out[number] = resolution(seen, may_be_set=may_be_set) / np.sqrt(12.0)
    std: Floats = np.where(rows, out[session], 0.0) if session.size else np.zeros(0)
    return std


def _spots(spots: Spots, kit: Kit | None) -> Spots:
    std = spots.std.copy()
    conditions = list(spots.conditions)
    for name in np.unique(spots.quantity):
        rows = spots.quantity == name
        std[rows] = _keep(std[rows], _column_std(str(name), spots.value[rows], kit))
        reader = kit.reader_of(str(name)) if kit else None
        if reader is not None and reader.conditions:
            for index in np.flatnonzero(rows):
                conditions[index] = with_kit_conditions(str(name), conditions[index], reader)
    return replace(spots, std=std, conditions=tuple(conditions))


# Which fixed conditions of an instrument mean something for a reading.
_BELONGS: dict[str, tuple[str, ...]] = {
    "hfe": ("IC", "VCE"),
    "vbe": ("IC", "VCE"),
    "vce_sat": ("IC", "IB", "IC_over_IB"),
    "vbe_sat": ("IC", "IB", "IC_over_IB"),
    "c_cb": ("VCB", "f", "emitter"),
    "c_be": ("VEB", "f", "collector"),
    "icbo": ("VCB",),
    "iceo": ("VCE",),
    "iebo": ("VEB",),
    "ices": ("VCE",),
    "icer": ("VCE", "RBE"),
    "icex": ("VCE", "VEB"),
}


def with_kit_conditions(
    quantity: str, conditions: dict[str, float | str], reader: Instrument
) -> dict[str, float | str]:
    """The conditions of a spot reading with the instrument's fixed ones where the reading names none of that kind."""
    wanted = _BELONGS.get(quantity, ("IC", "IB", "base", "RBE") if quantity.startswith("v_br") else ())
    fixed = {"IC_over_IB" if k == "forced_gain" else k: v for k, v in reader.conditions.items()}
    extra = {k: v for k, v in fixed.items() if k in wanted and k not in conditions}
    if "IB" in conditions:
        extra.pop("IC_over_IB", None)
    if "V" in conditions:
        extra = {k: v for k, v in extra.items() if k not in ("VCB", "VEB")}
    return {**conditions, **extra} if extra else conditions
