"""Base drive at the peak, gain group, and where the stage clips."""

from __future__ import annotations

from partscreen.reference.limits import limits
from partscreen.results.stage import CheckOutcome, StageCheck
from partscreen.stage.conditions import burst_current, not_known
from partscreen.stage.devices import KnownPart, Side, sheet_gain, sheet_saturation
from partscreen.stage.load_line import sine_peaks
from partscreen.stage.model import Stage

COVERAGE = 2.0  # k of the expanded uncertainty (JCGM 100:2008, 6.3)
CURVES = "fitted curves of the parts, 25 degC junction, read with an uncertainty of k = 2"


def check_base_drive(stage: Stage, side: Side) -> StageCheck:
    """Base current of one rail at the peak of a burst against what the driver can give.

    From each part's fitted hFE where parts are at hand (the thirstiest ones together, if there are more than places),
    else from the sheet's minimum.
    """
    code, about = "BASE_DRIVE", side.about
    burst = burst_current(stage)
    if burst is None:
        return not_known(code, about, ["rails.unloaded", "load.resistance"])
    n = stage.stage.devices_per_rail
    each = burst / n
    if side.parts:
        return _drive_of_parts(stage, side, each)
    row = sheet_gain(side.kind, side.gain_group, each)
    if row is None:
        return not_known(code, about, [f"a printed minimum of hFE of {side.name} at {each:.3g} A or more"])
    value = n * each / row.value
    words = f"{value * 1e3:.3g} mA at {each:.3g} A a device, by the sheet's minimum of {row.value:g}"
    if row.basis == "memory":
        words += " (recalled, not read in a copy)"
    return _against_driver(stage, side, value, value, words, row.source, {"hfe": row.value, "ic": each})


def _drive_of_parts(stage: Stage, side: Side, each: float) -> StageCheck:
    code, n = "BASE_DRIVE", stage.stage.devices_per_rail
    needs: dict[str, tuple[float, float]] = {}
    beyond: list[str] = []
    for part in side.parts:
        found = part.hfe(each)
        if found is None:
            beyond.append(part.name)
            continue
        hfe, std = found
        needs[part.name] = (each / hfe, each / max(hfe - COVERAGE * std, 0.1 * hfe))
    if not needs:
        words = f"The curves of {', '.join(beyond)} do not reach {each:.3g} A; read hFE at a higher current."
        return not_known(code, side.about, ["hFE of the parts at the peak"], words)
    worst = sorted(needs, key=lambda name: needs[name], reverse=True)[:n]
    share = n / len(worst)
    value, cautious = (share * sum(needs[name][i] for name in worst) for i in (0, 1))
    words = f"{value * 1e3:.3g} mA at {each:.3g} A a device ({worst[0]} takes {needs[worst[0]][0] * 1e3:.3g} mA)"
    if beyond:
        words += f"; the curves of {', '.join(beyond)} do not reach so far"
    figures: dict[str, float | int | str | None] = {f"ib_{name}": needs[name][0] for name in needs}
    check = _against_driver(stage, side, value, cautious, words, CURVES, {"ic": each, **figures})
    if beyond and check.result == "ok":
        return check.model_copy(update={"result": "not_known"})
    return check


def _against_driver(
    stage: Stage,
    side: Side,
    value: float,
    cautious: float,
    words: str,
    source: str,
    figures: dict[str, float | int | str | None],
) -> StageCheck:
    available = stage.drive.base_current
    sentence = f"The bases of this rail need {words}"
    if available is None:
        return not_known(
            "BASE_DRIVE", side.about, ["drive.base_current"], f"{sentence}.", value=value, unit="A", figures=figures
        )
    result: CheckOutcome = "not_ok" if value > available else "marginal" if cautious > available else "ok"
    tail = {"ok": "", "marginal": ", less than the uncertainty of hFE apart", "not_ok": ": the peak would be cut off"}
    return StageCheck(
        code="BASE_DRIVE", about=side.about, result=result, value=value, limit=available, unit="A",
        margin=1.0 - value / available, source=source, figures=figures,
        sentence=f"{sentence}; the driver gives {available * 1e3:.3g} mA{tail[result]}.",
    )  # fmt: skip


def check_gain_group(stage: Stage, side: Side) -> StageCheck | None:
    """Fitted hFE of the parts against the gain group the amplifier asks for; None where it asks for none."""
    group, code = side.gain_group, "GAIN_GROUP"
    if group is None:
        return None
    rows = [r for r in limits(side.kind, None, group) if r.symbol == "hFE" and r.gain_group == group and r.is_limit]
    if not rows:
        known = ", ".join(side.kind.gain_groups) or "none"
        return not_known(code, side.about, [f"limits of gain group {group} of {side.name}"], f"Groups known: {known}.")
    low = next((r for r in rows if r.side == "min"), None)
    high = next((r for r in rows if r.side == "max" and (low is None or r.conditions == low.conditions)), None)
    row = low or high
    assert row is not None
    if not side.parts:
        return not_known(code, side.about, ["a screening result of the parts"])
    found = {part.name: part.hfe(row.conditions["IC"]) for part in side.parts}
    grades = {
        name: _in_group(value, low.value if low else 0.0, high.value if high else float("inf"))
        for name, value in found.items()
    }
    order: list[CheckOutcome] = ["not_ok", "marginal", "not_known", "ok"]
    result = next(grade for grade in order if grade in grades.values())
    named = ", ".join(name for name, grade in grades.items() if grade == result)
    band = f"{low.value:g} to {high.value:g}" if low and high else f"{row.side} {row.value:g}"
    words = {
        "ok": "all parts lie inside",
        "marginal": f"inside or outside by less than the uncertainty: {named}",
        "not_ok": f"outside: {named}",
        "not_known": f"the curves do not reach there: {named}",
    }[result]
    return StageCheck(
        code=code, about=side.about, result=result, limit=row.value, unit="1", source=row.source,
        value=min((v[0] for v in found.values() if v), default=None),
        sentence=f"Gain group {group} is hFE {band} at {row.conditions_text}; {words}.",
        figures={f"hfe_{name}": value[0] if value else None for name, value in found.items()},
    )  # fmt: skip


