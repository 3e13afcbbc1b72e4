"""The reading that is expected to decide most per bench minute, as a recipe, for parts that are not decided."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.observations import Observations, take_observations
from partscreen.device.parameters import N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.instruments.uncertainty import reading_std
from partscreen.reference.population_spreads import Spreads, load_spreads
from partscreen.results import NextMeasurement
from partscreen.screening.advice.candidates import Candidate, TypeFacts, candidates, last_resorts
from partscreen.screening.advice.information_gain import Gain, Menu, best_of, expected_gain
from partscreen.screening.advice.recipes import Expected, recipe_of
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import N_COORDINATES, SATURATION_EDGE, Linearised
from partscreen.screening.evidence.shared_misfit import OWN_SHARE
from partscreen.screening.limits.spot_conditions import ROOM_TEMPERATURE
from partscreen.screening.model_error import GradingLike

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

USEFUL = 0.02
"""A reading expected to settle less than this share of what is open does not decide (assumption)."""
WORTH = 0.4
"""... nor one that settles less than this share of what the most telling one would: every reading also costs laying the
part in and writing down, which minutes per reading leave out (assumption)."""
NEAR = 0.8
"""Rates above this share of the best count as equal; the quickest is then taken (assumption)."""
ALIKE_CURRENT = 1.35  # a reading within this factor of current has been taken already (assumption)
ALIKE_BIAS = 0.3  # [V] and share of the bias
AS_GOOD = 1.5  # ... if its standard uncertainty is at most this factor above the new one's
ORDINARY_KIT = "no kit was described: a capacitance meter, a bench supply to 1 A and two multimeters are assumed"

# What is expected of readings the device model does not hold, as a share of what is open (assumption: a substituted
# part often fails at voltage or power where its curves pass; the published power tests of a few parts say no more).
SETTLES = {"iceo": 0.02, "v_br_ceo": 0.1, "dwell": 0.3}

# Before any reading of a part, or without a model of its type: nats per reading for a die of half the area, of
# simulated parts against a known centre (own study, 1 A).
GENERAL = {"c_cb": 90.0, "c_be": 57.0, "vce_sat": 53.0, "two_currents": 77.0, "sweep": 87.0}


@dataclass(frozen=True, slots=True)
class Undecided:
    """Parts of one lot, weighed; first axis the part.

    observations : what was read. readings : the same about their own fits. spots_read : per part, keys of readings
    outside the model that were taken (ICEO, V(BR)CEO, dwell). gradings : base-emitter, collector-base; what a
    capacitance at another bias than the sheet's leaves open. lot_size : parts the lot has, advised on or not.
    spreads : of the type's population, None for the packaged ones.
    """

    observations: Observations
    readings: Linearised
    weighed: Weighed
    known: Knowledge
    constants: TypeConstants
    spots_read: Sequence[frozenset[str]] = ()
    gradings: tuple[GradingLike, ...] = ()
    lot_size: int = 1
    spreads: Spreads | None = None
    type_number: str = ""


def next_measurements(
    parts: Undecided, facts: TypeFacts, kit: Kit | None, wanted: Bools, *, by_reach: Bools | None = None
) -> list[NextMeasurement | None]:
    """What to read next of every part.

    Parameters
    ----------
    parts : of one lot
    facts : of the marked type
    kit : the user's instruments; None: `ORDINARY_KIT`
    wanted : (n_parts,), parts to advise on: the held ones
    by_reach : (n_parts,), held only because the readings would not have shown a smaller die; these may be sent to the
        readings outside the device model

    Returns
    -------
    list
        None where no advice is wanted, or nothing the kit reads would help.
    """
    rows = np.flatnonzero(wanted)
    out: list[NextMeasurement | None] = [None] * parts.observations.n_parts
    if not rows.size:
        return out
    offered = candidates(kit, facts)
    some = _pick(parts, rows)
    menu, allowed, expected = menu_of(some, offered, kit, facts)
    gain = expected_gain(some.readings, some.weighed, some.known, menu)
    chosen = best_of(gain, [c.minutes for c in offered], allowed, useful=USEFUL, worth=WORTH, near=NEAR)
    recipes: dict[str, str] = {}
    slow = last_resorts(kit, facts)
    last = np.ones(rows.size, dtype=np.bool_) if by_reach is None else by_reach[rows]
    for i, (part, number) in enumerate(zip(rows.tolist(), chosen.tolist(), strict=True)):
        if number >= 0:
            one = offered[number]
            why = _why(gain, i, number, one, some.weighed.names, kit)
        else:
            left = [c for c in slow if c.key not in _spots(parts, part)] if last[i] else []
            if not left:
                out[part] = KNOWN_GOOD
                continue
            one, why = left[0], _why_last(left[0])
        if one.key not in recipes:
            recipes[one.key] = recipe_of(one, facts, expected.get(one.key))
        out[part] = NextMeasurement.model_construct(
            reading=one.reading, why=why, minutes=one.minutes, recipe=recipes[one.key]
        )
    return out


KNOWN_GOOD = NextMeasurement(
    reading="two or more parts of the type you trust, read the same way",
    why=(
        "no further reading of this part with this kit is expected to settle it; what is missing is a nearer reference "
        "than the data sheet"
    ),
    minutes=None,
    recipe=(
        "Read two or more parts of the type that come from an authorised distributor or from the surviving channel, in "
        "one session with this part, with the same readings at the same settings.\n"
        "Enter them as a lot marked known_good = yes in the lot sheet and screen both lots together."
    ),
)


def first_measurement(
    kit: Kit | None, facts: TypeFacts, taken: frozenset[str] = frozenset(), limited: frozenset[str] = frozenset()
) -> NextMeasurement | None:
    """What to read of a part of which nothing is weighed: type unknown, no model of it, or no usable reading.

    `taken`: keys of candidates already read ("c_cb", "c_be", "vce_sat", "two_currents", "sweep"). `limited`: quantities
    the type has printed limits of, where limits are all there is to judge by; readings of them go first.
    """
    offered = [c for c in candidates(kit, facts) if c.key not in taken]
    offered = [c for c in offered if limited & set(c.reads)] or offered
    if not offered:
        return None
    best = max(offered, key=lambda c: GENERAL[c.key] / c.minutes)
    why = "of what the kit reads, this tells most of an unread part per bench minute in general"
    if limited & set(best.reads):
        why = "the type is judged by its printed limits alone, and this reaches more of them"
    return NextMeasurement(
        reading=best.reading, why=_with_kit(why, kit), minutes=best.minutes, recipe=recipe_of(best, facts)
    )


def menu_of(
    parts: Undecided, offered: Sequence[Candidate], kit: Kit | None, facts: TypeFacts
) -> tuple[Menu, Bools, dict[str, Expected]]:
    """Jacobian and variance of everything offered at each part's fit; (n_parts, n_candidates) what is new; what a
    middling part should read."""
    theta = parts.readings.point[:, :N_PARAMETERS]
    n = theta.shape[0]
    jacobian, variance, new = [np.zeros((n, 0, N_COORDINATES))], [np.zeros((n, 0))], [np.zeros((n, 0), dtype=np.bool_)]
    groups, expected, at = [], {}, 0
    for one in offered:
        if one.key in ("c_cb", "c_be"):
            jac, std, fresh = _capacitance_rows(one, theta, parts, kit)
        elif one.key == "vce_sat":
            jac, std, fresh, expected[one.key] = _saturation_rows(one, theta, parts, kit)
        else:
            jac, std, fresh, expected[one.key] = _gain_rows(one, theta, parts, kit)
        reached = np.isfinite(std) & np.isfinite(jac).all(axis=2)
        jacobian.append(np.where(reached[:, :, None], jac, 0.0))
        variance.append(np.where(reached, std**2, 1.0))
        new.append(fresh & reached)
        groups.append(np.arange(at, at + jac.shape[1]))
        at += jac.shape[1]
    menu = Menu(np.concatenate(jacobian, axis=1), np.concatenate(variance, axis=1), tuple(groups))
    fresh_rows = np.concatenate(new, axis=1)
    allowed = np.stack([fresh_rows[:, g].any(axis=1) for g in groups], axis=1) if groups else np.zeros((n, 0), bool)
    return menu, allowed, expected


def _rows(derivative: Floats, shared: tuple[Floats, Floats, Floats]) -> Floats:
    """Derivatives to all coordinates: device parameters, then temperature, gain and lead of the session."""
    columns = np.stack([np.broadcast_to(s, derivative.shape[:2]) for s in shared], axis=2)
    return np.concatenate((derivative, columns), axis=2)


def _capacitance_rows(one: Candidate, theta: Floats, parts: Undecided, kit: Kit | None) -> tuple[Floats, Floats, Bools]:
    junction = int(one.key == "c_cb")
    found = predict_capacitance(theta, parts.constants, np.array([[junction]]), np.array([[one.value]]))
    zero = np.zeros_like(found.ln_c)
    std = reading_std(one.key, np.exp(found.ln_c), kit) / np.exp(found.ln_c)
    o = parts.observations
    near = np.abs(o.cap_bias - one.value) <= ALIKE_BIAS * (1.0 + one.value)
    as_good = o.cap_ln_std <= AS_GOOD * std
    taken = (near & as_good & (o.cap_junction == junction) & np.isfinite(o.cap)).any(axis=1)
    if len(parts.gradings) > junction:
        std = np.hypot(std, parts.gradings[junction].ln_std(np.full(std.shape, one.value)))
    return _rows(found.d_ln_c, (zero, zero, zero)), std, ~taken[:, None]


def _gain_rows(
    one: Candidate, theta: Floats, parts: Undecided, kit: Kit | None
) -> tuple[Floats, Floats, Bools, Expected]:
    o = parts.observations
    ic = np.broadcast_to(np.array(one.ic), (theta.shape[0], len(one.ic)))
    found = predict_gain(theta, parts.constants, ic, one.value, ROOM_TEMPERATURE, one.pulsed)
    assert found.d_ln_hfe is not None
    assert found.d_vbe is not None
    assert found.dt_ln_hfe is not None
    assert found.dt_vbe is not None
    hfe, zero = np.exp(found.ln_hfe), np.zeros_like(ic)
    ic_ln_std = reading_std("ic", ic, kit) / ic
    tester = kit is None or kit.reader_of("hfe") is not None
    from_currents = np.hypot(ic_ln_std, reading_std("ib", ic / hfe, kit) / (ic / hfe))
    hfe_std = reading_std("hfe", hfe, kit) / hfe if tester else from_currents
    vbe_std = np.hypot(reading_std("vbe", found.vbe, kit), THERMAL * ic_ln_std)
    jac, std, fresh = [], [], []
    if "hfe" in one.reads:
        jac.append(_rows(found.d_ln_hfe, (found.dt_ln_hfe, np.ones_like(ic), zero)))
        std.append(_with_misfit("hFE", hfe_std, hfe, ic, parts))
        fresh.append(~_read(ic, hfe_std, o.gain_ic, o.hfe, o.hfe_ln_std))
    if "vbe" in one.reads:
        jac.append(_rows(found.d_vbe, (found.dt_vbe, zero, zero)))
        std.append(_with_misfit("VBE", vbe_std, found.vbe, ic, parts))
        fresh.append(~_read(ic, vbe_std, o.gain_ic, o.vbe, o.vbe_std))
    middling = Expected(_middle(hfe), _middle(found.vbe))
    joined = (np.concatenate(a, axis=1) for a in (jac, std, fresh))
    return (*joined, middling)  # type: ignore[return-value]


def _middle(values: Floats) -> tuple[float, ...]:
    """Median over the parts at each point; NaN where the model reaches the point for none."""
    columns = (column[np.isfinite(column)] for column in values.T)
    return tuple(float(np.median(column)) if column.size else float("nan") for column in columns)


THERMAL = 0.026  # [V] VBE moves by this per unit of ln IC


def _saturation_rows(
    one: Candidate, theta: Floats, parts: Undecided, kit: Kit | None
) -> tuple[Floats, Floats, Bools, Expected]:
    o = parts.observations
    ic = np.broadcast_to(np.array(one.ic), (theta.shape[0], len(one.ic)))
    found = predict_saturation(theta, parts.constants, ic, ic / one.value, ROOM_TEMPERATURE, one.pulsed)
    assert found.d_vce is not None
    assert found.dt_vce is not None
    vce = np.where(found.vce > SATURATION_EDGE, np.nan, found.vce)
    std = np.hypot(reading_std("vce_sat", vce, kit), vce * reading_std("ic", ic, kit) / ic)
    fresh = ~_read(ic, std, o.sat_ic, o.vce_sat, o.vce_sat_std)
    jac = _rows(found.d_vce, (found.dt_vce, np.zeros_like(ic), ic))
    return jac, _with_misfit("VCE(sat)", std, vce, ic, parts), fresh, Expected()


def _with_misfit(symbol: str, std: Floats, value: Floats, ic: Floats, parts: Undecided) -> Floats:
    """Uncertainty of a reading with the device model's own error: the whole of it for a part alone, what is left once
    the lot has shown its common part otherwise (all of the lot read alike: assumption)."""
    with np.errstate(invalid="ignore"):
        share = ic / parts.constants.ic_rated
        model = (parts.spreads or load_spreads()).misfit_std(symbol, value, share, parts.type_number)
    n = parts.lot_size
    left = 1.0 if n == 1 else np.sqrt(OWN_SHARE**2 + 1.0 / n)
    return np.asarray(np.hypot(std, left * model))


def _read(ic: Floats, std: Floats, read_ic: Floats, read: Floats, read_std: Floats) -> Bools:
    """Points (n, k) near which a reading about as good stands already."""
    if not read.shape[1]:
        return np.zeros(ic.shape, dtype=np.bool_)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart = np.abs(np.log(read_ic[:, None, :] / ic[:, :, None]))
        near = (apart <= np.log(ALIKE_CURRENT)) & (read_std[:, None, :] <= AS_GOOD * std[:, :, None])
    return np.asarray((near & np.isfinite(read)[:, None, :]).any(axis=2))


def _pick(parts: Undecided, rows: Ints) -> Undecided:
    w = parts.weighed
    weighed = replace(
        w, evidence=w.evidence[rows], by_reading=w.by_reading[rows], probability=w.probability[rows],
        centre=w.centre[rows], centre_covariance=w.centre_covariance[rows],
    )  # fmt: skip
    spots = [_spots(parts, int(i)) for i in rows]
    return Undecided(
        take_observations(parts.observations, rows), parts.readings.pick(rows), weighed, parts.known,
        parts.constants, spots, parts.gradings, parts.lot_size, parts.spreads, parts.type_number,
    )  # fmt: skip


def _spots(parts: Undecided, part: int) -> frozenset[str]:
    return parts.spots_read[part] if part < len(parts.spots_read) else frozenset()


def _why(gain: Gain, part: int, number: int, one: Candidate, names: Sequence[str], kit: Kit | None) -> str:
    share = float(gain.information[part, number] / max(gain.open[part], 1e-300))
    against = names[int(gain.told[part, number])]
    minutes = f"{one.minutes:.2g} min" + (" (assumed)" if one.minutes_assumed else "")
    words = (
        f"of what the kit reads, this is expected to settle most per bench minute: at most {100 * min(share, 1.0):.0f} "
        f"% of "
        f'what is open, in {minutes}, above all against "{against}"'
    )
    return _with_kit(words, kit)


def _with_kit(words: str, kit: Kit | None) -> str:
    return words if kit is not None else f"{words}; {ORDINARY_KIT}"


def _why_last(one: Candidate) -> str:
    return (
        "no electrical reading of this kit is expected to settle it; this one stands outside the device model and is "
        f"expected to settle about {100 * SETTLES[one.key]:.0f} % of what is open (assumption)"
    )
