"""What every result shares: frozen, SI units, unknown as None, and the pieces (interval, reason) they are made of."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field


class Result(BaseModel):
    """The base of all results: frozen, no unknown fields, an infinity or NaN as null."""

    model_config = ConfigDict(frozen=True, extra="forbid", ser_json_inf_nan="null")


_R = TypeVar("_R", bound=BaseModel)


@lru_cache(maxsize=64)
def _names(kind: type[BaseModel]) -> tuple[tuple[str, ...], set[str]]:
    names = tuple(kind.model_fields)
    return names, set(names)


def made(kind: type[_R], **values: Any) -> _R:
    """A result from values known to be right, every field named: several times faster than `model_construct`.

    Raises
    ------
    KeyError
        A field is missing.
    """
    names, as_set = _names(kind)
    fields = values if tuple(values) == names else {name: values[name] for name in names}
    one = kind.__new__(kind)
    place = object.__setattr__
    place(one, "__dict__", fields)
    place(one, "__pydantic_fields_set__", as_set)  # shared: results are frozen
    place(one, "__pydantic_extra__", None)
    place(one, "__pydantic_private__", None)
    return one


class Interval(Result):
    """A value with a 95 % interval."""

    value: float | None = None
    low: float | None = None
    high: float | None = None


class Reason(Result):
    """Why something was decided: a stable code, a plain sentence, and the figures behind it."""

    code: str
    sentence: str
    figures: dict[str, float | int | str | None] = Field(default_factory=dict)
    limit: str | None = None
    source: str | None = None
