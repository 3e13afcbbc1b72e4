"""Invented stages for tests: the worked example with changes."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

from partscreen.reference.library import Library
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.model import Stage

EXAMPLE = Path(__file__).resolve().parents[2] / "docs" / "examples" / "stage.toml"


@cache
def library() -> Library:
    return Library.load()


def raw(**changes: Any) -> dict[str, Any]:
    """The example as a dict; `rails={...}` replaces keys of a table, a value None takes a key (or a table) out."""
    data = deepcopy(tomllib.loads(EXAMPLE.read_text(encoding="utf-8")))
    for table, keys in changes.items():
        if not isinstance(keys, dict):
            data.pop(table, None) if keys is None else data.__setitem__(table, keys)
            continue
        held = data.setdefault(table, {})
        for key, value in keys.items():
            held.pop(key, None) if value is None else held.__setitem__(key, value)
    return data


def stage(**changes: Any) -> Stage:
    return Stage.model_validate(raw(**changes))


def side(name: str, *parts: KnownPart, group: str | None = None) -> Side:
    return Side(library().type(name), group, parts)
