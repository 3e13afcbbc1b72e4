"""A person's instruments: described once by answers to plain questions, and told in words."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput, not_writable

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Instrument, Kit
    from partscreen.readings.typed.interview import Asker
    from partscreen.workflow.own.kit_questions import KitAnswers


def new_kit(asker: Asker, out: Path, *, today: date | None = None) -> bool:
    """Ask about a bench and write its kit file; False: the person stopped, the answers wait beside it.

    Raises
    ------
    UnusableInput
        The file is there already, or a place cannot be written to.
    """
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.readings.typed.interview import AnswersKept, conduct
    from partscreen.workflow.own.kit_questions import kit_questionnaire

    if out.exists():
        fix = "name another file with --out, or move it away; nothing was changed"
        raise UnusableInput([Problem("FILE_EXISTS", "is there already", fix, str(out))])
    kept = AnswersKept(out.with_name(out.name + ".answers"))
    answers = conduct(asker, kept, lambda ask: kit_questionnaire(ask, today or date.today()))
    if answers is None:
        return False
    write_new(out, kit_text(answers))
    load_kit(out)
    kept.done()
    return True


def write_new(out: Path, text: str) -> None:
    """Write a file that was not there.

    Raises
    ------
    UnusableInput
        It cannot be written.
    """
    try:
        with open(out, "x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
    except OSError as error:
        raise not_writable(
            error, out, "name a folder that exists and may be written to, with --out; the answers are kept"
        ) from error


def tell_kit(path: Path, *, today: date | None = None) -> tuple[str, ...]:
    """What a kit file means, in lines; a warning where calibration is overdue.

    Raises
    ------
    UnusableInput
        It is no kit.
    """
    from partscreen.readings.instruments.kit import load_kit

    kit = load_kit(path)
    return tuple(kit_lines(kit, today or date.today()))


def kit_notice(kit: Kit | None, today: date | None = None) -> tuple[str, ...]:
    """What a screening says of a kit whose calibration is overdue."""
    from partscreen.readings.instruments.kit_words import overdue

    if kit is None:
        return ()
    told = overdue(kit.name, kit.calibrated_on, kit.calibration_months, today or date.today())
    return (told,) if told else ()


def kit_lines(kit: Kit, today: date) -> list[str]:
    """A kit in words."""
    lines = [f"Kit: {kit.name}"]
    if kit.calibrated_on is None:
        lines.append("  Calibration: no date is stated.")
    else:
        every = f", every {kit.calibration_months} months" if kit.calibration_months else ", no interval is stated"
        lines.append(f"  Calibrated on {kit.calibrated_on.isoformat()}{every}.")
    lines += [f"  Warning: {told}" for told in kit_notice(kit, today)]
    sensor = "a sensor on the case is read with the points" if kit.temperature_logged else "no sensor on the case"
    lines.append(f"  Parts are taken to be at {kit.temperature:g} degC where no reading says otherwise; {sensor}.")
    for instrument in kit.instruments:
        lines += _instrument_lines(instrument)
    return lines


COARSE = 0.3  # share of a usual reading from which on a limit of error hides what parts differ by (assumption)


def _instrument_lines(one: Instrument) -> list[str]:
    import numpy as np

    from partscreen.quantities import QUANTITIES
    from partscreen.readings.instruments.uncertainty import limit_std
    from partscreen.reference.wording import figure_text

    lines = [f"  {one.name}"]
    for key in one.reads:
        q = QUANTITIES[key]
        words = [f"    reads {q.symbol}"]
        top = one.range.get(key)
        if top is not None:
            words.append(f"up to {figure_text(top, q.unit)}")
        accuracy = one.accuracy.get(key)
        if accuracy is None:
            words.append("accuracy not stated: an ordinary one is assumed")
        else:
            at = _EXAMPLE.get(key) or (top or 1.0) / 2.0
            at = min(at, top) if top is not None else at
            std = float(limit_std(accuracy, np.array([at]))[0])
            words.append(
                f"at {figure_text(at, q.unit)} within {figure_text(float(f'{std * 3**0.5:.2g}'), q.unit)}, a standard "
                f"uncertainty of {figure_text(float(f'{std:.2g}'), q.unit)}"
                f"{'' if std * 3**0.5 < COARSE * at else ' (too coarse to tell parts apart)'}"
            )
        lines.append(", ".join(words) + ".")
    if one.conditions:
        from partscreen.workflow.papers.read_as import conditions_words

        plain = {("IC_over_IB" if key == "forced_gain" else key): value for key, value in one.conditions.items()}
        lines.append(f"    Where a reading states none, it was taken at {conditions_words(plain)}.")
    leads = one.lead_resistance
    if leads.four_wire:
        if {"vbe", "vce_sat"} & set(one.reads):
            lines.append("    Voltages are read at the part: leads do not show.")
    else:
        legs = (("collector", leads.collector), ("emitter", leads.emitter), ("base", leads.base))
        told = ", ".join(
            f"{leg} {1e3 * known.value:g} +- {1e3 * known.std:g} mohm"
            for leg, known in legs
            if known.value or known.std
        )
        lines.append(f"    Leads show in voltages and are taken off: {told}.")
    if one.fixture_capacitance.value:
        known = one.fixture_capacitance
        lines.append(
            f"    {1e12 * known.value:g} +- {1e12 * known.std:g} pF of the leads are taken off every capacitance."
        )
    if one.compliance:
        units = {"ic": "A", "ib": "A"}
        told = ", ".join(
            f"{QUANTITIES[key].symbol} {figure_text(value, units.get(key, 'V'))}"
            for key, value in one.compliance.items()
        )
        lines.append(f"    Limit of its supplies: {told}; points there are left out.")
    if {"ic", "vbe"} & set(one.reads):
        pulse = (
            f"pulses of {figure_text(one.pulse_seconds, 's')}" if one.pulse_seconds else "steady current warms the part"
        )
        lines.append(f"    {pulse[0].upper()}{pulse[1:]}.")
    if one.minutes_per_reading:
        lines.append(f"    {one.minutes_per_reading:g} minutes a reading.")
    return lines


_EXAMPLE = {"c_be": 2e-9, "c_cb": 2e-10, "hfe": 80.0, "vbe": 0.65, "vce": 5.0, "vce_sat": 0.2, "ic": 1.0, "ib": 0.01}


def kit_text(answers: KitAnswers) -> str:
    """A kit file from answers, assumed figures marked."""
    from partscreen.workflow.own.kit_questions import ASSUMED

    data = answers.data
    lines = ["# Figures are in SI units (A, V, F, ohm, s); temperature in degC."]
    lines += [f"{key} = {toml_value(data[key])}" for key in data if key != "instruments"]
    for number, one in enumerate(data["instruments"], start=1):
        lines += ["", "[[instruments]]"]
        for key, value in one.items():
            if key == "accuracy":
                for quantity, accuracy in value.items():
                    mark = f"  # {ASSUMED}" if f"{number}.accuracy.{quantity}" in answers.assumed else ""
                    lines.append(f"accuracy.{quantity} = {toml_value(accuracy)}{mark}")
            elif key == "lead_resistance":
                lines += [f"lead_resistance.{leg} = {toml_value(known)}" for leg, known in value.items()]
            elif value != {}:
                assumed = any(one.startswith(f"{number}.{key}") for one in answers.assumed)
                mark = f"  # {ASSUMED}" if assumed else ""
                lines.append(f"{key} = {toml_value(value)}{mark}")
    return "\n".join(lines) + "\n"


def toml_value(value: Any) -> str:
    """A value as TOML writes it, tables inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return repr(float(f"{value:.12g}")) if isinstance(value, float) else str(value)
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(item) for item in value) + "]"
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")