def _in_group(value: tuple[float, float] | None, low: float, high: float) -> CheckOutcome:
    if value is None:
        return "not_known"
    hfe, reach = value[0], COVERAGE * value[1]
    if hfe + reach < low or hfe - reach > high:
        return "not_ok"
    return "ok" if low <= hfe - reach and hfe + reach <= high else "marginal"


def _saturation(side: Side, ic: float) -> tuple[float, str] | None:
    """VCE(sat) at a collector current [V] and where it comes from: of the worst part, else the sheet's maximum."""
    fitted = [value for part in side.parts if (value := part.vce_sat(ic)) is not None]
    if fitted and len(fitted) == len(side.parts):
        return max(fitted), "fitted curves of the parts"
    row = sheet_saturation(side.kind, ic)
    return None if row is None else (row.value, row.source)


def base_voltage(parts: tuple[KnownPart, ...], ic: float) -> float | None:
    """The largest VBE of parts at a collector current [V]; None where a curve is missing."""
    values = [part.vbe(ic) for part in parts]
    known = [value for value in values if value is not None]
    return max(known) if known and len(known) == len(values) else None


def _base_emitter(side: Side, ic: float) -> tuple[float, str] | None:
    """VBE at a collector current: of the parts, else the sheet's maximum at the next higher current."""
    fitted = base_voltage(side.parts, ic)
    if fitted is not None:
        return fitted, "fitted curves of the parts"
    rows = [r for r in limits(side.kind) if r.symbol in ("VBE", "VBE(sat)") and r.side == "max" and r.is_limit]
    above = [row for row in rows if row.conditions["IC"] >= ic * 0.999]
    row = min(above, key=lambda r: (r.conditions["IC"], r.value), default=None)
    return None if row is None else (row.value, row.source)


def check_clipping(stage: Stage, side: Side) -> StageCheck:
    """Where this side clips on loaded rails, as sine power into the nominal load, against the rated power."""
    code, about = "CLIPPING_POWER", side.about
    rails, load, ohms = stage.rails.loaded, stage.load.resistance, stage.emitter_ohms
    needed = {"rails.loaded": rails, "load.resistance": load, "emitter_resistors.marked": ohms}
    missing = [name for name, value in needed.items() if value is None]
    if missing or rails is None or load is None or ohms is None:
        return not_known(code, about, missing)
    rail = rails.positive if side.kind.polarity == "NPN" else rails.negative
    n = stage.stage.devices_per_rail
    peak, drop, source, followed = rail, 0.0, "", True
    for _ in range(50):  # the drops depend on the current: each step moves it by a small part of the last
        each = peak / load / n
        saturated = _saturation(side, each)
        if saturated is None:
            return not_known(code, about, [f"VCE(sat) of {side.name} at {each:.3g} A or more"])
        drop, source = saturated
        base = _base_emitter(side, each)
        followed = stage.drive.voltage_loss is not None and base is not None
        if stage.drive.voltage_loss is not None and base is not None and stage.drive.voltage_loss + base[0] > drop:
            drop, source = stage.drive.voltage_loss + base[0], f"{base[1]}; stage file"
        before, peak = peak, max(0.0, rail - drop - each * ohms)
        if abs(peak - before) < 1e-9 * rail:
            break
    power = peak**2 / (2.0 * load)
    words = f"Clips at {peak:.3g} V and {peak / load:.3g} A peak, {power:.3g} W into {load:g} ohm"
    words += f" ({drop:.3g} V left across the device)"
    if not followed:
        words += "; what the driver loses is not known, so that it may clip earlier"
    figures: dict[str, float | int | str | None] = {"peak_voltage": peak, "drop": drop, "rail": rail}
    rated = stage.load.rated_power
    if rated is None:
        return not_known(code, about, ["load.rated_power"], f"{words}.", value=power, unit="W", figures=figures)
    amperes, volts = sine_peaks(rated, load)
    result: CheckOutcome = "not_ok" if power < rated else "ok" if followed else "not_known"
    return StageCheck(
        code=code, about=about, result=result, value=power, limit=rated, unit="W", margin=power / rated - 1.0,
        sentence=f"{words}; {rated:g} W needs {amperes:.3g} A and {volts:.3g} V.", source=source, figures=figures,
    )  # fmt: skip
