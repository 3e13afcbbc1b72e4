"""Sittings of typed readings that are kept in the user's folder: begun, gone on with, and ended as files to judge."""

from __future__ import annotations

import json
import secrets
import shutil
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.own.files import lying_in, own_folder, own_place, stem_of
from partscreen.workflow.typed.live_sitting import LiveSitting, LotTold
from partscreen.workflow.typed.opening import TypeInOptions, name_problems, open_sitting

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot

_ABOUT, _TABLE = "sitting.json", "readings.csv"


@dataclass(frozen=True, slots=True)
class KeptSitting:
    """A sitting on disk. `parts`: lines that stand; `last`: day and time of the newest, as kept."""

    name: str
    lot: str
    type_name: str
    parts: int
    last: str
    problems: tuple[Problem, ...] = ()


def begin_sitting(told: LotTold, root: Path | None = None) -> str:
    """Begin a sitting in the user's folder; its name.

    Raises
    ------
    UnusableInput
        Every setting that cannot be used; nothing is left behind then.
    """
    if not told.lot or not told.type_name:
        fix = "write what the bag is called, and the type number as marked on the parts"
        raise UnusableInput([Problem("LOT_NAME", "lot and type are needed before the first line", fix, "lot, type")])
    problems = name_problems(told.lot, told.control)
    if problems:
        raise UnusableInput(problems)
    name = f"{stem_of(told.lot)}-{date.today():%Y%m%d}-{secrets.token_hex(3)}"
    folder = own_folder("typed", root) / name
    folder.mkdir()
    try:
        kit = _copied(told.kit, folder) if told.kit else None
        references = tuple(_copied(path, folder) for path in told.references)
        options = _options(told, folder, kit, references)
        with open_sitting(options) as opened:
            headers = [one.header for one in opened.columns]
        about: dict[str, Any] = {**asdict(told), "ask": headers, "kit": kit.name if kit else None}
        about["references"] = [path.name for path in references]
        write_whole(folder / _ABOUT, json.dumps(about, ensure_ascii=False, indent=1))
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return name


def _copied(path: Path, folder: Path) -> Path:
    """A file beside the sitting: it goes on with what it was begun with."""
    place = folder / path.name
    number = 1
    while place.exists():
        number += 1
        place = folder / f"{number}-{path.name}"
    return Path(shutil.copyfile(path, place))


def _options(told: LotTold, folder: Path, kit: Path | None, references: Sequence[Path]) -> TypeInOptions:
    return TypeInOptions(
        lot=told.lot, type_name=told.type_name, out=folder / _TABLE, kit=kit, ask=told.ask, count=told.count,
        start=told.start, control=told.control, settle=told.settle, temperature_c=told.temperature_c,
        references=tuple(references),
    )  # fmt: skip


def sitting_names(root: Path | None = None) -> tuple[str, ...]:
    """Names of all sittings in the user's folder, the newest first."""
    folders = [path.parent for path in lying_in("typed", f"*/{_ABOUT}", root)]
    return tuple(path.name for path in sorted(folders, key=_touched, reverse=True))


def _touched(folder: Path) -> float:
    journal = folder / f"{_TABLE}.journal"
    return (journal if journal.exists() else folder / _ABOUT).stat().st_mtime


def kept_sittings(root: Path | None = None) -> tuple[KeptSitting, ...]:
    """All sittings in the user's folder, the newest first."""
    from partscreen.readings.typed.journal import standing_in

    found = []
    for name in sitting_names(root):
        folder = own_place("typed", root) / name
        try:
            about = _read(folder)
            lines = standing_in(folder / f"{_TABLE}.journal")
            last = lines[-1].at if lines else ""
            found.append(KeptSitting(name, about.lot, about.type_name, sum(not e.skipped for e in lines), last))
        except UnusableInput as error:
            found.append(KeptSitting(name, name, "", 0, "", tuple(error.problems)))
    return tuple(found)


def _read(folder: Path) -> LotTold:
    try:
        data = json.loads((folder / _ABOUT).read_text(encoding="utf-8"))
        data["kit"] = folder / data["kit"] if data["kit"] else None
        data["references"] = tuple(folder / name for name in data["references"])
        data["ask"] = tuple(data["ask"])
        return LotTold(**data)
    except (OSError, ValueError, KeyError, TypeError) as error:
        fix = "put the file right, or take the folder away; the journal beside it holds the lines"
        raise UnusableInput([Problem("JOURNAL", f"cannot be read: {error}", fix, str(folder / _ABOUT))]) from error


def resume_sitting(name: str, root: Path | None = None) -> LiveSitting:
    """Open a sitting of the user's folder.

    Raises
    ------
    UnusableInput
        It is not there, cannot be read, or another program holds it.
    """
    if name not in sitting_names(root):
        fix = "look at the list of sittings; one that was taken away is gone"
        raise UnusableInput([Problem("NO_SITTING", "there is no such sitting", fix, name)])
    folder = own_place("typed", root) / name
    about = _read(folder)
    opened = open_sitting(_options(about, folder, about.kit, about.references))
    return LiveSitting(name, folder, about, opened, about.settle)


def drop_sitting(name: str, root: Path | None = None) -> None:
    """Take a sitting away with all its lines."""
    if name in sitting_names(root):
        shutil.rmtree(own_place("typed", root) / name, ignore_errors=True)


@dataclass(frozen=True, slots=True)
class TypedFiles:
    """The files of an ended sitting, copied so that later lines do not alter them."""

    files: tuple[Path, ...]
    lots: Path
    kit: Path | None
    references: tuple[Path, ...]
    temperature_c: float | None


def files_of_sitting(live: LiveSitting, folder: Path) -> TypedFiles:
    """Copy what was typed, with a lot sheet of what was told, into a folder, ready to be understood and judged.

    Raises
    ------
    UnusableInput
        No part is in, or the place cannot be written to.
    """
    from partscreen.readings.tables import Lot
    from partscreen.workflow.files.understand import write_lots

    if not any(not entry.skipped and not entry.control for entry in live.opened.sitting.entries):
        fix = "type the line of one part at least"
        raise UnusableInput([Problem("NO_READING", "no part is in yet", fix, f"lot {live.about.lot}")])
    told = live.about
    try:
        table = Path(shutil.copyfile(live.opened.options.out, folder / f"{told.lot}.csv"))
        kit = _copied(told.kit, folder) if told.kit else None
        references = tuple(_copied(path, folder) for path in told.references)
    except OSError as error:
        raise not_writable(error, folder, "make room on the disk", what="cannot be written") from error
    lot = Lot(
        told.lot, told.type_name, told.supplier or None, told.maker or None, told.gain_group or None, told.known_good,
        told.count,
    )  # fmt: skip
    return TypedFiles((table,), write_lots([lot], {}, folder / "lots.csv"), kit, references, told.temperature_c)


def lots_to_type(sheet: Path) -> tuple[tuple[Lot, ...], tuple[Problem, ...], tuple[str, ...]]:
    """The lots of a lot sheet, to choose which one is typed; its problems and notices. Never raises for content."""
    from partscreen.readings.rows.lot_sheet import load_lot_sheet

    found = load_lot_sheet(sheet)
    return tuple(found.lots.values()), tuple(found.problems), tuple(found.notices)
