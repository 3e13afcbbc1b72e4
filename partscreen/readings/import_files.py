"""The door: files people bring to one batch. Bad content never raises; problems are collected, good parts go on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from partscreen.errors import NearNames, Problem, UnusableInput
from partscreen.readings.columns.column_map import ColumnMap, load_column_map
from partscreen.readings.columns.interpret import Interpreted, interpret
from partscreen.readings.columns.recognise import close_names, recognised_count
from partscreen.readings.columns.table_form import HeaderTest, RowTold, Table
from partscreen.readings.columns.understanding import FileUnderstanding
from partscreen.readings.forms.delimited import delimiter_name
from partscreen.readings.forms.sources import Opened, open_tables
from partscreen.readings.instruments.kit import Kit, load_kit
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.long_traces import average_long_traces
from partscreen.readings.rows.assemble import add_table
from partscreen.readings.rows.builder import Builder
from partscreen.readings.rows.file_draft import FileDraft
from partscreen.readings.rows.lot_files import file_names, files_not_given, lots_naming, part_of_file, problems_of_files
from partscreen.readings.rows.lot_sheet import LotSheet, load_lot_sheet, same_type, told_twice
from partscreen.readings.rows.markings import settle_markings
from partscreen.readings.rows.owners import close_draft, find_parts_in_two_lots
from partscreen.readings.saved_maps import known_maps, offer, watching
from partscreen.readings.tables import Batch, Lot, Sweep

FilePath = str | Path
Amend = Callable[[str, Table], Table]
"""Takes the hash of a file and one of its tables as read, gives the table as it is to be understood."""


@dataclass(frozen=True, slots=True)
class Import:
    """A batch and how each file was understood."""

    batch: Batch
    understanding: tuple[FileUnderstanding, ...]


def import_files(
    files: Iterable[FilePath],
    *,
    column_map: FilePath | ColumnMap | None = None,
    lot_sheet: FilePath | LotSheet | None = None,
    kit: FilePath | Kit | None = None,
    type_name: str | None = None,
    default_lots: Sequence[Lot] = (),
    amend: Amend | None = None,
) -> Batch:
    """Readings of all files as one batch.

    Parameters
    ----------
    files
        Delimited text, .xlsx, .ods, .json or .parquet, in long or wide form.
    column_map
        TOML that says what the columns are; only the columns it names are read then.
    lot_sheet
        CSV or .xlsx, one row a lot.
    kit
        The user's instruments; fills the standard uncertainties. Without it they stay NaN.
    type_name
        Type of every lot whose type nothing else says.
    default_lots
        Lots told one by one; they win over the sheet. A single one takes the files that name no lot.
    amend
        Puts cells right that were typed wrongly, before they are understood.

    Returns
    -------
    Batch
        With every problem in `problems` and, by file, in `inputs`. Nothing usable: a batch without parts.

    Raises
    ------
    Nothing for content. A map or a kit that cannot be used leaves no file readable and is a problem of the batch.
    """
    return read_files(
        files,
        column_map=column_map,
        lot_sheet=lot_sheet,
        kit=kit,
        type_name=type_name,
        default_lots=default_lots,
        amend=amend,
    ).batch


def read_files(
    files: Iterable[FilePath],
    *,
    column_map: FilePath | ColumnMap | None = None,
    lot_sheet: FilePath | LotSheet | None = None,
    kit: FilePath | Kit | None = None,
    type_name: str | None = None,
    default_lots: Sequence[Lot] = (),
    amend: Amend | None = None,
) -> Import:
    """As `import_files`, with the understanding of each file beside the batch."""
    builder = Builder(type_name=type_name)
    try:
        columns = load_column_map(column_map) if isinstance(column_map, (str, Path)) else column_map
        tools = load_kit(kit) if isinstance(kit, (str, Path)) else kit
    except UnusableInput as error:
        builder.problems += error.problems
        for _, name in _named(builder, list(map(Path, files))):
            builder.close_file(name, None, 0, [])
        return Import(builder.finish(), ())
    _take_lots(builder, lot_sheet, default_lots)
    understood: list[FileUnderstanding] = []
    drafts: list[FileDraft] = []
    seen: dict[str, str] = {}
    paths = list(map(Path, files))
    told = list(builder.lot_rows.values())
    saved = known_maps()
    builder.problems += [*problems_of_files(told), *files_not_given(told, [path.name for path in paths])]
    for path, name in _named(builder, paths):
        mine = columns.for_file(path.name) if columns is not None else None
        opened = _open(path, name, mine, seen, saved if mine is None else {})
        draft = _draft(builder, path, name, len(drafts), default_lots, list(opened.problems))
        draft.sha256 = opened.sha256
        first = len(understood)
        for table in opened.tables if amend is None else [amend(opened.sha256 or "", one) for one in opened.tables]:
            understood.append(_read_table(builder, draft, table, mine))
        unused = any(column.role is None for one in understood[first:] for column in one.columns)
        if unused or draft.problems:  # a file that is understood as a whole needs no map
            draft.notices += opened.notices
        close_draft(builder, draft)
        drafts.append(draft)
    _say_sittings(builder, drafts)
    two_lots = find_parts_in_two_lots(builder, drafts)
    markings = settle_markings(builder)
    for draft in drafts:
        problems = [
            replace(one, lot=draft.default_lot) if one.part is not None and one.lot is None else one
            for one in draft.problems + two_lots.get(draft.name, []) + markings.get(draft.name, [])
        ]
        builder.close_file(draft.name, draft.sha256, draft.rows, problems)
        builder.notices += [f"{draft.name}: {text}" for text in dict.fromkeys(draft.notices)]
    _say_lots(builder)
    batch = _say_output_alone(average_long_traces(builder.finish()))
    return Import(apply_kit(batch, tools) if tools is not None else batch, tuple(understood))


def _say_output_alone(batch: Batch) -> Batch:
    """Say what output curves without VBE can tell, for lots that have no other sweep."""
    points = batch.points
    lots = batch.part_lot[points.part]
    output = points.sweep == int(Sweep.OUTPUT)
    told = []
    for number in np.unique(lots[output]).tolist():
        mine = lots == number
        if output[mine].all() and np.isnan(points.vbe[mine]).all():
            told.append(
                f"lot {batch.lots[number].name}: output curves alone, without VBE: they tell the gain, its fall at "
                "high current and how parts differ; they do not tell the die area on its own, VBE or VCE(sat)"
            )
    return replace(batch, notices=(*batch.notices, *told)) if told else batch


def _named(builder: Builder, paths: list[Path]) -> list[tuple[Path, str]]:
    """Each file with the name messages give it: its own, with its folder where two files share it."""
    counts = Counter(path.name for path in paths)
    for name, count in counts.items():
        if count > 1:
            builder.notices.append(
                f"{count} files are named {name}: without a lot column they are one lot, {Path(name).stem}"
            )
    used: set[str] = set()
    named = []
    for path in paths:
        name = path.name if counts[path.name] == 1 else f"{path.parent.name}/{path.name}"
        while name in used:
            name = f"{name} (again)"
        used.add(name)
        named.append((path, name))
    return named


def _read_table(builder: Builder, draft: FileDraft, table: Table, columns: ColumnMap | None) -> FileUnderstanding:
    data = interpret(table, columns)
    before = len(draft.notices)
    draft.rows += data.n
    draft.sweeps, draft.n_parts = {}, 0
    if not data.n and not data.problems:
        what = "there is a header but no row below it"
        fix = "export the readings again; one row a reading below the header"
        draft.problems.append(Problem("NO_ROWS", what, fix, draft.name, table.header_row))
    add_table(builder, draft, data)
    understanding = _understanding(data, draft, draft.notices[before:])
    draft.notices += [f"left out {text}" for text in table.ignored]
    return understanding


def _open(path: Path, name: str, columns: ColumnMap | None, seen: dict[str, str], saved: Mapping[str, Path]) -> Opened:
    """The tables of a file; saved maps whose header it has are offered.

    A file whose content was read before under another name is not read again.
    """
    test: HeaderTest = columns.count if columns is not None and columns.headers else recognised_count
    test, met = watching(test, saved) if saved else (test, [])
    if columns is not None and columns.header_row:
        test = RowTold(columns.header_row, test)
    opened = open_tables(path, test, columns.delimiter if columns else "", name)
    opened.notices += offer(met)
    headless = not opened.tables and any(problem.code == "NO_HEADER" for problem in opened.problems)
    if columns is not None and headless and not columns.header_row:
        # None of the mapped headers is there: find the header by known names, so that the absent columns can be named.
        plain = open_tables(path, recognised_count, columns.delimiter, name)
        opened = plain if plain.tables else opened
    if opened.sha256 is None or not opened.tables:
        return opened
    twin = seen.setdefault(opened.sha256, name)
    if twin == name:
        return opened
    what = f"the file has the same content as {twin}; it was read once"
    return Opened([], opened.sha256, [Problem("SAME_FILE_TWICE", what, "give each file once", name)])


def _take_lots(builder: Builder, lot_sheet: FilePath | LotSheet | None, told: Sequence[Lot]) -> None:
    sheet = load_lot_sheet(lot_sheet) if isinstance(lot_sheet, (str, Path)) else lot_sheet
    if sheet is not None:
        builder.lot_rows.update(sheet.lots)
        builder.problems += sheet.problems
        builder.notices += sheet.notices
    given: dict[str, Lot] = {}
    for lot in told:
        if lot.name in given:
            given[lot.name], twice = told_twice(given[lot.name], lot.type, "is given by --lot twice")
            builder.problems.append(twice)
        else:
            given[lot.name] = lot
    for name, lot in given.items():
        before = builder.lot_rows.get(name)
        if before is not None and before.type and lot.type and not same_type(before.type, lot.type):
            builder.notices.append(f"lot {name}: the lot sheet says {before.type}, --lot says {lot.type}: --lot holds")
    builder.lot_rows.update(given)


def _draft(
    builder: Builder, path: Path, name: str, number: int, told: Sequence[Lot], problems: list[Problem]
) -> FileDraft:
    """The draft of a file, with the lot of its rows that name none: the one whose `files` name it, the only one told,
    else the file's stem."""
    named = lots_naming(path.name, list(builder.lot_rows.values()))
    draft = FileDraft(name, number, _default_lot(named, path, told), problems=problems)
    if len(named) == 1:
        draft.default_part = part_of_file(path.name, named[0])
        draft.sitting = file_names(named[0]).name_of_entry(path.name) or ""
    elif named:
        draft.claimed_by = tuple(lot.name for lot in named)
    return draft


