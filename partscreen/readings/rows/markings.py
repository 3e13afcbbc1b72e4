"""Type numbers that stand beside the readings: held against what the lot is said to be, never silently one of them."""

from __future__ import annotations

import re
from dataclasses import replace

from partscreen.errors import Problem
from partscreen.quantities import bare
from partscreen.readings.columns.interpret import Interpreted
from partscreen.readings.columns.recognise import TYPE_HEADERS, recognise
from partscreen.readings.rows.builder import Builder
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.lot_sheet import of_several_types, same_type, types_told
from partscreen.readings.tables import Ints, Lot

_TYPE_NUMBER = re.compile(r"(?=.*[A-Za-z])(?=.*\d\d)[\w\-/. ]{3,}")  # a word such as "gain" is no type number


def note_markings(builder: Builder, draft: FileDraft, data: Interpreted, codes: Ints) -> None:
    """Remember the type number of every part in a column that nothing else is read from. `codes` (n,): -1 nobody's."""
    table = data.table
    used = {use.index for use in data.uses.values()}
    for index, header in enumerate(table.header):
        if (
            index in used
            or index >= len(table.columns)
            or bare(header) not in TYPE_HEADERS
            or recognise(header) is not None
        ):
            continue
        cells = table.columns[index]
        for code, row, cell in zip(codes.tolist(), data.row.tolist(), cells, strict=True):
            text = cell.strip()
            if code >= 0 and _TYPE_NUMBER.fullmatch(text):
                builder.types.setdefault(code, {}).setdefault(text, (draft.name, int(row)))


def settle_markings(builder: Builder) -> dict[str, list[Problem]]:
    """Hold the type numbers of the rows against their lots; problems by file.

    A lot of which nothing else tells the type takes that of its rows, and this is said. Parts that bear another type
    than their lot are unusable; a lot whose rows name several types while nothing else tells is of none of them.
    """
    problems: dict[str, list[Problem]] = {}
    if not builder.types:
        return problems
    by_lot: dict[str, dict[int, dict[str, tuple[str, int]]]] = {}
    names = {code: pair for pair, code in builder.parts.items()}
    for code, types in builder.types.items():
        by_lot.setdefault(names[code][0], {})[code] = types
    for lot, parts in by_lot.items():
        row = builder.lot_rows.get(lot, Lot(lot))
        told = types_told(row) or ([builder.type_name] if builder.type_name else [])
        if len(told) == 1:
            for code, types in parts.items():
                _hold_against(builder, problems, lot, names[code][1], code, told[0], types)
        elif not told:
            builder.lot_rows[lot] = _from_rows(builder, problems, row, parts)
    return problems


def _hold_against(
    builder: Builder,
    problems: dict[str, list[Problem]],
    lot: str,
    part: str,
    code: int,
    told: str,
    types: dict[str, tuple[str, int]],
) -> None:
    other = next((t for t in types if not same_type(t, told)), None)
    if other is None:
        return
    file, row = types[other]
    what = f"part {part} is marked {other}, its lot {lot} is said to be {told}"
    fix = "correct the one that is wrong, or put the part into a lot of its own type"
    problems.setdefault(file, []).append(Problem("TYPE_CONFLICT", what, fix, file, row, "type", part, lot))
    builder.unusable(code, "TYPE_CONFLICT", what)


def _from_rows(
    builder: Builder, problems: dict[str, list[Problem]], lot: Lot, parts: dict[int, dict[str, tuple[str, int]]]
) -> Lot:
    """A lot of which only the rows tell the type."""
    apart: dict[str, tuple[str, int]] = {}
    for types in parts.values():
        for name, place in types.items():
            if not any(same_type(name, one) for one in apart):
                apart[name] = place
    first, *others = apart
    if not others:
        file, _ = apart[first]
        builder.notices.append(f"{file}: lot {lot.name} was taken as {first}, as its rows say")
        return replace(lot, type=first)
    file, row = apart[others[0]]
    what = f"the rows of lot {lot.name} name several types: {' and '.join(apart)}"
    fix = "give each type a lot of its own; until then the parts are held as of no known type"
    problems.setdefault(file, []).append(Problem("TYPE_CONFLICT", what, fix, file, row, "type", lot=lot.name))
    return of_several_types(lot, list(apart))
