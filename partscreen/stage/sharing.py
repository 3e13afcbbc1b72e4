"""How devices in parallel share idle and peak current, whether the idle current holds, and what matching buys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.forward import gain_at
from partscreen.device.mapping import card_from_theta
from partscreen.device.parallel import Cooling, Shared, loop_gain, share_current
from partscreen.device.temperature import thermal_voltage
from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.population import Population, population_for
from partscreen.results.stage import CheckOutcome, PlaceShare, SharingFigure, StageCheck
from partscreen.stage.conditions import burst_current, idle_power, load_cases, not_known, warmth
from partscreen.stage.devices import Side
from partscreen.stage.heat import missing_cooling
from partscreen.stage.model import Stage
from partscreen.stage.safe_area import ratings_of
from partscreen.stage.stress import sheet_text

Floats = npt.NDArray[np.float64]

VCE_AT_PEAK = 5.0
"""Collector-emitter voltage at the peak of a burst [V] (assumption: the rail is nearly reached; sharing hardly depends
on it)."""
DOUBLED = 0.5
"""Loop gain from which the idle current's stability is marginal: heat then doubles every disturbance, 1/(1 - 0.5)
(assumption)."""
DRAWN, SEED = 2000, 5
MOST_STEPS, LONGEST_STEP, COLD_FOUND = 60, 2.0, 1e-9
"""Of the search for the drops on switching on; the last in V, far below what a meter shows."""
OWN_WORK = "devices on one base voltage, coupled by their heat (derived); currents from the fitted curves"


@dataclass(frozen=True, slots=True)
class Devices:
    """Devices of a side in their places: `card` holds values of shape (n, 1)."""

    card: Card
    names: tuple[str | None, ...]
    ohms: Floats
    population: Population

    @property
    def n(self) -> int:
        return int(self.ohms.size)


def resistors_of(stage: Stage, polarity: str) -> Floats | None:
    """Emitter resistors in the order of the places [ohm]: measured ones where the stage file names them."""
    named = stage.stage.npn_resistors if polarity == "NPN" else stage.stage.pnp_resistors
    if named:
        return np.array([stage.emitter_resistors.measured[name] for name in named])
    marked = stage.emitter_ohms
    return None if marked is None else np.full(stage.stage.devices_per_rail, marked)


def devices_of(stage: Stage, side: Side) -> Devices | None:
    """The parts of a side in their places; None with fewer parts than places, without resistors or a device model."""
    ohms, known = resistors_of(stage, side.kind.polarity), population_for(side.kind)
    n = stage.stage.devices_per_rail
    if ohms is None or known is None or len(side.parts) < n:
        return None
    chosen = side.parts[:n]
    card = card_from_theta(np.array([part.fit.theta for part in chosen]), known.constants)
    return Devices(card, tuple(part.name for part in chosen), ohms, known)


def cooling_of(stage: Stage, side: Side) -> Cooling | None:
    """The heat path of a side's devices, the other devices on the heat sink at the idle power; None: not stated."""
    rth, cooling = ratings_of(side.kind).rth_jc, stage.cooling
    power = idle_power(stage)
    if missing_cooling(cooling) or rth is None or power is None:
        return None
    assert cooling.ambient is not None
    assert cooling.insulator is not None
    assert cooling.heat_sink is not None
    assert cooling.devices_on_heat_sink is not None
    others = max(cooling.devices_on_heat_sink - stage.stage.devices_per_rail, 0)
    return Cooling(cooling.ambient, rth, cooling.insulator, cooling.heat_sink, others * power)


