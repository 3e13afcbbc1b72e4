"""How to take the next reading: wiring for the polarity, values, seconds, what to write down; caution first.

The cautions are the usual ones of the bench (common practice, no source) and stand above the steps. They do not
replace local electrical codes or licensed practice, and say so where a step can hurt.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from partscreen.screening.advice.candidates import DWELL_SECONDS, Candidate, TypeFacts, amperes_text

CODES = "Local electrical codes and licensed practice come first."
HANDS = "The part is out of any circuit, and supply capacitors are discharged."
SELLER = (
    "Write to the seller before a test that may destroy the part, and leave the others of the lot untouched: a damaged "
    "part is hard to return."
)
_E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
_WATTS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 25.0, 50.0)
STEADY_SECONDS = (
    3  # a reading by hand; the junction has then warmed little beyond the case's first seconds (assumption)
)
COOLING_SECONDS = 30
SUPPLY_MARGIN = 1.5  # current limit of the supply over the reading's current
ORDINARY_GAIN = 80.0  # of a power part of which nothing is known (assumption)
SATURATED = 0.3  # [V] taken for VCE(sat) when a resistor is worked out
_MARK = "@"


@dataclass(frozen=True, slots=True)
class Expected:
    """What the part should read, to work out resistors: gain and VBE [V] at the candidate's currents."""

    hfe: tuple[float, ...] = ()
    vbe: tuple[float, ...] = ()
    otherwise: float = ORDINARY_GAIN

    def at(self, index: int) -> tuple[float, float]:
        """Gain and VBE at one current; where nothing is known `otherwise`, and 0.65 V."""
        hfe = self.hfe[index] if index < len(self.hfe) and math.isfinite(self.hfe[index]) else self.otherwise
        vbe = self.vbe[index] if index < len(self.vbe) and math.isfinite(self.vbe[index]) else 0.65
        return hfe, vbe


def recipe_of(candidate: Candidate, facts: TypeFacts, expected: Expected | None = None) -> str:
    """The recipe of one reading, a step a line."""
    told = expected or Expected(otherwise=facts.gain or ORDINARY_GAIN)
    makers = {
        "c_cb": lambda: _capacitance(candidate, facts, "C_CB", "VCB", "collector", "emitter"),
        "c_be": lambda: _capacitance(candidate, facts, "C_BE", "VEB", "emitter", "collector"),
        "two_currents": lambda: _gain(candidate, facts, told),
        "sweep": lambda: _gain(candidate, facts, told),
        "vce_sat": lambda: _saturation(candidate, facts, told),
        "iceo": lambda: _leakage(candidate, facts),
        "v_br_ceo": lambda: _breakdown(candidate, facts),
        "dwell": lambda: _dwell(candidate, facts),
    }
    return "\n".join(makers[candidate.key]())


def nearest_resistor(ohms: float) -> float:
    """The nearest value of the E12 row (IEC 60063)."""
    decade = 10.0 ** math.floor(math.log10(ohms))
    choices = [m * d for d in (decade, 10.0 * decade) for m in _E12]
    return float(f"{min(choices, key=lambda r: abs(math.log(r / ohms))):.3g}")


def resistor_rating(watts: float) -> float:
    """The smallest usual rating at least twice what is turned into heat. [W]"""
    return next((w for w in _WATTS if w >= 2.0 * watts), _WATTS[-1])


def _side(facts: TypeFacts) -> str:
    return facts.polarity or "NPN"


def _signs(facts: TypeFacts) -> str:
    if facts.polarity is None:
        return (
            "Wiring is given for NPN; find the polarity with a diode test first (NPN conducts with plus on the base) "
            "and "
            "exchange plus and minus for PNP."
        )
    return f"Wiring is for {facts.polarity}."


def _plus_minus(facts: TypeFacts) -> tuple[str, str]:
    return ("plus", "minus") if _side(facts) == "NPN" else ("minus", "plus")


def _capacitance(c: Candidate, facts: TypeFacts, symbol: str, bias_name: str, far: str, free: str) -> list[str]:
    plus, minus = _plus_minus(facts)
    steps = []
    if c.value > 0.0:
        steps.append(
            f"Caution: set the bias to 0 V and wait until its capacitors are discharged before touching the part. "
            f"{HANDS}"
        )
    else:
        steps.append(f"Caution: {HANDS} A charged capacitor destroys the meter and can hurt.")
    steps.append(
        f"{_signs(facts)} Lay the part on an insulator, legs apart, {free} not connected; do not hold it. Zero the "
        f"meter "
        "with its leads in place and nothing between them."
    )
    steps.append(f"Meter between base and {far}.")
    if c.value > 0.0:
        steps.append(f"Reverse bias {c.value:g} V: {plus} on the {far}, {minus} on the base; wait 5 s, then read.")
    else:
        steps.append(
            "No bias: wait 5 s, then read. If the meter puts a bias of its own on the part, write that instead of 0 V."
        )
        if symbol == "C_CB" and facts.vcb:
            steps.append(f"A meter with a bias of {facts.vcb:g} V, as in the data sheet, tells more.")
    written = f'"{symbol}=118 pF {_MARK} {bias_name}={c.value:g} V, f=1 MHz"'
    steps.append(f"Write value with unit, bias and test frequency, in this form: {written}.")
    return steps