def _say_sittings(builder: Builder, drafts: Sequence[FileDraft]) -> None:
    """Name the files of one part each that were taken as read in one session."""
    shared = Counter((draft.default_lot, draft.sitting) for draft in drafts if draft.shares_sitting)
    for (lot, entry), count in shared.items():
        if count > 1:
            builder.notices.append(
                f"lot {lot}: {count} files of one part each ({entry}) were taken as one session; a column session "
                "tells sittings apart"
            )


def _default_lot(named: Sequence[Lot], path: Path, told: Sequence[Lot]) -> str:
    if len(named) == 1:
        return named[0].name
    if len(told) == 1 and not told[0].extra.get("files"):
        return told[0].name
    return path.stem


def _say_lots(builder: Builder) -> None:
    if not builder.lot_rows:
        return
    names, near = list(builder.lot_rows), NearNames()
    for name in builder.lots:
        if name not in builder.lot_rows:
            close = close_names(name, names, near)
            hint = f"; close names: {', '.join(close)}" if close else ""
            builder.notices.append(f"lot {name} does not stand in the lot sheet{hint}")
    unread = [name for name in names if name not in builder.lots]
    if unread:
        builder.notices.append(f"no readings for lot(s) {', '.join(unread)} of the lot sheet")


def _understanding(data: Interpreted, draft: FileDraft, notices: list[str]) -> FileUnderstanding:
    table = data.table
    return FileUnderstanding(
        file=table.file,
        sheet=table.sheet,
        encoding=table.form or table.encoding,
        delimiter=delimiter_name(table.delimiter) if table.delimiter else "",
        decimal=data.decimal,
        header_row=table.header_row,
        unit_row=table.unit_row,
        rows=data.n,
        columns=data.columns,
        sweeps=dict(draft.sweeps),
        n_parts=draft.n_parts,
        ignored=list(table.ignored),
        notices=list(dict.fromkeys(notices)),
        header=list(table.header),
    )