def share_side(stage: Stage, side: Side) -> tuple[SharingFigure | None, list[StageCheck]]:
    """Idle and peak sharing of a side, the stability of its idle current, and what matching buys there."""
    n, devices = stage.stage.devices_per_rail, devices_of(stage, side)
    if devices is None:
        missing = _missing(stage, side)
        stable = not_known("IDLE_STABILITY", side.about, missing)
        return None, [stable] if n == 1 else [not_known("SHARING_IDLE", side.about, missing), stable]
    idle = stage.idle_current
    if idle is None or stage.rails.unloaded is None:
        absent = ["bias.target"] if stage.bias.target is None else ["rails.unloaded"]
        return None, [not_known("SHARING_IDLE", side.about, absent)]
    cooling, vce = cooling_of(stage, side), stage.rails.unloaded.highest
    ambient = stage.cooling.ambient or ZERO_CELSIUS + 25.0
    shared = share_current(devices.card, n * idle, vce, devices.ohms, cooling or Cooling(ambient))
    if not shared.reached:
        words = "The device model finds no working point there."
        return None, [not_known("SHARING_IDLE", side.about, ["other parts or another bias"], words)]
    peak = _peak(stage, side, devices)
    cold = _cold(devices, shared, vce, ambient) if cooling else None
    unmatched = [] if n == 1 else unmatched_spread(devices.population, idle, float(devices.ohms.mean()), n)
    figure = _figure(side, devices, shared, cold, peak, unmatched, warm=cooling is not None)
    checks = [_stability(stage, side, devices, shared, vce, cooling)]
    if n > 1:
        worth = [_worth(side, figure)] if unmatched else []
        checks = [_idle(stage, side, figure), *_peak_check(side, peak, n), *checks, *worth]
    return figure, checks


def _missing(stage: Stage, side: Side) -> list[str]:
    if population_for(side.kind) is None:
        return [f"a device model of {side.name}"]
    if resistors_of(stage, side.kind.polarity) is None:
        return ["emitter_resistors.marked"]
    return [f"{stage.stage.devices_per_rail} accepted part(s) of {side.name} with fitted curves"]


def _peak(stage: Stage, side: Side, devices: Devices) -> Shared | None:
    """Sharing at the peak of a burst. A burst is short: all devices stand at the hottest mean junction temperature."""
    burst = burst_current(stage)
    if burst is None:
        return None
    warm = [warmth(stage, side, case, case.signal).at for case in load_cases(stage)]
    hottest = max((at.junction for at in warm if at is not None), default=None)
    at = hottest or stage.cooling.ambient or ZERO_CELSIUS + 25.0
    found = share_current(devices.card, burst, VCE_AT_PEAK, devices.ohms, Cooling(at))
    return found if found.reached else None


def _cold(devices: Devices, warm: Shared, vce: float, ambient: float) -> Floats | None:
    """Drops [V] on switching on, at the bias voltage that gives `warm`, if nothing follows the heat.

    Secant steps in the logarithm of the current, all devices at once. None where the device model does not reach so low
    a current.
    """
    ln_ic, slope = np.log(warm.collector), np.full(devices.n, float(thermal_voltage(ambient)))
    last: tuple[Floats, Floats] | None = None
    for _ in range(MOST_STEPS):
        ic = np.exp(ln_ic)
        point = gain_at(devices.card, ic[:, None], vce, ambient)
        drop = (ic + point.ib[:, 0]) * devices.ohms
        gap = point.vbe[:, 0] + drop - warm.voltage
        if not np.isfinite(gap).all():
            return None
        if float(np.abs(gap).max()) < COLD_FOUND:
            return np.asarray(drop)
        if last is None:
            slope = slope + drop
        else:
            moved = ln_ic - last[0]
            told = np.abs(moved) > 1e-9
            slope = np.where(told, (gap - last[1]) / np.where(told, moved, 1.0), slope)
        last = ln_ic, gap
        ln_ic = ln_ic - np.clip(gap / slope, -LONGEST_STEP, LONGEST_STEP)
    return None


