"""What a user asks of `plan`, as given, and as numbers once every slip was looked for."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.lots.readings_power import ReadingsPower
    from partscreen.results.plan import Question


class CannotBe(UnusableInput):
    """Options that contradict each other, or numbers that cannot be: a matter of usage."""


@dataclass(frozen=True, slots=True)
class PlanOptions:
    """The options of `plan`; None: not given. Shares are texts as typed: "10%" or "0.1".

    `history`: file of past lots; `history_of`: supplier whose lots in the bench book (`book`) are the past ones.
    """

    lot_size: int | None = None
    tolerable: str | None = None
    confidence: str | None = None
    allow: int | None = None
    sample: int | None = None
    found: int | None = None
    good: str | None = None
    bad: str | None = None
    producer_risk: str | None = None
    consumer_risk: str | None = None
    sequential: bool = False
    so_far: str | None = None
    aql: str | None = None
    level: str | None = None
    severity: str | None = None
    history: Path | None = None
    history_of: str | None = None
    book: str | None = None
    allow_reduced: bool = False
    price: float | None = None
    minutes: float | None = None
    minute_value: float | None = None
    held_minutes: float | None = None
    harm: float | None = None
    refund: str | None = None
    return_cost: float | None = None
    destroy_minutes: float | None = None
    destroy_power: str | None = None
    prior_share: str | None = None
    stop_at_first: bool = False
    power: str | None = None
    false_alarm: str | None = None
    held: str | None = None
    held_if_bad: str | None = None
    held_counts: str | None = None
    draw: bool = False
    seed: int | None = None

    def given(self) -> dict[str, Any]:
        """The options that were given."""
        values = {f.name: getattr(self, f.name) for f in fields(self)}
        return {name: value for name, value in values.items() if value is not None and value is not False}


_ANYWHERE = frozenset({"lot_size", "power", "false_alarm", "held", "held_if_bad", "held_counts", "draw", "seed"})
_AFTER = frozenset({"found", "confidence", "prior_share"})
_BELONGS: dict[Question, frozenset[str]] = {
    "size": _AFTER | {"tolerable", "allow", "stop_at_first"},
    "given": _AFTER | {"sample", "allow", "tolerable", "stop_at_first"},
    "two_point": _AFTER | {"good", "bad", "producer_risk", "consumer_risk"},
    "sequential": frozenset({"sequential", "good", "bad", "producer_risk", "consumer_risk", "so_far"}),
    "table": _AFTER | {"aql", "level", "severity", "history", "history_of", "book", "allow_reduced"},
    "cost": frozenset(
        {
            "harm", "price", "minutes", "minute_value", "refund", "return_cost", "destroy_minutes", "destroy_power",
            "prior_share", "stop_at_first", "held_minutes",
        }
    ),
}  # fmt: skip
_MARKS: dict[Question, tuple[str, ...]] = {
    "table": ("aql",),
    "cost": ("harm",),
    "sequential": ("sequential",),
    "two_point": ("good", "bad"),
    "given": ("sample",),
}
_NEEDS: dict[Question, tuple[str, ...]] = {
    "table": ("lot_size",),
    "cost": ("lot_size", "price", "minutes", "minute_value"),
    "sequential": ("good", "bad"),
    "two_point": ("good", "bad"),
}
_TOLD: dict[Question, str] = {
    "size": "how many parts to test (--tolerable, --confidence)",
    "given": "what a sample is worth (--sample)",
    "two_point": "a plan between two shares (--good, --bad)",
    "sequential": "part by part (--sequential)",
    "table": "the tables of the standards (--aql)",
    "cost": "least expected cost (--harm, --price, --minutes, --minute-value)",
}


def flag(name: str) -> str:
    """The option as typed."""
    return "--" + name.replace("_", "-")


@dataclass(slots=True)
class Checked:
    """Reads the options; every slip is collected and raised at once by `done`."""

    options: PlanOptions
    problems: list[Problem] = field(default_factory=list)

    def slip(self, name: str, what: str, fix: str) -> None:
        """Note one slip of an option."""
        self.problems.append(Problem("NOT_AN_OPTION_VALUE", what, fix, flag(name)))

    def done(self) -> None:
        """Raise what was found.

        Raises
        ------
        CannotBe
            Anything was.
        """
        if self.problems:
            raise CannotBe(self.problems)

    def question(self) -> Question:
        """The one question that is asked; options that belong to another one are slips."""
        given = set(self.options.given())
        asked: Question = "size"
        for question, marks in _MARKS.items():
            if given & set(marks):
                asked = question
                break
        strangers = given - _ANYWHERE - _BELONGS[asked]
        for name in sorted(strangers):
            homes = [_TOLD[q] for q, names in _BELONGS.items() if name in names]
            self.slip(
                name,
                f"does not go together with {_TOLD[asked]}",
                f"ask one question at a time; it belongs to: {'; or '.join(homes)}",
            )
        for name in _NEEDS.get(asked, ()):
            if name not in given:
                self.slip(name, f"is missing; {_TOLD[asked]} needs it", f"give {flag(name)}")
        return asked

    def share(self, name: str, default: float, *, zero: bool = False, one: bool = False) -> float:
        """A share between 0 and 1 (the ends only where said), written "10%" or "0.1"."""
        text = getattr(self.options, name)
        if text is None:
            return default
        value = self._number(name, text)
        if value is None:
            return default
        fits = 0.0 < value < 1.0 or (zero and value == 0.0) or (one and value == 1.0)
        if not fits:
            hint = f"; for {value:g} percent write {value:g}%" if 1.0 < value < 100.0 and "%" not in text else ""
            ends = f"from 0{'' if zero else ' (excluded)'} to 100 %{'' if one else ' (excluded)'}"
            self.slip(name, f"{text!r} is no share", f"write a share {ends}, as 10% or 0.1{hint}")
            return default
        return value

    def _number(self, name: str, text: str) -> float | None:
        cleaned = text.strip()
        percent = cleaned.endswith("%")
        try:
            value = float(cleaned.removesuffix("%").strip())
        except ValueError:
            self.slip(name, f"{text!r} is no number", "write it as 10% or 0.1, with a decimal point")
            return None
        return value / 100.0 if percent else value

    def cost(self, name: str, default: float | None = None) -> float:
        """An amount of 0 or more."""
        value = getattr(self.options, name)
        if value is None:
            return default or 0.0
        if not 0.0 <= value < float("inf"):
            self.slip(name, f"{value:g} is no amount", "write 0 or more")
            return 0.0
        return float(value)

    def count(self, name: str, default: int, least: int, most: int | None = None, most_is: str = "") -> int:
        """A whole number within its range."""
        value = getattr(self.options, name)
        if value is None:
            return default
        if value < least or (most is not None and value > most):
            upper = f" and at most {most}{most_is}" if most is not None else ""
            self.slip(name, f"{value} cannot be", f"write a whole number of at least {least}{upper}")
            return default
        return int(value)

    def word(self, name: str, allowed: tuple[str, ...], default: str) -> str:
        """One of a few words."""
        value = getattr(self.options, name)
        if value is None:
            return default
        found = [w for w in allowed if w.lower() == value.strip().lower()]
        if not found:
            self.slip(name, f"{value!r} is not known", f"one of: {', '.join(allowed)}")
            return default
        return found[0]

    def readings(self) -> ReadingsPower:
        """How well readings tell; perfect where nothing is said."""
        from partscreen.lots.readings_power import PERFECT, ReadingsPower

        power = self.share("power", 1.0, one=True)
        false_alarm = self.share("false_alarm", 0.0, zero=True)
        held = self.share("held", 0.0, zero=True)
        held_if_bad = self.share("held_if_bad", held, zero=True)
        counts = self.word("held_counts", ("nothing", "against"), "nothing")
        if self.options.held_counts is not None and not held and not held_if_bad:
            self.slip("held_counts", "no part is held", "say how many with --held, or leave it out")
        if self.problems:
            return PERFECT
        try:
            return ReadingsPower(power, false_alarm, held, held_if_bad, "against" if counts == "against" else "nothing")
        except ValueError as error:
            self.slip("power", str(error), "raise --power or lower --false-alarm: such readings tell nothing of a part")
            return PERFECT

    def aql(self) -> float:
        """An AQL of the standard's series, in percent as the trade writes it."""
        from partscreen.lots.attribute_plans import AQLS, neighbours

        text = self.options.aql or ""
        try:
            value = float(text.strip().removesuffix("%"))
        except ValueError:
            self.slip("aql", f"{text!r} is no number", "write percent, as 1.5")
            return 1.0
        near = neighbours(value)
        if all(abs(value - a) > 1e-9 for a in AQLS):
            told = " or ".join(f"{a:g}" for a in near)
            self.slip("aql", f"{value:g} % is not of the series of the standard", f"next to it: {told} (percent bad)")
        return value
