"""docs/json.md and docs/schemas/: the forms of all results, written from the models that the program fills."""

from __future__ import annotations

import importlib
import inspect
import json
import pkgutil
import re
import types
import typing
from collections.abc import Iterator

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic.json_schema import models_json_schema

import partscreen.results

_HEAD = """# Results as JSON

Every command with `--json` writes one object. `schema` names its form, as `partscreen.screening/1`. Fields may be
added later, never
renamed, and the number goes up if a meaning changes. Units are SI and temperatures kelvin, but for a name that says
otherwise
(`_mv`, `_percent`, `minutes`). Unknown is `null`, never NaN.

This page is written from the models that the program fills. The same as JSON Schema (draft 2020-12), for programs
that check:

| form | schema | written by |
|---|---|---|
"""
_WRITTEN_BY = {
    "screening": "`screen`, `check`",
    "matching": "`match`",
    "plan": "`plan`",
    "trust": "`trust`",
    "stage": "`stage`",
    "replace": "`replace`",
    "book": "`book ...`",
    "retest": "`book remeasure` (inside its answer)",
}
_MORE = {
    "screening": "What the fields mean in words: [The result](result.md).",
    "matching": "More: [Matching](matching.md).",
    "plan": "More: [How many to test](plan.md).",
    "trust": "Private, not for publication. More: [Trust](trust.md).",
    "stage": "More: [The output stage](stage.md).",
    "replace": "More: [What can take its place](stage.md#what-can-take-its-place).",
    "book": "Which of these a command writes stands in its name. More: [The bench book](book.md).",
    "retest": "More: [A part that came back](book.md#a-part-that-came-back).",
}
_PLAIN = {str: "text", float: "number", int: "whole number", bool: "true or false", type(None): "null"}


def forms() -> dict[str, list[type[BaseModel]]]:
    """Name of each form and the models that carry it."""
    found: dict[str, list[type[BaseModel]]] = {}
    for module in _modules():
        for model in vars(module).values():
            if not (inspect.isclass(model) and issubclass(model, BaseModel) and model.__module__ == module.__name__):
                continue
            schema = model.model_fields.get("schema_")
            if schema is not None and model.__name__ != "BookAnswer":  # their base, written by no command
                name = str(schema.default).removeprefix("partscreen.").split("/")[0]
                found.setdefault(name, []).append(model)
    order = list(_WRITTEN_BY)
    return dict(sorted(found.items(), key=lambda one: order.index(one[0]) if one[0] in order else len(order)))


def schema_files() -> dict[str, str]:
    """File name below docs/schemas and its text."""
    return {f"{name}.json": json.dumps(_schema(name, models), indent=1) + "\n" for name, models in forms().items()}


def json_page() -> str:
    """The page as it should read today."""
    found = forms()
    rows = [
        f"| `{_form(models[0])}` | [{name}.json](schemas/{name}.json) | {_WRITTEN_BY.get(name, '')} |"
        for name, models in found.items()
    ]
    out = [_HEAD + "\n".join(rows) + "\n", _OTHERS]
    told: set[type[BaseModel]] = set()
    for name, models in found.items():
        out += [f"## {_form(models[0])}\n", f"{_MORE.get(name, '')}\n"]
        for model in models:
            for one in _reached(model):
                if one not in told:
                    told.add(one)
                    out.append(_table(one))
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out)).rstrip() + "\n"


_OTHERS = """`read --json` (`partscreen.read/1`), `types --json` (`partscreen.types/1`) and `codes --json`
(`partscreen.codes/1`) write what these
commands show; their fields are those of [files](files.md), [reference types](reference.md#tables) and
[codes](codes.md).

In the tables "if missing" says what to take a field for that an older result does not have. A field without it is
always there.
"""


def _modules() -> Iterator[types.ModuleType]:
    for found in sorted(pkgutil.iter_modules(partscreen.results.__path__), key=lambda one: one.name):
        yield importlib.import_module(f"partscreen.results.{found.name}")


def _form(model: type[BaseModel]) -> str:
    return str(model.model_fields["schema_"].default)


def _schema(name: str, models: list[type[BaseModel]]) -> dict[str, object]:
    refs, all_of_them = models_json_schema(
        [(model, "serialization") for model in models], by_alias=True, ref_template="#/$defs/{model}"
    )
    roots = [refs[model, "serialization"] for model in models]
    body: dict[str, object] = roots[0] if len(roots) == 1 else {"anyOf": roots}
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"partscreen.{name}/1"}
    return {**head, **body, "$defs": all_of_them["$defs"]}


def _reached(model: type[BaseModel]) -> list[type[BaseModel]]:
    """A model and those its fields hold, in the order of the fields."""
    out = [model]
    for one in out:
        for field in one.model_fields.values():
            out += [inner for inner in _models_in(field.annotation) if inner not in out]
    return out


def _models_in(annotation: object) -> list[type[BaseModel]]:
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in typing.get_args(annotation) for model in _models_in(part)]


def _table(model: type[BaseModel]) -> str:
    said = inspect.cleandoc(model.__doc__ or "")
    rows = [
        f"| `{field.serialization_alias or field.alias or name}` | {_kind(field.annotation)} | {_default(field)} |"
        for name, field in model.model_fields.items()
    ]
    return "\n".join(
        [f"### {model.__name__}", "", said, "", "| field | holds | if missing |", "|---|---|---|", *rows, ""]
    )


def _kind(annotation: object) -> str:
    origin, inner = typing.get_origin(annotation), typing.get_args(annotation)
    if annotation is typing.Any:
        return "anything"
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        return f"[{annotation.__name__}](#{annotation.__name__.lower()})"
    if origin is typing.Literal:
        return ", ".join(f"`{word}`" for word in inner)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(dict.fromkeys(_kind(part) for part in inner))
    if origin in (list, tuple):
        return f"list of {_kind(inner[0])}"
    if origin is dict:
        return f"object: {_kind(inner[0])} to {_kind(inner[1])}"
    return _PLAIN.get(typing.cast(type, annotation), getattr(annotation, "__name__", str(annotation)))


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return ""
    value = field.get_default(call_default_factory=True, validated_data={})
    return f"`{json.dumps(value)}`" if not isinstance(value, BaseModel) else "as with nothing in it"
