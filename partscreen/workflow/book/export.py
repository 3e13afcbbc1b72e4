"""The bench book as tables, for spreadsheets, other programs and other people."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen import __version__
from partscreen.errors import Problem, UnknownType, UnusableInput, not_writable
from partscreen.results.book import Exported, ExportedFile
from partscreen.whole_files import write_whole
from partscreen.workflow.book.common import Asked, opened, place_of, word_of
from partscreen.workflow.settings import load_library

if TYPE_CHECKING:
    from collections.abc import Callable

    from partscreen.book.export import TableForm


def export_book(
    out: Path, form: str, asked: Asked, *, without_names: bool = False, where: str | None = None
) -> Exported:  # fmt: skip
    """Write tables into a new or empty folder: of everything, or of a lot, a supplier or a type.

    Parameters
    ----------
    form : csv, json, parquet, or package (CSV with a datapackage.json)
    without_names : people, suppliers, jobs, lot and part names become numbers, free text is left out

    Raises
    ------
    UnusableInput
        An unknown form, a folder that holds something, a lot that is not in the book.
    """
    from partscreen.book import package
    from partscreen.book.export import TABLES, table_rows
    from partscreen.book.facts import ANY
    from partscreen.book.names import Names
    from partscreen.book.show import head_fields

    chosen = word_of(form, package.FORMS, "--format")
    with opened(where) as (_, facts):
        place = place_of(facts, asked)
        keys = place.keys if place else {"supplier": asked.supplier or ANY, "type": asked.type_name or ANY}
        if any(value is not ANY for value in keys.values()) and not facts.find("screening", **keys):
            fix = "partscreen book show lists what the book holds"
            raise UnusableInput([Problem("BOOK_NOTHING", "no such lot is in the book", fix, "--supplier, --type")])
        selected = any(value is not ANY for value in keys.values())
        names = Names(left_out=without_names, known_type=_known_type())
        package.empty_folder(out)
        files: list[ExportedFile] = []
        written: list[tuple[TableForm, bytes]] = []
        for table in TABLES:
            rows = table_rows(facts, table, names, **keys) if table.of_lots or not selected else []
            if chosen == "json":
                content = package.json_bytes(rows)
            elif chosen == "parquet":
                content = package.parquet_bytes(table.columns, rows)
            else:
                content = package.csv_bytes(table.columns, rows, mark=chosen == "csv")
            written.append((table, content))
            name = f"{table.name}.{'csv' if chosen == 'package' else chosen}"
            files.append(ExportedFile(file=_write(out / name, content), rows=len(rows)))
        if chosen == "package":
            created = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            told = package.descriptor(written, created=created, without_names=without_names, program=__version__)
            files.append(ExportedFile(file=_write(out / "datapackage.json", told), rows=0))
        return Exported(**head_fields(facts), form=chosen, without_names=without_names, files=files)


def _known_type() -> Callable[[str], str | None]:
    library = load_library()
    known: dict[str, str | None] = {}

    def find(name: str) -> str | None:
        if name not in known:
            try:
                known[name] = library.find(name).type.name
            except UnknownType:
                known[name] = None
        return known[name]

    return find


def _write(path: Path, content: bytes) -> str:
    try:
        write_whole(path, content)
    except OSError as error:
        raise not_writable(error, path, "make room, or name another folder", what="cannot be written") from None
    return str(path)
