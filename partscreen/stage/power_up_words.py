"""The sentences of the power-up card: cautions, checks with the power off, steps with power, when to stop.

What has no source is common practice and the card says so once, at its end. Figures that belong to the amplifier and
are in no file are "not known", never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import ZERO_CELSIUS
from partscreen.results.power_up import PowerUpCheck, PowerUpPlace, PowerUpStep
from partscreen.stage.model import Fuse, Stage

ASK = "not known: ask the service manual"
WARM_UP = "15 to 20 min"
"""Common practice, no source."""
CAUTIONS = (
    "Mains voltage kills. An open amplifier is work for people trained and licensed for it. Local codes and the "
    "service manual come before this card.",
    "Reservoir capacitors stay charged after the plug is pulled. Each time before you touch: discharge them through a "
    "resistor, then measure.",
    "Speakers stay disconnected until the last line is filled in. Clip probes on with the power off; keep one hand "
    "away.",
    "Heat sinks, resistors and devices burn. Collectors, and heat sinks without insulators, carry rail voltage.",
    "Power first goes through a current limiter (a lamp in series with the mains, or bench supplies with a current "
    "limit). A limiter protects parts, not people.",
    "The figures are calculated from sheets and readings. They do not make the stage safe.",
)
STOPS = (
    "the lamp stays bright, or the supply stays in its limit",
    "smoke, smell, a crack, a fuse opens, a resistor discolours",
    "the rails differ from each other, or one is missing",
    "dc at the output above its limit, or moving away",
    "a reading above the allowed one that does not fall when the bias is turned down",
    "a reading that climbs on without settling, or one place that runs away from the others",
    "a device too hot to touch beside cool ones (feel only with the power off and the capacitors empty)",
    "the heat sink rises above the figure of this card",
)

_TIME = re.compile(
    r"(?P<first>\d{1,4}(?:[.,]\d+)?)(?:\s*(?:to|-|–)\s*(?P<last>\d{1,4}(?:[.,]\d+)?))?\s*(?P<unit>s|min|h)$"
)


@dataclass(frozen=True, slots=True)
class Times:
    """`warm_up`, `soak`: as they are printed; a soak of None is not known."""

    warm_up: str = WARM_UP
    soak: str | None = None

    def checked(self) -> Times:
        """These times, if they can be.

        Raises
        ------
        UnusableInput
            One is no time; both at once.
        """
        problems = []
        for option, text in (("--warm-up", self.warm_up), ("--soak", self.soak)):
            found = _TIME.match(text.strip()) if text is not None else None
            first = float(found["first"].replace(",", ".")) if found else 0.0
            last = float((found["last"] or found["first"]).replace(",", ".")) if found else 0.0
            if text is not None and not 0.0 < first <= last:
                fix = 'write it as "20 min", "15 to 20 min", "90 s" or "2 h"'
                problems.append(Problem("POWER_UP_TIME", f"{text!r} is no time", fix, option))
        if problems:
            raise UnusableInput(problems)
        return self


@dataclass(frozen=True, slots=True)
class Figures:
    """Calculated for the stage; None: not known. `heat_sink_*` [K]; `cold`: mean drop on switching on [V]."""

    heat_sink_idle: float | None
    heat_sink_soak: float | None
    cold: float | None


def milli(volts: float | None) -> str:
    """Millivolts to one decimal, as a meter shows them; without a value "not known"."""
    return "not known" if volts is None else f"{volts * 1e3:.1f} mV"


def _celsius(kelvin: float) -> str:
    return f"{kelvin - ZERO_CELSIUS:.0f} °C"


def fuse_print(rating: float, time_class: str | None) -> str:
    """What stands on the cap of a fuse."""
    return f"{time_class} {rating:g} A" if time_class else f"{rating:g} A, time class not known"


def fuse_words(fuse: Fuse) -> str:
    """One fuse: the one specified, and the one found."""
    found = f"found {fuse_print(fuse.found, fuse.found_class)}"
    if fuse.specified is None:
        return f"{fuse.place}: {found}, specified {ASK}"
    return f"{fuse.place}: {fuse_print(fuse.specified, fuse.specified_class)}, {found}"


def _allowed_ohms(stage: Stage) -> str:
    resistors = stage.emitter_resistors
    marked, tolerance = resistors.marked, resistors.tolerance
    if marked is None:
        return f"value {ASK}"
    if tolerance is None:
        return f"{marked:g} Ω; tolerance {ASK}"
    return f"{marked * (1 - tolerance):.3g} to {marked * (1 + tolerance):.3g} Ω"


def facts(stage: Stage) -> list[tuple[str, str]]:
    """What the card was made for."""
    rails, load, cooling = stage.rails.unloaded, stage.load, stage.cooling
    ohms = stage.emitter_resistors.marked
    return [
        ("rails, no signal", ASK if rails is None else f"+{rails.positive:g} V and −{rails.negative:g} V"),
        ("emitter resistors", ASK if ohms is None else f"{ohms:g} Ω"),
        ("idle, mean of a side", _target(stage)),
        ("load for the soak", ASK if load.resistance is None else f"{load.resistance:g} Ω"),
        ("ambient taken", "not stated" if cooling.ambient is None else _celsius(cooling.ambient)),
        ("fuses", "; ".join(fuse_words(fuse) for fuse in stage.fuses) or ASK),
    ]


def _target(stage: Stage) -> str:
    target, tolerance, idle = stage.bias.target, stage.bias.tolerance, stage.idle_current
    if target is None:
        return ASK
    words = milli(target)
    words += f" ± {tolerance * target * 1e3:.1f} mV" if tolerance is not None else f", tolerance {ASK}"
    return words if idle is None else f"{words} = {idle * 1e3:.3g} mA a device"


def off_checks(stage: Stage) -> list[PowerUpCheck]:
    """Checks with the plug pulled, devices fitted."""
    n = stage.stage.devices_per_rail
    beside = " Bases of one rail hang together: each is seen through its neighbours." if n > 1 else ""
    rows = [
        ("Reservoir capacitors, dc volts across each", "0 V, and it stays so", "any voltage: discharge again"),
        (
            "Fuses, print and holder",
            "; ".join(fuse_words(fuse) for fuse in stage.fuses) or f"as specified: {ASK}",
            "another rating or time class than specified",
        ),
        (
            "Each emitter resistor (take off what the leads read)",
            _allowed_ohms(stage),
            "outside, cracked or discoloured: replace it and its output pair",
        ),
        (
            "Base-emitter and base-collector of each device, diode range, both ways. NPN: + lead on the base conducts; "
            "PNP: − lead on the base",
            f"0.4 to 0.7 V one way; the other way no junction, what lies beside it may show.{beside}",
            "near 0 V one way or both; no reading both ways",
        ),
        (
            "Collector to emitter of each device, and output to each rail, both ways",
            "no low resistance; one way a diode may show",
            "a few ohms or less, either way",
        ),
        (
            "+ rail to − rail, each rail to ground, output to ground",
            "climbs while capacitors charge",
            "stays at a few ohms or less: a short",
        ),
        (
            "Collector (tab) of each device to the heat sink, highest range, both ways",
            "no reading, where the maker insulates them",
            "any reading: insulator, burr, screw bush",
        ),
        (
            "Bias adjuster",
            f"at the end of least current; which end: {ASK}",
            "you do not know which end it is",
        ),
    ]  # fmt: skip
    return [PowerUpCheck(what=what, go_on=go_on, stop=stop) for what, go_on, stop in rows]


def steps(stage: Stage, found: Figures, times: Times) -> list[PowerUpStep]:
    """Steps with power, in order."""
    return [*_limited_steps(stage), *_setting_steps(stage, found, times), *_soak_steps(stage, found, times)]


def _limited_steps(stage: Stage) -> list[PowerUpStep]:
    rails, target, idle = stage.rails.unloaded, stage.bias.target, stage.idle_current
    n = stage.stage.devices_per_rail
    draw = f" The size of lamp or limit is {ASK}."
    if idle is not None:
        draw = f" At the target the output devices draw {n * idle * 1e3:.3g} mA a rail;"
        draw += f" what the rest draws, and so the size of lamp or limit, is {ASK}."
    high = "" if rails is None else f", not above {rails.positive:g} and {rails.negative:g} V"
    limit = "the target" if target is None else milli(target)
    return [
        PowerUpStep(
            title="On the limiter",
            words=f"No load, no signal, bias at minimum. The lamp flares and dims; a supply leaves its limit.{draw}",
            blanks=["limiter"],
        ),
        PowerUpStep(
            title="Rails",
            words=f"Both there, alike{high} (lower on a lamp).",
            blanks=["+ V", "− V"],
        ),
        PowerUpStep(title="DC at the output", words=_offset(stage), blanks=["mV"]),
        PowerUpStep(
            title="Each emitter resistor",
            words=f"Near 0 mV at minimum bias. Above {limit}, or one far from the others: off.",
        ),
    ]


def _offset(stage: Stage) -> str:
    allowed = stage.bias.offset
    return f"Limit {ASK}." if allowed is None else f"At most {milli(allowed)} either way (stage file)."


def _setting_steps(stage: Stage, found: Figures, times: Times) -> list[PowerUpStep]:
    rails, target = stage.rails.unloaded, stage.bias.target
    full = f"rails {ASK}" if rails is None else f"rails near +{rails.positive:g} and −{rails.negative:g} V"
    if target is None:
        cold = f"Bias up slowly, no signal. Target {ASK}."
        warm = f"No signal. Set the figure of the service manual (here {ASK}); read every place."
    else:
        first = "the cold column" if found.cold is not None else "well below the target (cold figures are not known)"
        mean = f", mean {milli(found.cold)}" if found.cold is not None else ""
        cold = f"Bias up slowly, no signal, to {first}{mean}; never above {milli(target)}."
        warm = f"No signal. Set the mean of a side to {milli(target)}; read every place against the table."
    if found.heat_sink_idle is not None:
        warm += f" Heat sink about {_celsius(found.heat_sink_idle)}."
    source = "" if times.warm_up != WARM_UP else " (common practice, no source)"
    return [
        PowerUpStep(
            title="Limiter out",
            words=f"Off, discharge, measure. On again without it: {full}; offset and resistors as before.",
            blanks=["+ V", "− V"],
        ),
        PowerUpStep(title="Bias, cold", words=cold),
        PowerUpStep(title=f"Warm-up, {times.warm_up}{source}", words=warm, blanks=["ambient °C", "heat sink °C"]),
    ]


def _soak_steps(stage: Stage, found: Figures, times: Times) -> list[PowerUpStep]:
    load, power = stage.load.resistance, stage.load.rated_power
    into = f"a resistor, value {ASK}" if load is None else f"a resistor of {load:g} Ω"
    words = f"Signal into {into}, up slowly, scope on the output: no oscillation."
    if load is not None and power is not None:
        words += f" Rated {power:g} W is {(power * load) ** 0.5:.3g} V rms, {(2 * power / load) ** 0.5:.3g} A peak."
    if found.heat_sink_soak is not None:
        words += f" Heat sink at most about {_celsius(found.heat_sink_soak)} (worst sine, for long)."
    return [
        PowerUpStep(
            title=f"Soak, {times.soak}" if times.soak else f"Soak; for how long is {ASK}",
            words=words,
            blanks=["minutes", "heat sink °C"],
        ),
        PowerUpStep(
            title="Hot, at once",
            words="Signal off: read every place again. It may stand above the warm reading and must fall back.",
        ),
        PowerUpStep(
            title="Back at rest",
            words="After the warm-up time: within the allowed range again? DC at the output? Only then speakers.",
            blanks=["mV"],
        ),
    ]


def _resistors_taken(places: Sequence[PowerUpPlace]) -> str:
    if any(place.ohms_from == "marked" for place in places):
        return "Resistors are taken as marked."
    return "Which measured resistor stands where is not stated: their mean is taken."


def expected_words(stage: Stage, places: Sequence[PowerUpPlace], times: Times) -> list[str]:
    """What the table of expected readings rests on, and what it lacks."""
    out = []
    n = stage.stage.devices_per_rail
    if any(place.part is None for place in places):
        what = "the parts are" if all(place.part is None for place in places) else "some parts are"
        out.append(
            f"Which parts stand in the places: {what} not known (name them in the stage file, or give a match)."
            + ("" if n == 1 else " Unmatched parts of one lot can read unlike.")
        )
    if stage.bias.target is None:
        out.append(f"Expected readings: target {ASK}.")
    elif stage.bias.tolerance is None:
        out.append(f"Allowed range: tolerance {ASK}.")
    if any(place.cold is not None for place in places):
        out.append(
            "Cold: on switching on, if the bias circuit does not follow the heat; the better it follows, the nearer to "
            "the warm figure."
        )
    if any(place.std is not None for place in places):
        out.append(
            "±: expanded uncertainty (k = 2) of the warm figure. Off by more: parts exchanged, a resistor off, poor "
            "contact or mounting. "
            + ("" if all(p.ohms_from == "measured" for p in places) else _resistors_taken(places))
        )
    if n == 1 and stage.bias.target is not None:
        out.append("One device a rail: it reads what is set; its partner carries the same current.")
    return [words.strip() for words in out]
