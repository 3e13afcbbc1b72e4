"""The questions that describe a bench, in plain words. Defaults are ordinary instruments and are marked as assumed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import Any, TypeVar

from partscreen.quantities import QUANTITIES
from partscreen.readings.instruments.kit_words import figure, not_believable, parse_accuracy
from partscreen.readings.typed.interview import Interview, one_of, optional, text_answer, yes_no

T = TypeVar("T")
ASSUMED = "assumption: an ordinary instrument; put the figure of your data sheet here"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of instrument. `reads`: what it may read, most usual first; `minutes`, accuracies: ordinary ones
    (assumption)."""

    words: str
    reads: tuple[str, ...]
    minutes: str
    usual: tuple[str, ...]
    leads: bool = False


KINDS = {
    "capacitance": Kind("capacitance meter, or a multimeter with a capacitance range", ("c_be", "c_cb"), "0.3",
                        ("c_be", "c_cb")),
    "tester": Kind("pocket tester that shows the gain by itself", ("hfe", "vbe"), "0.2", ("hfe", "vbe")),
    "supply": Kind("bench supply with multimeters, read by hand", ("ic", "ib", "vbe", "vce", "vce_sat"), "1.5",
                   ("ic", "ib", "vbe", "vce", "vce_sat"), True),
    "curves": Kind("set-up that steps currents and reads curves", ("ic", "ib", "vbe", "vce", "hfe", "vce_sat"), "0.5",
                   ("ic", "ib", "vbe", "vce", "vce_sat"), True),
    "leakage": Kind("supply for leakage and breakdown", ("iceo", "icbo", "iebo", "v_br_ceo", "v_br_cbo"), "2",
                    ("iceo", "icbo", "v_br_ceo")),
}  # fmt: skip
_ACCURACY = {
    "c_be": "2 % + 3 digits of 10 pF", "c_cb": "2 % + 3 digits of 1 pF", "hfe": "3 % + 1 digits of 1",
    "vbe": "0.5 % + 2 digits of 1 mV", "vce": "0.5 % + 2 digits of 10 mV", "vce_sat": "0.5 % + 2 digits of 1 mV",
    "ic": "1.5 % + 3 digits of 1 mA", "ib": "1 % + 3 digits of 10 uA", "iceo": "5 % + 10 nA", "icbo": "5 % + 10 nA",
    "iebo": "5 % + 10 nA", "v_br_ceo": "1 % + 0.5 V", "v_br_cbo": "1 % + 0.5 V",
}  # fmt: skip
_RANGE = {"c_be": "100 nF", "c_cb": "20 nF", "hfe": "1000", "vbe": "4 V", "vce": "40 V", "vce_sat": "4 V", "ic": "10 A",
          "ib": "400 mA", "iceo": "10 mA", "icbo": "1 mA", "iebo": "1 mA", "v_br_ceo": "300 V",
          "v_br_cbo": "300 V"}  # fmt: skip


@dataclass(slots=True)
class KitAnswers:
    """A kit as its file holds it, and the keys whose figures were assumed."""

    data: dict[str, Any]
    assumed: set[str] = field(default_factory=set)


def kit_questionnaire(ask: Interview, today: date) -> KitAnswers:
    """Ask about a bench and its instruments."""
    data: dict[str, Any] = {"name": ask.ask("name", "What do you call this bench?", text_answer, "my bench",
                                            "Reports and the bench book name the kit so.")}  # fmt: skip
    answers = KitAnswers(data)
    calibrated = ask.ask(
        "calibrated", "When was it last calibrated, or checked against something known? (year-month-day, - never)",
        optional(lambda text: _day(text, today)), "-", "Lots judged long after that day can be found again later.",
    )  # fmt: skip
    if calibrated is not None:
        data["calibrated_on"] = calibrated
        months = ask.ask(
            "interval", "After how many months again? (- no fixed time)", optional(_months), "12",
            "When the time is over every screening says so. 12 is an assumption.",
        )  # fmt: skip
        if months is not None:
            data["calibration_months"] = months
    data["temperature"] = ask.ask(
        "temperature", "How warm is the room as a rule, in degC?", _celsius, "23",
        "Taken for the parts where nothing else is read. VBE moves 2 mV a degree.",
    )  # fmt: skip
    data["temperature_logged"] = ask.ask(
        "logged", "Is a sensor on the case of the part read with every reading?", yes_no, "no"
    )
    data["instruments"] = []
    while True:
        number = len(data["instruments"]) + 1
        instrument = _instrument(ask, answers, number)
        if instrument is None:
            return answers
        data["instruments"].append(instrument)