def _gain(c: Candidate, facts: TypeFacts, told: Expected) -> list[str]:
    if c.by_hand:
        return _gain_by_hand(c, facts, told)
    hot = f"Caution: high currents make the part hot; fit a heat sink or keep to short pulses. {HANDS}"
    pulse = "short pulses (a millisecond or less), so that the part stays cool" if c.pulsed else (
        f"readings of at most {STEADY_SECONDS} s with {COOLING_SECONDS} s of rest between, so that the part stays cool"
    )  # fmt: skip
    count = f"{len(c.ic)} currents" if len(c.ic) > 3 else "currents"
    return [
        hot,
        f"{_signs(facts)} Base, collector and emitter to the tester; VCE = {c.value:g} V; {count} "
        f"{amperes_text(c.ic)}; {pulse}.",
        "Write for each current: IC, hFE and VBE, VCE, and the temperature of the case or the room. In this form: "
        f'"hFE=95 {_MARK} IC={c.ic[-1]:g} A, VCE={c.value:g} V" "VBE=0.68 V {_MARK} IC={c.ic[-1]:g} A, '
        f'VCE={c.value:g} V".',
    ]


def _gain_by_hand(c: Candidate, facts: TypeFacts, told: Expected) -> list[str]:
    plus, minus = _plus_minus(facts)
    watts = c.value * c.ic[-1]
    steps = [
        f"Caution: at {amperes_text(c.ic[-1:])} the part turns {watts:.2g} W into heat; screw it to a heat sink and "
        f"do not touch "
        f"it. {HANDS}",
        f"{_signs(facts)} Supply set to {c.value:g} V with its current limit as below. Its {plus} through meter 1 "
        f"(ammeter, "
        f"highest range) to the collector; its {minus} to the emitter; from the supply's {plus} a base resistor RB "
        f"to the "
        "base. Measure RB alone first.",
    ]
    for i, amperes in enumerate(c.ic):
        hfe, vbe = told.at(i)
        base = amperes / hfe
        ohms = nearest_resistor(max(c.value - vbe, 0.5) / base)
        heat = (c.value - vbe) ** 2 / ohms
        steps.append(
            f"About {amperes_text((amperes,))}: RB = {_ohms(ohms)} ({resistor_rating(heat):g} W), current limit "
            f"{amperes_text((SUPPLY_MARGIN * amperes,))}. The current need not be met: read what flows."
        )
    steps.append(
        f"At each: switch on, at once read meter 1 (IC) and, with meter 2 on volts, the voltage across RB (IB is "
        f"that voltage over "
        f"RB) and base to emitter at the legs (VBE); off within {STEADY_SECONDS} s; rest {COOLING_SECONDS} s. Where "
        f"three readings take "
        "longer, switch on once for each."
    )
    steps.append(
        "Write for each current: IC, IB (hFE = IC / IB), VBE, the supply voltage (VCE) and the temperature of the "
        "room. In this "
        f'form: "hFE=95 {_MARK} IC=0.48 A, VCE={c.value:g} V" "VBE=0.66 V {_MARK} IC=0.48 A, VCE={c.value:g} V".'
    )
    return steps


