"""docs/api.md: the functions of `partscreen.workflow`, written from their signatures and docstrings."""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Callable, Iterator
from importlib import import_module
from typing import Any

import partscreen
from partscreen import workflow

_HEAD = """# From Python

One function answers one question of a user; the commands and the page call the same ones. Import them from
`partscreen.workflow`; the
first names below stand in `partscreen` itself too.

- Paths may be text or `Path`. Figures are SI, temperatures kelvin, but for a name that says otherwise (`_celsius`,
  a text with its unit).
- What cannot be used raises `UnusableInput` with all its problems (`.problems`: code, where, what, how to put it
  right), or `UnknownType`. Both are `PartscreenError`. Bad cells of a file of readings never raise: they stand in the
  result, and the good parts go on.
- Results are frozen pydantic models; their fields stand on the page [Results as JSON](json.md).

```python
from partscreen import ScreenOptions, UnusableInput, screen_files

try:
    outcome = screen_files(["docs/examples/bag/bag.csv"], ScreenOptions(type_name="2SC5200"))
except UnusableInput as error:
    for problem in error.problems:
        print(problem.code, problem.where, problem.what, problem.fix)
else:
    for lot in outcome.screening.lots:
        print(lot.lot, lot.judgement, [part.disposition for part in lot.parts])
```

This page is written from the signatures and their texts.
"""
_SECTION = re.compile(r"^(Parameters|Returns|Raises|References|Notes|Yields)\n-+$", re.MULTILINE)
_WORDS = {"Parameters": "Arguments", "Returns": "Gives", "Raises": "Raises", "References": "Sources", "Yields": "Gives"}


def api_page() -> str:
    """The page as it should read today."""
    out = [_HEAD, _top_names()]
    for module, members in _by_module().items():
        title = inspect.cleandoc(import_module(module).__doc__ or "").split("\n\n")[0].replace("\n", " ")
        heading = module.removeprefix("partscreen.workflow.").replace(".", ": ").replace("_", " ").capitalize()
        out.append(f"## {heading}\n\n{title}\n")
        out += [_entry(name, member) for name, member in members]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(out)).rstrip() + "\n"


def _top_names() -> str:
    names = ", ".join(f"`{name}`" for name in sorted(partscreen.__all__) if name != "__version__")
    return f"In `partscreen` itself: {names}.\n"


def public() -> Iterator[tuple[str, Any]]:
    """Every name of `partscreen.workflow` and what it stands for."""
    for name in sorted(workflow.__all__):
        yield name, getattr(workflow, name)


def _by_module() -> dict[str, list[tuple[str, Any]]]:
    found: dict[str, list[tuple[str, Any]]] = {}
    for name, member in public():
        found.setdefault(getattr(member, "__module__", "partscreen.workflow.options"), []).append((name, member))
    for members in found.values():  # functions before what they take
        members.sort(key=lambda one: (inspect.isclass(one[1]) or not callable(one[1]), one[0]))
    return dict(sorted(found.items()))


def _entry(name: str, member: Any) -> str:
    if inspect.isfunction(member):
        return f"### {name}\n\n    {_signature(name, member)}\n\n{_text(member.__doc__)}\n"
    said = f"### {name}\n\n{_text(member.__doc__) if inspect.isclass(member) else f'Stands for `{member}`.'}\n"
    if dataclasses.is_dataclass(member):
        cells = [(one.name, _type(one.type), _default(one)) for one in dataclasses.fields(member)]
        rows = [
            f"| `{name}` | `{kind}` | {default} |".replace(" | None`", " \\| None`") for name, kind, default in cells
        ]
        said += "\n".join(["", "| field | type | default |", "|---|---|---|", *rows, ""])
    return said


def _signature(name: str, function: Callable[..., Any]) -> str:
    found = inspect.signature(function)
    parts = []
    for one in found.parameters.values():
        if one.kind is one.KEYWORD_ONLY and "*" not in parts and not any(p.startswith("*") for p in parts):
            parts.append("*")
        star = {one.VAR_POSITIONAL: "*", one.VAR_KEYWORD: "**"}.get(one.kind, "")
        kind = f": {_type(one.annotation)}" if one.annotation is not one.empty else ""
        default = "" if one.default is one.empty else f" = {one.default!r}"
        parts.append(f"{star}{one.name}{kind}{default}")
    whole = f"{name}({', '.join(parts)}) -> {_type(found.return_annotation)}"
    if len(whole) <= 110:
        return whole
    return f"{name}(\n        " + ",\n        ".join(parts) + f"\n    ) -> {_type(found.return_annotation)}"


def _type(annotation: object) -> str:
    text = annotation if isinstance(annotation, str) else getattr(annotation, "__name__", str(annotation))
    return text


def _default(field: dataclasses.Field[Any]) -> str:
    if field.default is not dataclasses.MISSING:
        return f"`{field.default!r}`"
    return f"`{field.default_factory()!r}`" if field.default_factory is not dataclasses.MISSING else "needed"


def _text(docstring: str | None) -> str:
    """A docstring as Markdown: its sections as bold lines with a list."""
    pieces = _SECTION.split(inspect.cleandoc(docstring or ""))
    out = [pieces[0].strip()]
    for section, body in zip(pieces[1::2], pieces[2::2], strict=True):
        out += ["", f"**{_WORDS.get(section, section)}**", "", *_listed(body)]
    return "\n".join(out)


def _listed(body: str) -> Iterator[str]:
    head = ""
    lines: list[str] = []
    for line in body.strip("\n").splitlines():
        if line and not line.startswith(" "):
            if head:
                yield _item(head, lines)
            head, lines = line, []
        elif line.strip():
            lines.append(line.strip())
    if head:
        yield _item(head, lines)


def _item(head: str, lines: list[str]) -> str:
    name, _, kind = head.partition(" : ")
    told = [kind.strip(), " ".join(lines)]
    said = ". ".join(piece for piece in told if piece)
    return f"- `{name.strip()}`" + (f": {said}" if said else "")
