"""The user's instruments, described once: what each reads, how well, under which conditions (`--kit KIT.toml`)."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from partscreen.bounded_files import load_toml
from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import QUANTITIES, ZERO_CELSIUS
from partscreen.readings.instruments.kit_words import not_believable


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Accuracy(_Entry):
    """Limit of error as a maker prints it: percent of reading + counts of the last digit + a fixed amount (SI unit).

    The error is taken as rectangular within that limit: standard uncertainty = limit / sqrt(3) (JCGM 100:2008, 4.3.7).
    """

    percent: float = Field(default=0.0, ge=0.0, le=100.0)
    counts: float = Field(default=0.0, ge=0.0)
    count_size: float = Field(default=0.0, ge=0.0)
    absolute: float = Field(default=0.0, ge=0.0)

    @model_validator(mode="after")
    def _counts_have_a_size(self) -> Accuracy:
        if self.counts > 0.0 and self.count_size == 0.0:
            raise ValueError("counts are given without count_size (what one count of the last digit is worth, SI unit)")
        if self.percent == self.counts == self.absolute == 0.0:
            raise ValueError("an accuracy of zero is not believable: give percent, counts with count_size, or absolute")
        return self


class Known(_Entry):
    """A resistance [ohm] or capacitance [F] of the set-up with its standard uncertainty."""

    value: float = Field(default=0.0, ge=0.0)
    std: float = Field(default=0.0, ge=0.0)

    @model_validator(mode="after")
    def _value_has_an_uncertainty(self) -> Known:
        if self.value > 0.0 and self.std == 0.0:
            raise ValueError("a value without std: how well is it known? (half the last digit is a start)")
        return self


class Leads(_Entry):
    """Lead and contact resistance between the part and where its voltage is read. All zero: four-wire.

    `emitter_in_vbe`: VBE is read at the same emitter lead that carries the collector current.
    """

    collector: Known = Known()
    emitter: Known = Known()
    base: Known = Known()
    emitter_in_vbe: bool = True

    @property
    def four_wire(self) -> bool:
        return all(k.value == 0.0 and k.std == 0.0 for k in (self.collector, self.emitter, self.base))


class Instrument(_Entry):
    """One instrument or one set-up of several. Figures are in SI units (A, V, F, ohm, s).

    `reads`: keys of the quantity table; `range`: largest reading per quantity; `accuracy`: per quantity; `conditions`:
    what the instrument holds fixed (VCE, forced_gain, VCB, VEB, f, IC, ...); `compliance`: limits of its supplies (ic,
    vce, ib, vbe).
    """

    name: str = Field(min_length=1)
    reads: tuple[str, ...] = Field(min_length=1)
    range: dict[str, float] = {}
    accuracy: dict[str, Accuracy] = {}
    conditions: dict[str, float | str] = {}
    lead_resistance: Leads = Leads()
    fixture_capacitance: Known = Known()
    minutes_per_reading: float | None = Field(default=None, gt=0.0)
    compliance: dict[str, float] = {}
    pulse_seconds: float | None = Field(default=None, gt=0.0)

    @field_validator("reads")
    @classmethod
    def _quantities_are_known(cls, reads: tuple[str, ...]) -> tuple[str, ...]:
        unknown = [name for name in reads if name not in QUANTITIES]
        if unknown:
            raise ValueError(f"unknown quantity {', '.join(unknown)}; known: {', '.join(QUANTITIES)}")
        return reads

    @model_validator(mode="after")
    def _figures_belong_to_what_is_read(self) -> Instrument:
        for field, keys in (("range", self.range), ("accuracy", self.accuracy)):
            foreign = [key for key in keys if key not in self.reads]
            if foreign:
                raise ValueError(f"{field} names {', '.join(foreign)}, which `reads` does not list")
        wrong = [key for key, value in {**self.range, **self.compliance}.items() if not value > 0.0]
        if wrong:
            raise ValueError(f"range and compliance must be above zero: {', '.join(wrong)}")
        return self


class Kit(_Entry):
    """A bench: its instruments and its usual temperature (`temperature` in degC, as a person writes it).

    `calibration_months`: how often it is to be calibrated; later than that a screening says so.
    """

    name: str = Field(min_length=1)
    calibrated_on: date | None = None
    calibration_months: int | None = Field(default=None, ge=1, le=600)
    temperature: float = Field(default=25.0, ge=-40.0, le=150.0)
    temperature_logged: bool = False
    instruments: tuple[Instrument, ...] = Field(min_length=1)

    @property
    def temperature_kelvin(self) -> float:
        return self.temperature + ZERO_CELSIUS

    def reader_of(self, quantity: str) -> Instrument | None:
        """The first instrument that reads a quantity, or None."""
        return next((i for i in self.instruments if quantity in i.reads), None)


def load_kit(path: str | Path) -> Kit:
    """Read a kit file.

    Raises
    ------
    UnusableInput
        Not readable, not TOML, or not a kit; every problem found is listed at once.
    """
    path = Path(path)
    try:
        raw = load_toml(path)
    except FileNotFoundError:
        raise UnusableInput([_problem(path, "there is no such file", "check the path after --kit")]) from None
    except OSError as error:
        raise UnusableInput(
            [_problem(path, f"cannot be read: {error.strerror}", "check the path after --kit")]
        ) from None
    except UnicodeDecodeError:
        raise UnusableInput([_problem(path, "is not UTF-8 text", "save it as UTF-8 text")]) from None
    except tomllib.TOMLDecodeError as error:
        raise UnusableInput([_problem(path, f"is not TOML: {error}", "put the named line right")]) from None
    return kit_from(raw, path)


def kit_from(raw: dict[str, Any], path: Path) -> Kit:
    """A kit from the content of its file; `path` is what messages name.

    Raises
    ------
    UnusableInput
        It is no kit: every problem.
    """
    try:
        kit = Kit.model_validate(raw)
    except ValidationError as error:
        raise UnusableInput(_problems(path, error)) from None
    unbelievable = _unbelievable_accuracies(kit, path.name)
    if unbelievable:
        raise UnusableInput(unbelievable)
    return kit


def _unbelievable_accuracies(kit: Kit, file: str) -> list[Problem]:
    """Accuracies of a kit that no instrument has."""
    found = []
    for number, instrument in enumerate(kit.instruments, start=1):
        for quantity, accuracy in instrument.accuracy.items():
            why = not_believable(quantity, accuracy.model_dump(), instrument.range.get(quantity))
            if why:
                fix = "put percent, count_size (SI unit: 1e-12 for 1 pF) or range right"
                place = f"instruments.{number}.accuracy.{quantity}"
                found.append(Problem("KIT", why, fix, file=file, column=place))
    return found


def _problems(path: Path, error: ValidationError) -> list[Problem]:
    found = []
    for item in error.errors():
        place = ".".join(str(bit + 1) if isinstance(bit, int) else str(bit) for bit in item["loc"])
        found.append(_problem(path, item["msg"].removeprefix("Value error, "), _way_out(item["type"], place), place))
    return found


def _way_out(kind: str, place: str) -> str:
    if kind == "extra_forbidden":
        return f"remove `{place}` or put its spelling right; docs/examples holds three worked kits"
    if kind == "missing":
        return f"add `{place}`; docs/examples holds three worked kits"
    return "put the figure right; figures are in SI units (0.5 ohm, 2.5e-12 F)"


def _problem(path: Path, what: str, fix: str, place: str = "") -> Problem:
    return Problem("KIT", what, fix, file=path.name, column=place)
