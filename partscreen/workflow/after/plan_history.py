"""The file of past lots for the switching rules."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.lots.switching import PastLot

_FIX = "a table with the columns lot_size and found (bad parts in the sample), one lot a row, oldest first"


def read_history(path: Path) -> tuple[PastLot, ...]:
    """Past lots from a delimited file with the columns lot_size, found and, if wished, lot; oldest first.

    Raises
    ------
    UnusableInput
        The file cannot be read, a column is missing or a number cannot be; every row is looked at.
    """
    from partscreen.lots.switching import PastLot

    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = getattr(error, "strerror", None) or "it is no UTF-8 text"
        raise UnusableInput([Problem("NOT_READABLE", f"cannot be read: {why}", _FIX, str(path))]) from error
    lines = text.splitlines()
    above = next((i for i, line in enumerate(lines) if not line.startswith("#")), len(lines))  # remarks
    lines = lines[above:]
    head = lines[0] if lines else ""
    separator = max(",;\t", key=head.count)
    rows = csv.DictReader(lines, delimiter=separator)
    names = {name.strip().lower(): name for name in rows.fieldnames or ()}
    missing = [name for name in ("lot_size", "found") if name not in names]
    if missing:
        what = f"no column {' or '.join(missing)}; there are: {head or 'none'}"
        raise UnusableInput([Problem("NO_COLUMN", what, _FIX, str(path), above + 1)])
    lots: list[PastLot] = []
    problems: list[Problem] = []
    for row in rows:
        numbers = {}
        for name, least in (("lot_size", 2), ("found", 0)):
            cell = (row[names[name]] or "").strip()
            if cell.isdecimal() and len(cell) <= 9 and int(cell) >= least:
                numbers[name] = int(cell)
            else:
                what = f"{cell!r} is no whole number of at least {least}"
                row_at = above + rows.line_num
                problems.append(Problem("NOT_A_COUNT", what, "put the cell right", str(path), row_at, name))
        if len(numbers) == 2:
            label = (row[names["lot"]] or "").strip() if "lot" in names else ""
            lots.append(PastLot(numbers["lot_size"], numbers["found"], label or f"row {above + rows.line_num}"))
    if problems:
        raise UnusableInput(problems)
    if not lots:
        raise UnusableInput([Problem("NO_ROWS", "holds no lot", _FIX, str(path))])
    return tuple(lots)


def history_of_book(supplier: str, where: str | None = None) -> tuple[PastLot, ...]:
    """A supplier's lots in the bench book, in the order they were first recorded, as past lots.

    Of each lot the newest judgement counts: its parts in the order read, those rejected against the lot, held ones for
    nothing. Its size is that of the lot sheet, else the parts that were read. Lots known to be good are left out.

    Raises
    ------
    UnusableInput
        There is no book, it cannot be read, or it holds no lot of the supplier.
    """
    from partscreen.book.entries import LotKept
    from partscreen.book.entries_run import ScreeningKept
    from partscreen.lots.switching import PastLot
    from partscreen.workflow.book.common import opened

    with opened(where) as (_, facts):
        sizes = {
            kept.lot: kept.count
            for fact in facts.find("lot", supplier=supplier)
            if (kept := fact.of(LotKept)).count is not None
        }
        judged = {}
        for fact in facts.find("screening", supplier=supplier):
            kept_run = fact.of(ScreeningKept)
            judged[kept_run.lot] = kept_run
    lots = []
    for name, one in judged.items():
        read = tuple(part.disposition == "reject" for part in one.evidence if part.disposition is not None)
        size = max(sizes.get(name) or 0, one.n_parts)
        if not one.known_good and size >= 2:
            lots.append(PastLot(size, 0, name, read))
    if not lots:
        what = f"the bench book holds no judged lot of supplier {supplier!r}"
        fix = "write the supplier as `partscreen trust` shows it, or record its lots with `screen --record`"
        raise UnusableInput([Problem("NO_ROWS", what, fix, "--history-of")])
    return tuple(lots)
