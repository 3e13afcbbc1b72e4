"""Learned spreads as a file, of the format of `reference_curves/spreads.toml`: what was learned over the packaged."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from partscreen.bounded_files import load_toml
from partscreen.device.parameters import NAMES
from partscreen.errors import Problem, UnusableInput
from partscreen.reference.learned import AREA, LearnedCentre, LearnedFigure, LearnedSpreads
from partscreen.reference.library import packaged_directory
from partscreen.reference.population_spreads import SPREADS_FILE, Spreads, load_spreads

_FIX = "write it anew with the learned spreads of your book, or leave --spreads out"


def tables_of(learned: LearnedSpreads, default: Spreads) -> dict[str, Any]:
    """What was learned, as the tables of the file. A figure that no lot saw is left to the packaged file."""
    spreads = {}
    for name in NAMES:
        within, between = learned.within[name], learned.between[name]
        if within.lots or between.lots:
            spreads[name] = {
                "within": within.value, "between": between.value, "edition": default.spreads[name].edition,
                "lots": within.lots, "parts": within.parts, "interval_within": [within.low, within.high],
                "interval_between": [between.low, between.high], "basis": _basis(within, between),
            }  # fmt: skip
    area = learned.within[AREA]
    told = f"common area within lots: {_one(area)}" if area.lots else "common area within lots: not seen"
    return {
        "format": default.format,
        "note": f"Learned from {learned.parts} parts of {learned.lots} lots of {len(learned.types)} types; {told}. "
        "Figures that are not here are those of the packaged file.",
        "area_within": area.value,
        "spreads": spreads,
        "type_readings": {
            name: {q: r.model_dump(exclude_defaults=True) for q, r in readings.items()}
            for name, readings in learned.readings.items()
            if readings
        },
        "type_centres": {name: _centre(of) for name, of in learned.centres.items()},
    }


def spreads_of(learned: LearnedSpreads, default: Spreads | None = None) -> Spreads:
    """Spreads to judge by: what was learned over what is packaged."""
    usual = default or load_spreads()
    return Spreads.model_validate({**usual.model_dump(), **_merged(usual.model_dump(), tables_of(learned, usual))})


def learned_text(learned: LearnedSpreads, default: Spreads | None = None) -> str:
    """The file as TOML."""
    tables = tables_of(learned, default or load_spreads())
    plain = {k: v for k, v in tables.items() if not isinstance(v, Mapping)}
    lines = [f"{k} = {_value(v)}" for k, v in plain.items()]
    for name in ("spreads", "type_readings", "type_centres"):
        lines += list(_tables(name, tables[name], inline=name != "type_centres"))
    return "\n".join(lines) + "\n"


def load_learned(path: Path) -> Spreads:
    """A file of learned spreads over the packaged one; a whole file of the format is taken as well.

    Raises
    ------
    UnusableInput
        It cannot be read, or something in it cannot be: every problem at once.
    """
    try:
        told = load_toml(path)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        what = f"cannot be read as a file of spreads ({error})"
        raise UnusableInput([Problem("SPREADS_FILE", what, "name a TOML file of learned spreads", path.name)]) from None
    usual = tomllib.loads((packaged_directory() / SPREADS_FILE).read_text(encoding="utf-8"))
    if told.get("format") != usual["format"]:
        what = f"its format is {told.get('format')!r}; {usual['format']!r} is expected"
        raise UnusableInput([Problem("SPREADS_FORMAT", what, _FIX, path.name)])
    try:
        return Spreads.model_validate({**usual, **_merged(usual, told)})
    except ValidationError as error:
        problems = [
            Problem("SPREADS_FIGURE", f"{'.'.join(map(str, e['loc'])) or 'the file'}: {e['msg']}", _FIX, path.name)
            for e in error.errors()
        ]
        raise UnusableInput(problems) from None


def _merged(usual: Mapping[str, Any], told: Mapping[str, Any]) -> dict[str, Any]:
    return {**told, "spreads": {**usual["spreads"], **told.get("spreads", {})}}


def _one(of: LearnedFigure) -> str:
    held = ", held at 0.8 of the default" if of.held else ""
    return f"{of.value:.3g} ({of.low:.3g} to {of.high:.3g}) from {of.parts} parts of {of.lots} lots{held}"


def _basis(within: LearnedFigure, between: LearnedFigure) -> str:
    parts = []
    for word, of in (("within", within), ("between", between)):
        parts.append(f"{word} {_one(of)}" if of.lots else f"{word}: not seen, the default")
    return "learned: " + "; ".join(parts)


def _centre(of: LearnedCentre) -> dict[str, Any]:
    return {
        "names": list(NAMES), "centre": of.centre.tolist(), "covariance": of.covariance.tolist(), "lots": of.lots,
        "parts": of.parts, "basis": f"learned from {of.parts} parts of {of.lots} known-good lots",
    }  # fmt: skip


def _tables(name: str, tables: Mapping[str, Any], *, inline: bool) -> Iterator[str]:
    if name == "spreads":
        yield from ("", f"[{name}]")
        yield from (f"{key} = {_value(table)}" for key, table in tables.items())
        return
    for key, table in tables.items():
        yield from ("", f"[{name}.{_text(key)}]")
        yield from (f"{_text(k) if inline else k} = {_value(v)}" for k, v in table.items())


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bool):
        return str(value).lower()
    return repr(float(value)) if isinstance(value, (float, np.floating)) else repr(int(value))


def _text(value: str) -> str:
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