def _instrument(ask: Interview, answers: KitAnswers, number: int) -> dict[str, Any] | None:
    words = {name: kind.words for name, kind in KINDS.items()}
    if number > 1:
        words["done"] = "no more instruments"
    for place, (name, told) in enumerate(words.items(), start=1):
        ask.say(f"  {place}. {name}: {told}")
    at = f"{number}."
    which = ask.ask(f"{at}kind", f"What is instrument {number}?", one_of(words), "done" if number > 1 else "1")
    if which == "done":
        return None
    kind = KINDS[which]
    out: dict[str, Any] = {"name": ask.ask(f"{at}name", "What do you call it?", text_answer, kind.words.split(",")[0])}
    named = ", ".join(f"{QUANTITIES[q].symbol} ({QUANTITIES[q].words})" for q in kind.reads)
    ask.say(f"  It may read: {named}.")
    usual = " ".join(QUANTITIES[q].symbol for q in kind.usual)
    out["reads"] = ask.ask(f"{at}reads", "Which of them does it read?", _reads(kind), usual)
    out["range"], out["accuracy"] = {}, {}
    for quantity in out["reads"]:
        _range_and_accuracy(ask, answers, out, quantity, at)
    _conditions(ask, out, which, at)
    if which == "capacitance":
        _fixture(ask, out, at)
    if kind.leads:
        _leads(ask, out, at)
        _limits(ask, out, at)
    out["minutes_per_reading"] = _assumed(
        ask, answers, f"{at}minutes_per_reading", f"{at}minutes", "How many minutes does one reading take?", _minutes,
        kind.minutes, "Decides which reading is proposed next: the one that tells most per minute.",
    )  # fmt: skip
    return out


def _assumed(
    ask: Interview, answers: KitAnswers, mark: str, key: str, question: str, check: Callable[[str], T], default: str,
    meant: str = "",
) -> T:  # fmt: skip
    """An answer; one taken from the brackets is marked as assumed."""
    value, typed = ask.ask(key, question, lambda text: (check(text), text), default, meant)
    if typed == default:
        answers.assumed.add(mark)
    else:
        answers.assumed.discard(mark)
    return value


def _range_and_accuracy(ask: Interview, answers: KitAnswers, out: dict[str, Any], quantity: str, at: str) -> None:
    q = QUANTITIES[quantity]
    top = _assumed(
        ask, answers, f"{at}range.{quantity}", f"{at}range.{quantity}",
        f"{q.symbol}: the largest reading it can show? (- not known)", optional(lambda text: _above_zero(text, q.unit)),
        _RANGE[quantity], "Readings at the top of the range say nothing of the part and are left out.",
    )  # fmt: skip
    if top is not None:
        out["range"][quantity] = top

    def accuracy(text: str) -> dict[str, float]:
        found = parse_accuracy(text, quantity)
        why = not_believable(quantity, found, top)
        if why:
            raise ValueError(why)
        return found

    out["accuracy"][quantity] = _assumed(
        ask, answers, f"{at}accuracy.{quantity}", f"{at}accuracy.{quantity}",
        f"{q.symbol}: the limit of error its data sheet states?", accuracy, _ACCURACY[quantity],
        "Percent of reading + digits of the last place + a fixed amount, each as far as stated. What is "
        "offered is an ordinary instrument, an assumption.",
    )  # fmt: skip