def unmatched_spread(population: Population, idle: float, ohms: float, n: int) -> list[float]:
    """Largest less smallest drop of n parts drawn from one lot of the type [V]: median, and nine in ten below.

    Small differences of VBE dV change a current by dV / (re + RE), equal temperatures taken; seeded, so that the same
    stage gives the same figures. Empty where the device model does not reach the idle current.
    """
    rng = np.random.default_rng(SEED)
    theta = rng.multivariate_normal(population.centre, population.within, DRAWN * n, method="cholesky")
    card = card_from_theta(theta, population.constants)
    point = gain_at(card, np.full((DRAWN * n, 1), idle), VCE_AT_PEAK, ZERO_CELSIUS + 25.0)
    vbe = point.vbe[:, 0].reshape(DRAWN, n)
    vbe = vbe[np.isfinite(vbe).all(axis=1)]
    if not vbe.size:
        return []
    junction = float(thermal_voltage(ZERO_CELSIUS + 25.0)) / idle
    drop = np.ptp(vbe, axis=1) * ohms / (ohms + junction)
    return [float(v) for v in np.quantile(drop, (0.5, 0.9))]


def _figure(
    side: Side, devices: Devices, shared: Shared, cold: Floats | None, peak: Shared | None, unmatched: list[float], *,
    warm: bool,
) -> SharingFigure:  # fmt: skip
    places = [
        PlaceShare(
            place=f"{side.kind.polarity} {i + 1}",
            part=devices.names[i],
            resistor=float(devices.ohms[i]),
            current=float(shared.emitter[i]),
            drop=float(shared.drop[i]),
            cold_drop=None if cold is None else float(cold[i]),
            junction=float(shared.junction[i]) if warm else None,
            peak=None if peak is None else float(peak.emitter[i]),
        )
        for i in range(devices.n)
    ]
    basis = "warm, heat of the devices included" if warm else "all at one temperature, cooling is not stated"
    return SharingFigure(about=side.about, basis=basis, places=places, unmatched=unmatched)


def _listed(values: Sequence[float], scale: float, digits: int = 3) -> str:
    return ", ".join(f"{v * scale:.{digits}g}" for v in values)


def _idle(stage: Stage, side: Side, figure: SharingFigure) -> StageCheck:
    """Expected drops against the target: what the user will read is the parts, not a fault."""
    drops = [place.drop for place in figure.places]
    target, tolerance = stage.bias.target, stage.bias.tolerance
    assert target is not None
    off = max(abs(drop / target - 1.0) for drop in drops)
    hottest = max(figure.places, key=lambda place: place.current)
    listed = ", ".join(f"{place.part} {place.drop * 1e3:.3g} mV" for place in figure.places)
    words = f"At a mean of {target * 1e3:.3g} mV expect {listed}"
    words += f" ({figure.basis}); {hottest.place} carries most, {hottest.current * 1e3:.3g} mA"
    if hottest.junction is not None:
        words += f", junction {hottest.junction - ZERO_CELSIUS:.0f} degC"
    figures: dict[str, float | int | str | None] = {p.place: p.drop for p in figure.places}
    if tolerance is None:
        return not_known("SHARING_IDLE", side.about, ["bias.tolerance"], f"{words}.", value=max(drops), unit="V",
                         limit=target, figures=figures)  # fmt: skip
    result: CheckOutcome = "ok" if off <= tolerance else "marginal"
    tail = "within" if result == "ok" else "outside"
    words += f"; {tail} the {tolerance * 100:g} % allowed"
    if result != "ok":
        words += ". Parts of nearer VBE, or a larger emitter resistor, would bring them together"
    return StageCheck(
        code="SHARING_IDLE", about=side.about, result=result, value=max(drops), limit=target, unit="V",
        margin=tolerance - off, sentence=f"{words}.", source=OWN_WORK, figures=figures,
    )  # fmt: skip


