"""Which readings a sheet asks for: what the kit can read, the quick and harmless first, the stressing last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from partscreen.quantities import QUANTITIES
from partscreen.readings.instruments.kit import Kit
from partscreen.reference import ReferenceType
from partscreen.reference.limits import limits
from partscreen.reference.wording import figure_text
from partscreen.screening.advice.candidates import (
    BY_HAND,
    Candidate,
    TypeFacts,
    candidates,
    facts_of,
    last_resorts,
    top_current,
)
from partscreen.screening.advice.recipes import Expected, recipe_of

MOST_CURRENTS = 5  # of one sheet; more columns than that nobody fills in by pen (assumption)
_UNITS = {"c_be": "nF", "c_cb": "pF", "vbe": "mV", "vce_sat": "mV", "iceo": "uA", "v_br_ceo": "V"}


@dataclass(frozen=True, slots=True)
class FormColumn:
    """One column to fill in. `header`: as the reader of wide tables takes it; the rest is printed."""

    header: str
    symbol: str
    unit: str
    conditions: str
    stressing: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """Columns in the order of reading, how to take each kind of reading (title and steps, caution first), minutes a
    part, and whether any of these minutes is assumed."""

    columns: tuple[FormColumn, ...]
    recipes: tuple[tuple[str, tuple[str, ...]], ...]
    minutes: float
    minutes_assumed: bool
    notes: tuple[str, ...] = ()


def form_of(kind: ReferenceType | None, kit: Kit | None) -> Form:
    """The readings to ask for with a kit (None: a capacitance meter, a bench supply to 1 A and two multimeters)."""
    facts = facts_of(kind)
    by_key = {c.key: c for c in (*candidates(kit, facts), *last_resorts(kit, facts))}
    gain = by_key.get("two_currents")
    if gain is not None:
        gain = _with_currents(gain, kind, kit, facts)
        if gain is not None:
            by_key["two_currents"] = gain
        else:
            del by_key["two_currents"]
    columns: list[FormColumn] = []
    recipes, minutes, assumed = [], 0.0, False
    for key in ("c_be", "c_cb", "two_currents", "vce_sat", "iceo", "v_br_ceo"):
        candidate = by_key.get(key)
        if candidate is None:
            continue
        columns += _columns(candidate, kit)
        steps = recipe_of(candidate, facts, Expected(otherwise=facts.gain) if facts.gain else None)
        recipes.append((_title(candidate), _for_a_sheet(steps)))
        minutes += candidate.minutes
        assumed = assumed or candidate.minutes_assumed
    columns += _tester_column(kit, columns)
    return Form(tuple(columns), tuple(recipes), minutes, assumed, _notes(kind, kit))


def _with_currents(
    candidate: Candidate, kind: ReferenceType | None, kit: Kit | None, facts: TypeFacts
) -> Candidate | None:
    """A candidate at the currents of the sheet; None where the kit's tester does not say at which current it reads."""
    top = top_current(kit, facts, candidate.value)
    tester = kit.reader_of("hfe") if kit is not None else None
    if tester is not None and kit is not None and kit.reader_of("ic") is None:
        fixed = tester.conditions.get("IC")
        if not isinstance(fixed, int | float):
            return None
        points: tuple[float, ...] = (float(fixed),)
    elif candidate.by_hand:
        points = candidate.ic
    else:
        printed = [row.conditions.get("IC", math.inf) for row in limits(kind) if row.quantity == "hfe"] if kind else []
        wanted = sorted({round(i, 6) for i in (*BY_HAND, top, *printed) if i <= top * (1 + 1e-9)})
        points = tuple(_thinned(wanted))
    each = candidate.minutes / max(len(candidate.ic), 1)
    return Candidate(
        candidate.key, candidate.reading, each * len(points), candidate.minutes_assumed, points, candidate.value,
        candidate.by_hand, candidate.reads, candidate.pulsed,
    )  # fmt: skip


def _thinned(currents: Sequence[float]) -> list[float]:
    """At most MOST_CURRENTS, both ends kept, the others as evenly spread as they come."""
    last = len(currents) - 1
    if last < MOST_CURRENTS:
        return list(currents)
    return [currents[round(i * last / (MOST_CURRENTS - 1))] for i in range(MOST_CURRENTS)]


def _columns(c: Candidate, kit: Kit | None) -> list[FormColumn]:
    if c.key in ("c_be", "c_cb"):
        bias, free = {"c_be": ("VEB", "collector"), "c_cb": ("VCB", "emitter")}[c.key]
        reader = kit.reader_of(c.key) if kit is not None else None
        frequency = reader.conditions.get("f") if reader is not None else None
        told = f", f={figure_text(frequency, 'Hz')}" if isinstance(frequency, int | float) else ""
        return [_column(c.key, f"{bias}={c.value:g} V{told}, {free}=open")]
    if c.key == "vce_sat":
        ic = c.ic[0]
        return [_column("vce_sat", f"IC={figure_text(ic, 'A')}, IB={figure_text(float(f'{ic / c.value:.4g}'), 'A')}")]
    if c.key == "iceo":
        return [_column("iceo", f"VCE={float(f'{c.value:.3g}'):g} V, base=open", stressing=True)]
    if c.key == "v_br_ceo":
        return [_column("v_br_ceo", f"IC={figure_text(c.ic[0], 'A')}, base=open", stressing=True)]
    return [_column(q, f"IC={figure_text(ic, 'A')}, VCE={c.value:g} V") for ic in c.ic for q in c.reads]


def _column(key: str, conditions: str, *, stressing: bool = False) -> FormColumn:
    symbol, unit = QUANTITIES[key].symbol, _UNITS.get(key, "")
    header = f"{symbol} [{unit}]" if unit else symbol
    return FormColumn(f"{header} @ {conditions}" if conditions else header, symbol, unit, conditions, stressing)


def _tester_column(kit: Kit | None, there: Sequence[FormColumn]) -> list[FormColumn]:
    """hFE of a tester that does not tell its current: kept as read, judged only once its conditions are known."""
    if kit is None or kit.reader_of("hfe") is None or any(c.symbol == "hFE" for c in there):
        return []
    return [_column("hfe", "")]


def _title(c: Candidate) -> str:
    titles = {
        "c_be": "Base-emitter capacitance, C_BE", "c_cb": "Collector-base capacitance, C_CB",
        "two_currents": "Gain and base-emitter voltage, hFE and VBE", "vce_sat": "Saturation voltage, VCE(sat)",
        "iceo": "Leakage, ICEO", "v_br_ceo": "Breakdown, V(BR)CEO",
    }  # fmt: skip
    return titles[c.key] if c.reads != ("hfe",) else "Gain, hFE"


def _for_a_sheet(recipe: str) -> tuple[str, ...]:
    """The steps as a sheet with fixed headings needs them: it says itself what to write where; the current is met."""
    steps = []
    for step in recipe.splitlines():
        step = step.replace(
            "The current need not be met: read what flows.", "Trim RB until IC stands within 5 % of the heading."
        )
        if step.startswith("Write value with unit, bias"):
            step = "Where bias or test frequency are not those of the heading, write them beside the figure."
        if not step.startswith("Write "):
            steps.append(step)
    return tuple(steps)


def _notes(kind: ReferenceType | None, kit: Kit | None) -> tuple[str, ...]:
    notes = []
    if kit is None:
        notes.append(
            "No kit was given: the sheet asks for what a capacitance meter, a bench supply to 1 A and two multimeters "
            "can give. Describe your own instruments with --kit."
        )
    if kind is None:
        notes.append("The type is not in the library: find its polarity first, and stay inside its data sheet.")
    return tuple(notes)