def _conditions(ask: Interview, out: dict[str, Any], which: str, at: str) -> None:
    conditions: dict[str, float | str] = {}

    def put(key: str, question: str, unit: str, default: str, meant: str = "", most: float | None = None) -> None:
        value = ask.ask(f"{at}{key}", question, optional(lambda text: _at_least_zero(text, unit, most)), default, meant)
        if value is not None:
            conditions[key] = value

    if which == "capacitance":
        if "c_be" in out["reads"]:
            put("VEB", "Reverse bias on base and emitter during C_BE? (0 V: none)", "V", "0 V", _BIAS, MOST_VEB)
        if "c_cb" in out["reads"]:
            put("VCB", "Reverse bias on collector and base during C_CB? (0 V: none)", "V", "0 V", _BIAS)
        put("f", "Test frequency? (- not known)", "Hz", "-")
    if which == "tester":
        put("IC", "At which collector current does it read? (- it does not say)", "A", "-", _SAYS_NOT)
        put("VCE", "At which collector voltage? (- it does not say)", "V", "-", _SAYS_NOT)
    if which in ("supply", "curves"):
        put("VCE", "Which collector voltage do you set for gain and VBE?", "V", "5 V")
        if "vce_sat" in out["reads"]:
            put("forced_gain", "VCE(sat): how many times the base current is the collector current?", "1", "10")
    if which == "leakage":
        if {"iceo"} & set(out["reads"]):
            put("VCE", "Voltage for ICEO?", "V", "30 V", _HURTS)
        if {"icbo"} & set(out["reads"]):
            put("VCB", "Voltage for ICBO?", "V", "60 V", _HURTS)
        if {"iebo"} & set(out["reads"]):
            put("VEB", "Voltage for IEBO?", "V", "3 V", "Well below breakdown: it spoils the gain for good.", MOST_VEB)
        if any(q.startswith("v_br") for q in out["reads"]):
            put("IC", "Current limit of the breakdown reading?", "A", "1 mA", _HURTS)
        if {"iceo", "v_br_ceo"} & set(out["reads"]):
            conditions["base"] = "open"
    if conditions:
        out["conditions"] = conditions


MOST_VEB = 4.5  # V; base and emitter of power transistors are rated from 5 V (common practice, no source)
_BIAS = "A reading without its bias can be judged only broadly; a sheet's figure is often at 10 V."
_SAYS_NOT = "Without it a gain is kept and shown, but held against no limit."
_HURTS = (
    "These voltages kill and the part can be destroyed: current limit, cover, never alone; local codes and licensed "
    "practice come first."
)


def _fixture(ask: Interview, out: dict[str, Any], at: str) -> None:
    value = ask.ask(
        f"{at}fixture", "What does the meter show with nothing between its leads? (0 pF: it is zeroed)",
        lambda text: _at_least_zero(text, "F"), "0 pF", "It is taken off every reading.",
    )  # fmt: skip
    if value > 0.0:
        std = ask.ask(
            f"{at}fixture_std", "How well is that known?", lambda text: _above_zero(text, "F"), "1 pF",
            "By how much it moves from one laying-in to the next.",
        )  # fmt: skip
        out["fixture_capacitance"] = {"value": value, "std": std}


