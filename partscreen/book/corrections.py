"""Putting an entry right: a typed entry by its fields, a reading by the cell of its file. The old stays in the book."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from pydantic import ValidationError

from partscreen.book.cells import Cell
from partscreen.book.entries import CORRECTABLE, KINDS, CorrectionKept, FileKept, ReadingCorrected
from partscreen.book.facts import Facts
from partscreen.book.notes import entry_fact
from partscreen.book.store import Draft
from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import ZERO_CELSIUS

_FIXED = frozenset({"schema", "content_key", "supersedes", "blobs", "sha256"})
_KEYS = ("part", "lot", "supplier", "type", "job")


def entry_correction(
    facts: Facts, seq: int, changes: Mapping[str, str], *, reason: str, by: str | None, on: date
) -> Draft:
    """An entry a person typed, with some fields changed. `changes`: field to text; empty text: not known.

    Raises
    ------
    UnusableInput
        The entry is not one a person typed, a field is not one of its fields, or a value does not fit.
    """
    fact = entry_fact(facts, seq)
    if fact.kind not in CORRECTABLE:
        fix = (
            "correct the reading it was made from (book correct --file FILE --row N --column NAME --value TEXT) and "
            "judge again (book rescreen)"
            if fact.kind in ("part", "screening", "file")
            else "write what holds now as a new entry"
        )
        what = f"entry {seq} is of the kind {fact.kind}, which nobody types"
        raise UnusableInput([Problem("BOOK_NOT_TYPED", what, fix, "ENTRY")])
    model = KINDS[fact.kind]
    fields = [name for name in model.model_fields if name not in (*_FIXED, "schema_")]
    unknown = [name for name in changes if name not in fields]
    if unknown or not changes:
        what = f"{', '.join(unknown)}: no field of the kind {fact.kind}" if unknown else "nothing is to be changed"
        raise UnusableInput([Problem("BOOK_FIELD", what, f"its fields are {', '.join(fields)}", "FIELD=VALUE")])
    body = fact.payload.body()
    for name, text in changes.items():
        if text == "":
            body.pop(name, None)
        else:
            body[name] = _typed(text, fact.payload, name)
    try:
        made = model.model_validate(body)
    except ValidationError as error:
        raise UnusableInput(_problems(error)) from None
    if made == fact.payload:
        what = f"entry {seq} says that already"
        raise UnusableInput([Problem("BOOK_SAME", what, "nothing is to be corrected", "FIELD=VALUE")])
    corrected = made.body()
    keys: dict[str, Any] = {name: corrected.get(name) for name in _KEYS}
    kept = CorrectionKept(
        supersedes=fact.seq, of_kind=fact.kind, reason=reason, by=by, on=on, corrected=corrected, **keys
    )  # fmt: skip
    return Draft("correction", kept.body())


def _typed(text: str, payload: Any, name: str) -> Any:
    """Figures and yes/no as such; the model checks the rest. A temperature is typed in degC, as at the bench."""
    kind = str(type(payload).model_fields[name].annotation)
    if "Literal" in kind:
        return text.lower().replace("-", "_")  # words as commands take them
    if "float" in kind or "int" in kind or "bool" in kind:
        try:
            value = json.loads(text.replace(",", ".") if "," in text and "." not in text else text)
        except ValueError:
            return {"yes": True, "no": False}.get(text.lower(), text)
        return value + ZERO_CELSIUS if name == "ambient" and isinstance(value, int | float) else value
    return text


def _problems(error: ValidationError) -> list[Problem]:
    return [
        Problem(
            "BOOK_FIELD",
            item["msg"].removeprefix("Value error, "),
            "dates as year-month-day, figures in SI units, ambient in degC, words as `book correct --help` lists them",
            "FIELD=VALUE",
            column=".".join(map(str, item["loc"])),
        )
        for item in error.errors()
    ]


@dataclass(frozen=True, slots=True)
class FileFound:
    """A raw file of the book: its entry and what it is."""

    seq: int
    kept: FileKept


def find_file(facts: Facts, name: str) -> FileFound:
    """The newest raw file of readings of that name, or whose hash begins so.

    Raises
    ------
    UnusableInput
        There is none.
    """
    here = [fact for fact in facts.find("file") if fact.of(FileKept).role == "readings"]
    found = [fact for fact in here if fact.of(FileKept).name == name]
    if not found and len(name) >= 8:
        found = [fact for fact in here if fact.of(FileKept).sha256.startswith(name.lower())]
    if not found:
        names = sorted({fact.of(FileKept).name for fact in here})
        fix = (
            f"files of the book: {', '.join(names[-12:])}" if names else "record readings first: screen FILES --record"
        )
        raise UnusableInput([Problem("BOOK_NO_FILE", f"no file {name!r} is in the book", fix, "--file")])
    if len({fact.of(FileKept).sha256 for fact in found}) > 1:
        hashes = ", ".join(fact.of(FileKept).sha256[:12] for fact in found)
        what = f"{len(found)} files of different content are named {name!r}"
        raise UnusableInput([Problem("BOOK_FILE_TWICE", what, f"give the begin of a hash: {hashes}", "--file")])
    return FileFound(found[-1].first, found[-1].of(FileKept))


def reading_correction(
    facts: Facts, file: FileFound, cell: ReadingCorrected, lot: Mapping[str, Any], *, reason: str,
    by: str | None, on: date,
) -> Draft:  # fmt: skip
    """One cell of a raw file put right. `lot`: keys of the part it belongs to, as far as known.

    Raises
    ------
    UnusableInput
        The cell reads like that already.
    """
    if cell.now == cell.was:
        what = f"{cell.file}, row {cell.row}, column {cell.column} reads {cell.was!r} already"
        raise UnusableInput([Problem("BOOK_SAME", what, "nothing is to be corrected", "--value")])
    before = [seq for seq, one in facts.reading_corrections if _same_cell(one, cell)]
    kept = CorrectionKept(
        supersedes=before[-1] if before else file.seq, of_kind="file", reason=reason, by=by, on=on, reading=cell, **lot
    )  # fmt: skip
    return Draft("correction", kept.body())


def _same_cell(one: CorrectionKept, cell: ReadingCorrected) -> bool:
    known = one.reading
    return known is not None and (known.sha256, known.sheet, known.row, known.column) == (
        cell.sha256, cell.sheet, cell.row, cell.column,
    )  # fmt: skip


def cells_now(facts: Facts, files: Iterable[str]) -> tuple[dict[str, dict[Cell, str]], tuple[int, ...]]:
    """Corrected cells of files, by hash, and the entries that say so; of several on one cell the newest."""
    wanted = set(files)
    found: dict[tuple[str, Cell], tuple[int, str]] = {}
    for seq, one in facts.reading_corrections:
        cell = one.reading
        if cell is not None and cell.sha256 in wanted:
            found[cell.sha256, (cell.sheet, cell.row, cell.column)] = (seq, cell.now)
    cells: dict[str, dict[Cell, str]] = {}
    for (sha256, place), (_, text) in found.items():
        cells.setdefault(sha256, {})[place] = text
    return cells, tuple(sorted(seq for seq, _ in found.values()))
