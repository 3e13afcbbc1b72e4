"""A first answer about one part from readings typed on one line, by the same engine that screens lots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import QUANTITIES
from partscreen.readings.columns.conditions import ParsedReading, parse_reading
from partscreen.readings.instruments.corrections import correct
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.instruments.uncertainty import apply_kit, session_uncertainty
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.rows.builder import Builder, SpotRow
from partscreen.readings.tables import Batch
from partscreen.reference.library import Library
from partscreen.reference.population import population_for as library_population
from partscreen.reference.wording import figure_text
from partscreen.results import InputFile, LotResult, PartResult
from partscreen.screening.advice.held_parts import advise_unweighed
from partscreen.screening.contradictions import hold_contradictions, set_aside
from partscreen.screening.lot.setup import PopulationFor, TypeSetup, set_up
from partscreen.screening.odds import first_sentence
from partscreen.screening.screen import screen_batch

LOT, PART, SESSION = "check", "1", "check"
EXAMPLE = '"C_CB=118 pF @ VCB=10 V, f=1 MHz"'

# Which parameter of the population a reading of a kind looks at first.
_RESTS_ON = {"c_be": "cje", "c_cb": "cjc", "hfe": "bf", "vbe": "is", "vce_sat": "rc"}
_THIN = frozenset({"rating regression", "assumption"})


@dataclass(frozen=True, slots=True)
class Checked:
    """One lot of one part, the batch it came from, and the answer in words, a line an item."""

    batch: Batch
    lots: list[LotResult]
    words: tuple[str, ...]


def check_readings(
    type_name: str,
    texts: Sequence[str],
    library: Library,
    kit: Kit | None = None,
    *,
    temperature: float | None = None,
    risk: float = 0.02,
    reach: float = 0.6,
    prior_share: float = 0.1,
    population_for: PopulationFor = library_population,
) -> Checked:
    """Judge one part by its typed readings.

    Parameters
    ----------
    type_name : as marked; a type the library does not know gives an answer that says so
    texts : readings, for example "C_CB=118 pF @ VCB=10 V"
    temperature : case temperature where no reading tells it [K]
    risk, reach, prior_share : as in `screen_batch`

    Raises
    ------
    UnusableInput
        A text cannot be read; every problem of every text at once, with its place.
    """
    batch = batch_of(type_name, texts)
    batch = apply_kit(batch, kit, temperature=temperature)
    batch, corrections = correct(batch, kit)
    setup = set_up(batch.lots[0], library, population_for)
    batch = check_quality(batch, kit, lambda lot: setup.kind.polarity if setup.kind else None)
    batch, reasons = set_aside(batch)
    lots = screen_batch(
        batch,
        library,
        risk=risk,
        reach=reach,
        prior_share=prior_share,
        kit=kit,
        temperature=temperature,
        session_uncertainty=session_uncertainty(batch, kit, temperature=temperature),
        population_for=population_for,
    )
    lots = _advised(hold_contradictions(batch, lots, reasons), setup, kit)
    rests = _rests_on(setup, batch, population_for)
    words = answer(lots[0], reach, rests, (*batch.notices, *(note.sentence for note in corrections)))
    return Checked(batch, lots, words)


def _advised(lots: list[LotResult], setup: TypeSetup, kit: Kit | None) -> list[LotResult]:
    """A part without any usable reading is told where to begin."""
    (lot,) = lots
    (part,) = lot.parts
    if part.next_measurement is not None or part.status != "unusable":
        return lots
    (step,) = advise_unweighed(setup, kit, [part])
    return [lot.model_copy(update={"parts": [part.model_copy(update={"next_measurement": step})]})]


def batch_of(type_name: str, texts: Sequence[str]) -> Batch:
    """One part with its typed readings.

    Raises
    ------
    UnusableInput
        No reading, or texts that cannot be read: which reading, at which character, how to write it.
    """
    problems: list[Problem] = []
    parsed: list[ParsedReading] = []
    if not texts:
        problems.append(Problem("NO_READING", "no reading was given", f"write at least one, for example {EXAMPLE}"))
    for number, text in enumerate(texts, start=1):
        try:
            parsed.append(parse_reading(text))
        except UnusableInput as error:
            problems += [_placed(problem, number, text) for problem in error.problems]
    if problems:
        raise UnusableInput(problems)
    builder = Builder(type_name=type_name)
    part = int(builder.part_codes([LOT], [PART])[0])
    session = int(builder.session_codes([SESSION])[0])
    for row, one in enumerate(parsed, start=1):
        builder.spots.append(SpotRow(part, session, one.quantity, one.value, dict(one.conditions), 0, row, False))
        builder.notices += [f"reading {row}: {notice}" for notice in one.notices]
    builder.inputs.append(InputFile(file="command line", rows=len(parsed)))
    return builder.finish()


def _placed(problem: Problem, number: int, text: str) -> Problem:
    """A problem of a typed reading with its text, its place and the form that is read."""
    fix = problem.fix if "C_CB=118 pF" in problem.fix else f"{problem.fix}; the form is {EXAMPLE}"
    where = f"reading {number}, character {_place(problem, text) + 1}"
    return Problem(problem.code, f'"{text}": {problem.what}', fix, file=where)


def _place(problem: Problem, text: str) -> int:
    """Where in the text a problem lies: the condition it names, else the value, else the start."""
    if problem.code == "UNKNOWN_QUANTITY":
        return 0
    conditions = text.find("@")
    if conditions >= 0:
        named = problem.what.split(":")[0].split("=")[0].strip("'\" ")
        at = text.lower().find(named.lower(), conditions) if named else -1
        if at >= 0:
            return at
    value = text.find("=") + 1
    return value + len(text[value:]) - len(text[value:].lstrip())


def _rests_on(setup: TypeSetup, batch: Batch, population_for: PopulationFor) -> str | None:
    """Said where a reading is held against a population that nothing but the ratings tells of."""
    if setup.kind is None:
        return None
    population = population_for(setup.kind, gain_group=setup.gain_group)
    sources = getattr(population, "sources", None)
    if not sources:
        return None
    read = dict.fromkeys(str(q) for q in batch.spots.quantity[batch.spots.use])
    thin = [QUANTITIES[q].symbol for q in read if q in _RESTS_ON and sources.get(_RESTS_ON[q]) in _THIN]
    if not thin:
        return None
    return (
        f"For {' and '.join(thin)} no figure of {setup.name} is on record: it is held against what parts of like "
        f"ratings show, "
        "broadly."
    )


def answer(lot: LotResult, reach: float, rests: str | None, notices: Sequence[str] = ()) -> tuple[str, ...]:
    """The answer about a lot of one part in plain lines."""
    (part,) = lot.parts
    lines = []
    first = first_sentence(part)
    if first is not None:
        lines.append(first)
    short = f"Held: an accept asks for readings that would have shown a die of {reach:.2f} of the type's."
    lines += [short if first is not None and r.code == "REACH_SHORT" else r.sentence for r in part.reasons]
    lines += [r.sentence for r in lot.reasons if r.code not in _OF_LOTS]
    told = any("die area" in r.sentence for r in part.reasons)
    if not told and part.area_ratio is not None and part.area_ratio.value is not None:
        a = part.area_ratio
        lines.append(f"Die area: {a.value:.2g} of the type's (95 % between {a.low:.2g} and {a.high:.2g}).")
    if rests:
        lines.append(rests)
    lines += _limit_lines(part)
    lines += dict.fromkeys(note.sentence for note in part.quality)
    lines += [f"Note: {notice}" for notice in notices]
    lines += next_lines(part)
    return tuple(dict.fromkeys(lines))


_OF_LOTS = frozenset({"NO_ABSOLUTE_REFERENCE", "MAIN_POPULATION_UNFIT"})  # said of the part itself already


def _limit_lines(part: PartResult) -> list[str]:
    """One line about the printed limits that the readings reach."""
    met = [x for x in part.limits if x.reached != "not_reached" and x.decision == "conforming"]
    if not met:
        return []
    words = ", ".join(
        dict.fromkeys(f"{x.symbol} {x.side} {figure_text(x.limit, x.unit)} at {x.conditions}" for x in met[:6])
    )
    return [f"Limits met: {words}."]


def next_lines(part: PartResult) -> list[str]:
    """The next measurement as lines: what, why, then the recipe's steps."""
    step = part.next_measurement
    if step is None:
        return []
    minutes = "" if step.minutes is None else f" ({step.minutes:.2g} min)"
    recipe = [f"  {line}" for line in (step.recipe or "").splitlines()]
    return [f"Next: {step.reading}{minutes}", f"  Why: {step.why}.", *recipe]