def _leads(ask: Interview, out: dict[str, Any], at: str) -> None:
    wires = ask.ask(
        f"{at}wires", "Are voltages read by wires of their own at the part (4), or by the wires of the current (2)?",
        _wires, "2",
        "With 4 wires the resistance of leads and clips does not show.",
    )  # fmt: skip
    if wires == "4":
        return
    leads: dict[str, Any] = {}
    for leg in ("collector", "emitter", "base"):
        value = ask.ask(
            f"{at}lead.{leg}", f"Resistance of the {leg} lead with its clip?", lambda text: _at_least_zero(text, "ohm"),
            "30 mohm", "All three clips on one thick copper bar, then voltage over current. 30 mohm: an assumption.",
        )  # fmt: skip
        std = ask.ask(
            f"{at}lead_std.{leg}", "How well is that known?", lambda text: _above_zero(text, "ohm"), "10 mohm",
            "By how much it moves from one laying-in to the next.",
        )  # fmt: skip
        leads[leg] = {"value": value, "std": std}
    out["lead_resistance"] = leads


def _limits(ask: Interview, out: dict[str, Any], at: str) -> None:
    compliance = {}
    for key, question, unit in (
        ("ic", "Largest collector current of the supply? (- not known)", "A"),
        ("vce", "Largest collector voltage of the supply? (- not known)", "V"),
    ):
        value = ask.ask(f"{at}most.{key}", question, optional(partial(_above_zero, unit=unit)), "-",
                        "Points at the limit of the supply say nothing of the part and are left out.")  # fmt: skip
        if value is not None:
            compliance[key] = value
    if compliance:
        out["compliance"] = compliance
    pulse = ask.ask(
        f"{at}pulse", "Length of the current pulses? (- steady current)", optional(lambda text: _above_zero(text, "s")),
        "-", "Short pulses (300 us, say) do not warm the part.",
    )  # fmt: skip
    if pulse is not None:
        out["pulse_seconds"] = pulse


def _wires(text: str) -> str:
    if text in ("2", "4"):
        return text
    raise ValueError(f"{text!r}: answer 2 or 4")


def _reads(kind: Kind) -> Callable[[str], list[str]]:
    def check(text: str) -> list[str]:
        from partscreen.quantities import find_quantity

        found = []
        for word in text.replace(",", " ").replace(";", " ").split():
            quantity = find_quantity(word)
            if quantity is None or quantity.key not in kind.reads:
                known = " ".join(QUANTITIES[q].symbol for q in kind.reads)
                raise ValueError(f"{word!r} is not among {known}; write those it reads, with spaces between")
            if quantity.key not in found:
                found.append(quantity.key)
        if not found:
            raise ValueError("an instrument that reads nothing helps nobody; name one reading at least")
        return found

    return check


def _day(text: str, today: date) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no day; write year-month-day, say {today.isoformat()}") from None
    if day > today:
        raise ValueError(f"{text} is still to come; write the day it was done")
    return day


def _months(text: str) -> int:
    if text.isdecimal() and len(text) < 9 and 1 <= int(text) <= 600:
        return int(text)
    raise ValueError(f"{text!r}: write whole months, say 12")


def _celsius(text: str) -> float:
    word = text.replace(",", ".").lower().removesuffix("degc").removesuffix("c").strip().rstrip("°")
    try:
        value = float(word)
    except ValueError:
        raise ValueError(f"{text!r} is no temperature; write degrees Celsius, say 23") from None
    if not -40.0 <= value <= 60.0:
        raise ValueError(f"{value:g} degC is no room temperature; write degrees Celsius, say 23")
    return value


def _minutes(text: str) -> float:
    value = figure(text.lower().removesuffix("minutes").removesuffix("min").strip(), "1")
    if not 0.0 < value <= 240.0:
        raise ValueError(f"{text!r}: write minutes, say 0.3")
    return value


def _above_zero(text: str, unit: str) -> float:
    value = figure(text, unit)
    if not value > 0.0:
        raise ValueError(f"{text!r}: it must be above zero")
    return value


def _at_least_zero(text: str, unit: str, most: float | None = None) -> float:
    value = figure(text, unit)
    if most is not None and value > most:
        raise ValueError(
            f"{text!r}: base and emitter break down from about 5 V, and reverse current there spoils the gain for "
            f"good; stay below {most:g} V"
        )
    return value
