"""A watched folder: files of readings are judged as they come, each content once, results next to them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.options import Outcome, ScreenOptions

SUFFIXES = frozenset((".csv", ".tsv", ".txt", ".dat", ".xlsx", ".xlsm", ".ods", ".json", ".parquet"))
OUTPUTS = (".result.json", ".report.html", ".parts.csv")
POLL = 2.0
"""Seconds between two looks; a file whose size and time stay the same from one look to the next is complete
(assumption: no program that still writes rests so long)."""

Judge = Callable[[Path], Outcome]
Rest = Callable[[float], bool]
"""Waits so many seconds; True: end now."""


@dataclass(frozen=True, slots=True)
class Watched:
    """One file that was looked at: its outcome and what was written, or why it could not be judged."""

    file: Path
    outcome: Outcome | None = None
    written: tuple[Path, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(slots=True)
class _State:
    last: dict[Path, tuple[int, int]] = field(default_factory=dict)
    done: dict[Path, tuple[int, int]] = field(default_factory=dict)


def watch_folder(
    folder: Path,
    options: ScreenOptions,
    tell: Callable[[Watched], None],
    rest: Rest,
    *,
    judge: Judge | None = None,
    poll: float = POLL,
    brief: bool = False,
    stock: Path | None = None,
    record_in: str | None = None,
) -> int:
    """Judge every file of readings in a folder, those there and those that come, until `rest` says to end.

    Next to `a.csv` come `a.csv.result.json`, `a.csv.report.html` and `a.csv.parts.csv`. A file whose content stands in
    its result already is not judged again; changed content is, and its result is numbered. Returns how many were
    judged.

    Parameters
    ----------
    tell : gets every file that was looked at; `rest` : waits, and says whether to end
    judge : screens one file; None: `screen_files` with `options`
    stock : stock table that gets the rows of every file
    record_in : bench book to keep every run in ("" for the default one); None: nowhere

    Raises
    ------
    UnusableInput
        The folder is not there, or a setting cannot be used.
    """
    if not folder.is_dir():
        fix = "name a folder that exists"
        raise UnusableInput([Problem("NO_FOLDER", f"there is no folder {folder}", fix, "--watch")])
    asked = judge or _judge(options, record_in)
    settings = {p.resolve() for p in (options.lots, options.kit, options.columns, options.spreads, stock) if p}
    settings |= {path.resolve() for path in options.references}
    state, judged = _State(), 0
    while True:
        for path in _complete(folder, settings, state):
            found = _one(path, asked, brief=brief, stock=stock)
            if found is not None:
                judged += found.outcome is not None
                tell(found)
            if rest(0.0):
                return judged
        if rest(poll):
            return judged


def _judge(options: ScreenOptions, record_in: str | None) -> Judge:
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.workflow.book.record import keep_screening
    from partscreen.workflow.judge.screening import screen_files
    from partscreen.workflow.settings import load_library

    load_library(options.references)  # what cannot be used at all is told before the first file comes
    if options.kit is not None:
        load_kit(options.kit)

    def judge(path: Path) -> Outcome:
        outcome = screen_files([path], options)
        return outcome if record_in is None else keep_screening(outcome, [path], options, record_in or None)

    return judge


def _complete(folder: Path, settings: set[Path], state: _State) -> Iterator[Path]:
    """Files whose size and time have not changed since the last look, and that were not judged as they are."""
    now: dict[Path, tuple[int, int]] = {}
    for path in sorted(folder.iterdir()):
        if not _readings(path) or path.resolve() in settings:
            continue
        try:
            seen = path.stat()
        except OSError:  # gone again
            continue
        now[path] = (seen.st_size, seen.st_mtime_ns)
    ready = [p for p, is_ in now.items() if is_[0] and state.last.get(p) == is_ and state.done.get(p) != is_]
    state.last = now
    for path in ready:
        state.done[path] = now[path]
        yield path


def _readings(path: Path) -> bool:
    """A file of readings by its name; not hidden, no lock file, and no result of ours."""
    name = path.name
    if name.startswith((".", "~$")) or path.suffix.lower() not in SUFFIXES or not path.is_file():
        return False
    return not any(name.endswith(end) for end in OUTPUTS)


def _one(path: Path, judge: Judge, *, brief: bool, stock: Path | None) -> Watched | None:
    """Judge one file; None: its content was judged before."""
    try:
        sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        why = Problem("FILE_MISSING", f"it cannot be read ({error.strerror})", "bring it again", path.name)
        return Watched(path, problems=(why,))
    stem, known = _place(path, sha256)
    if known:
        return None
    try:
        outcome = judge(path)
        return Watched(path, outcome, _write(outcome, stem, brief=brief, stock=stock))
    except UnusableInput as error:
        return Watched(path, problems=error.problems)
    except Exception as error:  # one file must not end the watch
        fix = "please report it with the file; the other files go on"
        return Watched(path, problems=(Problem("CRASH", f"a fault of partscreen: {error!r}", fix, path.name),))


def _place(path: Path, sha256: str) -> tuple[Path, bool]:
    """Beginning of the names of the results, numbered where an older content has some; whether this content has."""
    number = 1
    while True:
        stem = path if number == 1 else path.with_name(f"{path.name}.{number}")
        result = Path(f"{stem}.result.json")
        if not result.exists():
            return stem, False
        if sha256 in _hashes(result):
            return stem, True
        number += 1


def _hashes(result: Path) -> set[str]:
    try:
        told = json.loads(result.read_text(encoding="utf-8"))
        return {one["sha256"] for one in told["inputs"]}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _write(outcome: Outcome, stem: Path, *, brief: bool, stock: Path | None) -> tuple[Path, ...]:
    """Results under their own names only once they are whole: the result, which says that the file is done, last."""
    from partscreen.report.html import render_report
    from partscreen.report.table import write_table
    from partscreen.workflow.judge.goods_in import write_stock_table

    written = []
    try:
        if outcome.report is not None:
            page = render_report(outcome.screening, outcome.report, title="Screening of power transistors")
            written.append(_whole(Path(f"{stem}.report.html"), page))
        table = Path(f"{stem}.parts.csv")
        write_table(outcome.screening, table)
        if stock is not None:
            written.append(write_stock_table(outcome, stock, append=True))
        result = _whole(Path(f"{stem}.result.json"), outcome.json_text(brief=brief))
    except OSError as error:
        raise not_writable(
            error,
            stem,
            "the folder must be writable; the file is judged again when the watch starts anew",
            what="the results cannot be written",
        ) from error
    return (*written, table, result)


def _whole(path: Path, text: str) -> Path:
    return write_whole(path, text)
