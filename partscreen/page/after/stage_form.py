"""The file of an output stage as fields of a form, and back: texts with their units, as in the file."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any, Literal

from partscreen.errors import Problem, UnusableInput

Kind = Literal["text", "whole", "list", "lines"]
FUSES = 6  # lines for fuses on an empty form (assumption: two rails, two loudspeakers, mains and one more)
_EMPTY = "is left empty; nothing can be said without it"
_FUSE = ("place", "carries", "found", "specified")


@dataclass(frozen=True, slots=True)
class Field:
    """One line of the file. `kind`: a text (or two), a whole number, a list of names, or lines of NAME = figure."""

    key: str
    words: str
    hint: str = ""
    kind: Kind = "text"


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that stand together. `caution`: said above them, where a figure is read at a live amplifier."""

    title: str
    fields: tuple[Field, ...]
    caution: str = ""


GROUPS = (
    Group(
        "The devices",
        (
            Field("stage.name", "Name of the stage"),
            Field("stage.npn", "NPN type", "as 2SC5200"),
            Field("stage.pnp", "PNP type", "as 2SA1943"),
            Field("stage.devices_per_rail", "Devices in parallel on a rail", "a whole number", "whole"),
            Field("stage.gain_group", "Gain group that the service manual asks for", "may stay empty"),
        ),
    ),
    Group(
        "Rails and load",
        (
            Field("rails.unloaded", "Rails at idle", "42 V, or both: 42 V, -41 V"),
            Field("rails.loaded", "Rails at full sine output", "38 V"),
            Field("load.resistance", "Load", "8 ohm"),
            Field("load.minimum_impedance", "Lowest impedance of the load", "6.4 ohm"),
            Field("load.phase", "Phase of the load", "35 deg"),
            Field("load.rated_power", "Rated power into it", "60 W"),
            Field("load.lowest_frequency", "Lowest frequency", "20 Hz"),
            Field("programme.crest_factor", "Crest factor of the music", "10 dB"),
        ),
        "Rails are read with the mains on: mains and reservoir capacitors kill. It is work for people trained and "
        "licensed for it, with one hand, on an isolated bench; local codes come first. Where you do not know a figure, "
        "leave it empty.",
    ),
    Group(
        "Emitter resistors",
        (
            Field("emitter_resistors.marked", "Marked", "0.22 ohm"),
            Field("emitter_resistors.tolerance", "Tolerance", "5 %"),
            Field("emitter_resistors.power", "Power of one", "5 W"),
            Field("emitter_resistors.measured", "Measured, one a line", "RE1 = 0.221 ohm", "lines"),
            Field("emitter_resistors.discoloured", "Discoloured ones", "names, with commas between", "list"),
        ),
        "Resistance is read with the amplifier off, unplugged, and the reservoir capacitors measured empty.",
    ),
    Group(
        "Cooling",
        (
            Field("cooling.insulator", "Insulator, case to heat sink, one device", "0.4 degC/W"),
            Field("cooling.heat_sink", "Heat sink to air, shared", "0.5 degC/W"),
            Field("cooling.devices_on_heat_sink", "Devices on the heat sink", "a whole number", "whole"),
            Field("cooling.ambient", "Air", "35 degC"),
        ),
    ),
    Group(
        "Drive and bias",
        (
            Field("drive.base_current", "Base current the driver of one rail can give", "250 mA"),
            Field("drive.voltage_loss", "Loss from rail to base at the peak", "2 V"),
            Field("bias.target", "Across one emitter resistor at idle, warm", "15 mV"),
            Field("bias.tolerance", "Tolerance of that", "30 %"),
            Field("bias.offset", "Highest direct voltage at the output", "50 mV"),
            Field("bias.readings", "Read now, one a line", "RE1 = 14.2 mV", "lines"),
        ),
        "Bias is read with power on: one hand, insulated clips set while it is off, a current limiter in the mains "
        "lead; for people trained and licensed for it.",
    ),
    Group(
        "Places (only if you know them)",
        (
            Field("stage.npn_parts", "NPN parts in their places", "names, with commas between", "list"),
            Field("stage.pnp_parts", "PNP parts in their places", "names, with commas between", "list"),
            Field("stage.npn_resistors", "Emitter resistors of the NPN places", "as RE1, RE2", "list"),
            Field("stage.pnp_resistors", "Emitter resistors of the PNP places", "as RE3, RE4", "list"),
        ),
    ),
)
_ALL = {one.key: one for group in GROUPS for one in group.fields}
_FUSE_WORDS = {
    "place": "Fuse: place",
    "carries": "Fuse: carries",
    "found": "Fuse: found",
    "specified": "Fuse: specified",
}


def example() -> str:
    """The file of the demo's stage (invented)."""
    return (files("partscreen.simulate") / "demo_files" / "stage.toml").read_text(encoding="utf-8")