def _peak_check(side: Side, peak: Shared | None, n: int) -> list[StageCheck]:
    """The most loaded device at the peak of a burst against its rated current."""
    rated = ratings_of(side.kind).ic
    if peak is None or rated is None:
        needs = [f"IC of {side.name}"] if rated is None else ["rails.unloaded", "load.minimum_impedance"]
        return [not_known("SHARING_PEAK", side.about, needs)]
    most, even = float(peak.emitter.max()), float(peak.emitter.sum()) / n
    result: CheckOutcome = "ok" if most <= rated else "not_ok"
    words = f"At the peak of a burst the devices carry {_listed(list(peak.emitter), 1.0)} A, the most loaded "
    words += f"{(most / even - 1.0) * 100:.2g} % above an even share; rated {rated:g} A."
    return [
        StageCheck(
            code="SHARING_PEAK", about=side.about, result=result, value=most, limit=rated, unit="A",
            margin=1.0 - most / rated, sentence=words, source=f"{sheet_text(side.kind, 'IC')}; {OWN_WORK}",
            figures={"even_share": even},
        )
    ]  # fmt: skip


def _stability(
    stage: Stage, side: Side, devices: Devices, shared: Shared, vce: float, cooling: Cooling | None
) -> StageCheck:
    """Loop gain of a device that heats itself through junction, case and insulator, bias held fixed."""
    if cooling is None:
        needs = [*missing_cooling(stage.cooling)] or [f"RTHJC of {side.name}"]
        return not_known("IDLE_STABILITY", side.about, needs)
    rise = float(np.asarray(cooling.junction_to_case) + np.asarray(cooling.case_to_sink))
    own = float(
        loop_gain(devices.card, shared.collector, vce, devices.ohms, np.full(devices.n, rise), shared.junction).max()
    )
    result: CheckOutcome = "ok" if own < DOUBLED else "marginal" if own < 1.0 else "not_ok"
    count = stage.cooling.devices_on_heat_sink or devices.n
    whole = rise + cooling.sink_to_air * count
    slow = float(
        loop_gain(devices.card, shared.collector, vce, devices.ohms, np.full(devices.n, whole), shared.junction).max()
    )
    words = f"Loop gain {own:.2g} from junction to heat sink"
    words += {"ok": ": the idle current settles", "marginal": ": heat more than doubles a disturbance"}.get(
        result, ": the idle current runs away"
    )
    if slow >= 1.0:
        need = 1.0 - 1.0 / slow
        words += f". With the heat sink {slow:.2g}: the bias circuit must follow at least {need * 100:.0f} % of the "
        words += "drift of VBE, so its sensor has to sit on the heat sink"
    else:
        words += f"; with the heat sink {slow:.2g}, below 1 even if the bias circuit does not follow the heat"
    return StageCheck(
        code="IDLE_STABILITY", about=side.about, result=result, value=own, limit=1.0, margin=1.0 - own,
        sentence=f"{words}.", source=f"{OWN_WORK}; marginal from {DOUBLED:g} (assumption)",
        figures={"with_heat_sink": slow},
    )  # fmt: skip


def _worth(side: Side, figure: SharingFigure) -> StageCheck:
    """What the choice of parts buys against parts as they come from one lot: a statement, never a fault."""
    drops = [place.drop for place in figure.places]
    spread, (half, most) = max(drops) - min(drops), figure.unmatched
    words = f"The drops differ by {spread * 1e3:.2g} mV; parts as they come from one lot differ by {half * 1e3:.2g} mV "
    words += f"(nine in ten by less than {most * 1e3:.2g} mV). "
    peaks = [place.peak for place in figure.places if place.peak is not None]
    if peaks:
        words += f"At the peak the shares differ by {(max(peaks) / min(peaks) - 1.0) * 100:.2g} %: there the emitter "
        words += "resistors share, not the matching."
    return StageCheck(
        code="MATCHING_WORTH", about=side.about, result="ok", value=spread, limit=most, unit="V",
        sentence=words.strip(), source=f"{OWN_WORK}; spread within a lot: reference_curves/spreads.toml (assumption)",
        figures={"unmatched_median": half, "unmatched_nine_in_ten": most},
    )  # fmt: skip
