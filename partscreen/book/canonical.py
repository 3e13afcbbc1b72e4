"""The bytes of a body: made once, hashed, stored, and never made again from the parsed form."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from pydantic_core import to_json


def canonical_bytes(body: Mapping[str, Any]) -> bytes:
    """UTF-8 JSON with sorted keys, no spaces, floats by repr.

    Raises
    ------
    ValueError
        Something JSON cannot hold exactly: a NaN or infinity, a key that is no text, an object of another type, a
        broken character. The message names the place in the body.
    """
    _check(body, "")
    text = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    try:
        return text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise ValueError(f"holds a broken character {text[error.start : error.start + 1]!r}") from None


def parse(body: bytes | str) -> dict[str, Any]:
    """The body as written; as text where another hand stored it so.

    Raises
    ------
    ValueError
        The bytes are no JSON object, hold NaN or Infinity, or brackets without end.
    """
    try:
        # The text form spares json a guess at the encoding.
        text = body if isinstance(body, str) else bytes(body).decode("utf-8")
        parsed = json.loads(text, parse_constant=_not_finite)
        if not isinstance(parsed, dict):
            raise ValueError("the body is no JSON object")
    except RecursionError:
        raise ValueError("the body is nested too deep") from None
    return parsed


def parse_whole(body: bytes | str) -> dict[str, Any]:
    """As `parse`, and nothing in it is beyond what `canonical_bytes` writes; takes a third longer.

    Raises
    ------
    ValueError
        As of `parse`; a figure that is read as infinite; half a character.
    """
    parsed = parse(body)
    try:
        # In C; `canonical_bytes` takes ten times as long.
        odd = b"Infinity" in to_json(parsed, inf_nan_mode="constants")
    except ValueError:
        odd = True
    if odd:
        canonical_bytes(parsed)  # says what and where
    return parsed


def _not_finite(text: str) -> Any:
    raise ValueError(f"the body holds {text}, which is no figure")


def _check(value: Any, where: str) -> None:
    """json.dumps would quietly turn the key 1 into "1" and name no place for a NaN."""
    if isinstance(value, Mapping):
        if not isinstance(value, dict):
            raise ValueError(f"{where or 'the body'} is a {type(value).__name__}, not a dict")
        for key, inner in value.items():
            if not isinstance(key, str):
                raise ValueError(f"{where or 'the body'} has the key {key!r}, which is no text")
            _check(inner, f"{where}.{key}" if where else key)
    elif isinstance(value, list | tuple):
        for index, inner in enumerate(value):
            _check(inner, f"{where}[{index}]")
    elif isinstance(value, float):
        if value - value != 0.0:
            raise ValueError(f"{where} is {value!r}; write null for a value that is not known")
    elif not (value is None or isinstance(value, str | int)):
        raise ValueError(f"{where} is a {type(value).__name__}, which JSON cannot hold")