def _saturation(c: Candidate, facts: TypeFacts, told: Expected) -> list[str]:
    plus, minus = _plus_minus(facts)
    amperes, base = c.ic[0], c.ic[0] / c.value
    written = f'"VCE(sat)=0.11 V {_MARK} IC={amperes:g} A, IB={base:.3g} A"'
    sense = "Read VCE with separate leads on the legs, close to the body: leads and clips count as VCE(sat)."
    if not c.by_hand:
        seconds = "short pulses" if c.pulsed else f"at most {STEADY_SECONDS} s"
        return [
            f"Caution: {amperes_text((amperes,))} warms leads and part; {HANDS}",
            f"{_signs(facts)} IC = {amperes:g} A, IB = {base:.3g} A, {seconds}. {sense}",
            f"Write VCE(sat), IC, IB and the temperature of the room, in this form: {written}.",
        ]
    volts = 5.0
    load, drive = (volts - SATURATED) / amperes, (volts - told.at(0)[1] - 0.2) / base
    rc, rb = nearest_resistor(load), nearest_resistor(drive)
    return [
        f"Caution: the load resistor turns {volts**2 / rc:.2g} W into heat and burns fingers and bench; stand it on "
        f"something that does not "
        f"burn. {HANDS}",
        f"{_signs(facts)} Supply {volts:g} V, current limit {amperes_text((SUPPLY_MARGIN * (amperes + base),))}. Its "
        f"{plus} through "
        f"RC = {_ohms(rc)} ({resistor_rating(volts**2 / rc):g} W) to the collector and through RB = {_ohms(rb)} "
        f"({resistor_rating((volts - 0.8) ** 2 / rb):g} W) to the base; its {minus} to the emitter. Measure RC and "
        f"RB alone first.",
        f"Switch on, read the voltages across RC and RB and from collector to emitter, off within {STEADY_SECONDS} "
        f"s. {sense}",
        f"Write VCE(sat), IC (voltage across RC over RC), IB (the same for RB) and the temperature of the room, in "
        f"this form: {written}.",
    ]


def _leakage(c: Candidate, facts: TypeFacts) -> list[str]:
    plus, minus = _plus_minus(facts)
    ohms = nearest_resistor(c.value / 5e-3)
    return [
        f"Caution: {c.value:.3g} V can hurt and its capacitors stay charged. Cover part and wires, switch off and "
        f"discharge before "
        f"touching. {CODES}",
        f"{_signs(facts)} Base open. The supply's {plus} through {_ohms(ohms)} (it keeps the current below 5 mA) and "
        f"the microammeter "
        f"to the collector, its {minus} to the emitter. Raise slowly to {c.value:.3g} V, wait 20 s for the reading "
        f"to settle.",
        f"Write the current and the room's temperature (leakage doubles about every 10 K), in this form: \"ICEO=2 uA "
        f"{_MARK} "
        f'VCE={c.value:.3g} V".',
    ]


def _breakdown(c: Candidate, facts: TypeFacts) -> list[str]:
    plus, minus = _plus_minus(facts)
    amperes = c.ic[0]
    return [
        f"Caution: a breakdown test goes above {c.value:.3g} V, can kill and can destroy the part. Only with a "
        f"source made for it, limited to "
        f"{amperes_text((amperes,))}; cover the part, one hand away, nobody alone; switch off, wait and discharge "
        f"before touching. {CODES} {SELLER}",
        f"{_signs(facts)} Base open, {plus} on the collector, {minus} on the emitter. Raise slowly until the current "
        f"reaches "
        f"{amperes_text((amperes,))} or the voltage stands a tenth above the rated {c.value:.3g} V, read, go back to "
        f"zero at once (1 s at most).",
        f'Write the voltage and the current, or that it held, in this form: "V(BR)CEO={c.value * 1.1:.3g} V {_MARK} '
        f'IC={amperes:.3g} A, base=open".',
    ]


def _dwell(c: Candidate, facts: TypeFacts) -> list[str]:
    plus, minus = _plus_minus(facts)
    amperes = c.ic[0]
    return [
        "Caution: the part gets hot and may burst or short; wear eye protection, keep a fuse in the collector lead "
        "and nothing that burns "
        f"near. It can destroy a part that was sound only in small: do it last. Never open or grind a part whose "
        f"package may hold beryllia. {CODES} {SELLER}",
        f"{_signs(facts)} Part screwed to the heat sink of {c.heat_sink:g} K/W with washer and grease. "
        f"{plus.capitalize()} on the "
        f"collector, {minus} on the "
        f"emitter, base driven so that IC is {amperes:.2g} A at VCE = {c.value:.3g} V (half of what safe area and "
        f"heat sink allow).",
        f"Supply limited to {SUPPLY_MARGIN * amperes:.2g} A; raise the base drive from nothing. Hold for "
        f"{DWELL_SECONDS:.0f} s; watch IC; off at once if it runs away.",
        f'Write whether it survived, in this form: "dwell={DWELL_SECONDS:.0f} s {_MARK} VCE={c.value:.3g} V, '
        f"IC={amperes:.2g} A, heat sink={c.heat_sink:g} K/W, "
        'survived=yes".',
    ]


def _ohms(value: float) -> str:
    if value >= 1e6:
        return f"{value / 1e6:g} Mohm"
    return f"{value / 1e3:g} kohm" if value >= 1e3 else f"{value:g} ohm"