def told_of(text: str, file: str = "stage file") -> tuple[dict[str, str], list[Problem]]:
    """The fields of a stage file, and lines of it that have no field: they would be lost.

    Raises
    ------
    UnusableInput
        It is not TOML.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        fix = 'put texts in quotes, as resistance = "8 ohm", or fill in the form'
        raise UnusableInput([Problem("NOT_TOML", f"is not TOML: {error}", fix, file)]) from None
    told: dict[str, str] = {}
    strange: list[Problem] = []
    for key, value in _flat(data):
        if key == "fuses" and isinstance(value, list):
            for i, fuse in enumerate(value):
                told |= {
                    f"fuse{i}.{name}": str(fuse[name]) for name in _FUSE if isinstance(fuse, dict) and name in fuse
                }
        elif key in _ALL:
            told[key] = _shown(_ALL[key].kind, value)
        else:
            fix = "put its spelling right, or take the line out"
            strange.append(Problem("STAGE", f"the line {key} is not known", fix, file))
    return told, strange


def _flat(data: Mapping[str, Any], above: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in data.items():
        key = f"{above}{name}"
        if isinstance(value, dict) and not (key in _ALL and _ALL[key].kind == "lines"):
            yield from _flat(value, f"{key}.")
        else:
            yield key, value


def _shown(kind: Kind, value: Any) -> str:
    if kind == "lines" and isinstance(value, dict):
        return "\n".join(f"{name} = {figure}" for name, figure in value.items())
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return str(value)


def text_of(told: Mapping[str, str]) -> str:
    """The file that fields make; empty fields are left out, for they mean "not known".

    Raises
    ------
    UnusableInput
        A line of several is not NAME = figure; all of them at once.
    """
    tables: dict[str, list[str]] = {}
    below: dict[str, list[str]] = {}
    problems: list[Problem] = []
    for key, field in _ALL.items():
        value = told.get(key, "").strip()
        table, _, name = key.partition(".")
        if not value:
            continue
        if field.kind == "lines":
            below[key] = list(_lines(value, field, problems))
        else:
            tables.setdefault(table, []).append(f"{name} = {_written(field, value)}")
    if problems:
        raise UnusableInput(problems)
    out = []
    for table in dict.fromkeys([*tables, *(key.partition(".")[0] for key in below)]):
        if table in tables:
            out += [f"[{table}]", *tables[table], ""]
        for key, lines in below.items():
            if key.startswith(f"{table}."):
                out += [f"[{key}]", *lines, ""]
    for i in _fuse_numbers(told):
        fuse = {name: told.get(f"fuse{i}.{name}", "").strip() for name in _FUSE}
        out += ["[[fuses]]", *(f"{name} = {_quoted(value)}" for name, value in fuse.items() if value), ""]
    return "\n".join(out)


def _fuse_numbers(told: Mapping[str, str]) -> list[int]:
    """Fuses of which a place or a print was told, in their order."""
    said = {
        key.partition(".")[0].removeprefix("fuse")
        for key, value in told.items()
        if key.startswith("fuse") and key.partition(".")[2] in ("place", "found", "specified") and value.strip()
    }
    return sorted(int(one) for one in said if one.isdigit())


def fuse_rows(told: Mapping[str, str]) -> range:
    """Lines of fuses that the form shows: those that were told, and some more."""
    return range(max(FUSES, max(_fuse_numbers(told), default=-1) + 2))


def _written(field: Field, value: str) -> str:
    bits = [bit.strip() for bit in value.split(",") if bit.strip()]
    if field.kind == "list":
        return f"[{', '.join(map(_quoted, bits))}]"
    if field.kind == "whole" and value.isdecimal():
        return str(int(value))
    both = len(bits) == 2 and all(any(letter.isalpha() for letter in bit) for bit in bits)  # not 42,5 V
    if field.key.startswith("rails.") and both:
        return f"[{', '.join(map(_quoted, bits))}]"
    return _quoted(value)


def _quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0: JSON's escapes, and DEL escaped too)."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _lines(value: str, field: Field, problems: list[Problem]) -> Iterator[str]:
    seen: set[str] = set()
    for number, line in enumerate(value.splitlines(), 1):
        name, sign, figure = (bit.strip() for bit in line.partition("="))
        if not line.strip():
            continue
        if not (name and sign and figure):
            what = f"{line.strip()!r} is not NAME = figure"
            problems.append(Problem("STAGE", what, f"write it as {field.hint}", field.words, number))
        elif name in seen:
            what = f"{name} stands on two lines"
            problems.append(Problem("STAGE", what, "leave one of them out", field.words, number))
        else:
            seen.add(name)
            yield f"{_quoted(name)} = {_quoted(figure)}"


def on_form(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Problems of the file with the words of their fields."""
    return tuple(_on_form(one) for one in problems)


def _on_form(one: Problem) -> Problem:
    fix = one.fix.replace("docs/examples/stage.toml shows every line", "the example shows how each field is written")
    if one.what == "is missing":
        return replace(one, file=_words(one.column), column="", what=_EMPTY, fix="fill it in")
    return replace(one, file=_words(one.column), column="", fix=fix) if one.column else replace(one, fix=fix)


def _words(column: str) -> str:
    bits = column.split(".")
    if bits[0] == "fuses":
        name = _FUSE_WORDS.get(bits[-1], "Fuse")
        return f"{name}, line {bits[1]}" if len(bits) > 1 else name
    for n in (3, 2):
        if (found := _ALL.get(".".join(bits[:n]))) is not None:
            rest = bits[2:]
            return found.words + (f", {'.'.join(rest)}" if rest else "")
    return {"rails": "Rails", "load": "Load", "stage": "The devices"}.get(bits[0], column)
