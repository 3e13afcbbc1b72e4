"""Column maps that a user saved, by the header they were saved for: offered in a notice, used only when asked for.

They lie in the user's own configuration folder, one TOML file a header, and go nowhere else.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from partscreen.errors import Problem, UnusableInput
from partscreen.readings.columns.recognise import recognised_count
from partscreen.readings.columns.table_form import HeaderTest
from partscreen.readings.forms.sources import open_tables
from partscreen.whole_files import write_whole

SAVED = "saved"
"""What `--columns` is given for the map that was saved for the header of the files."""


def maps_folder() -> Path:
    """Where saved maps lie; it need not exist."""
    import platformdirs

    return platformdirs.user_config_path("partscreen", appauthor=False) / "columns"


def header_key(cells: Sequence[str]) -> str:
    """A name for a header: its filled cells in their order."""
    filled = [cell.strip() for cell in cells if cell.strip()]
    return hashlib.sha256("\x1f".join(filled).encode("utf-8", "surrogatepass")).hexdigest()[:24] if filled else ""


def known_maps() -> dict[str, Path]:
    """Saved maps by the key of their header. A folder that cannot be read holds none."""
    try:
        return {path.stem: path for path in sorted(maps_folder().glob("*.toml"))}
    except OSError:
        return {}


@dataclass(frozen=True, slots=True)
class SavedMap:
    """A saved map. `key`: of its header; `title`: what the user calls it; `columns`: the header in words."""

    key: str
    title: str
    columns: str
    day: str
    text: str


def saved_maps() -> tuple[SavedMap, ...]:
    """All saved maps, by what they are called."""
    found = []
    for key, path in known_maps().items():
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            continue
        first, _, rest = text.partition("\n")
        columns = first.removeprefix("# for files with the columns: ")
        title = rest.partition("\n")[0].removeprefix(_CALLED) if rest.startswith(_CALLED) else ""
        found.append(SavedMap(key, title or columns[:60], columns, _day(path), text))
    return tuple(sorted(found, key=lambda one: one.title.casefold()))


def forget_map(key: str) -> None:
    """Take a saved map away."""
    path = known_maps().get(key)
    if path is not None:
        path.unlink(missing_ok=True)


_CALLED = "# called: "


def remember_map(text: str, header: Sequence[str], title: str = "") -> Path | None:
    """Keep the text of a map for files of this header; None: the folder cannot be written.

    One map a header: a newer one takes its place. `title`: what the user calls it; "" leaves the name it has.
    """
    key = header_key(header)
    if not key:
        return None
    path = maps_folder() / f"{key}.toml"
    names = ", ".join(cell.strip() for cell in header if cell.strip()).replace("\n", " ")
    title = title or next((one.title for one in saved_maps() if one.key == key and one.title != one.columns[:60]), "")
    called = f"{_CALLED}{' '.join(title.split())}\n" if title.strip() else ""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, f"# for files with the columns: {names}\n{called}{text}")
    except OSError:
        return None
    return path


def watching(test: HeaderTest, known: Mapping[str, Path]) -> tuple[HeaderTest, list[Path]]:
    """The test of header rows, which also collects the saved maps whose header it meets."""
    met: list[Path] = []

    def watch(cells: list[str]) -> int:
        path = known.get(header_key(cells))
        if path is not None and path not in met:
            met.append(path)
        return test(cells)

    return watch, met


def offer(met: Sequence[Path]) -> list[str]:
    """Notices that offer the saved maps met in a file."""
    return [f"a column map saved on {_day(path)} fits its header: --columns {SAVED} reads it so" for path in met]


def _day(path: Path) -> str:
    try:
        return datetime.date.fromtimestamp(path.stat().st_mtime).isoformat()
    except OSError:
        return "an unknown day"


def saved_map(files: Sequence[Path]) -> Path:
    """The one saved map that fits the headers of all files.

    Raises
    ------
    UnusableInput
        A file has a header for which no map was saved, or the files need several maps.
    """
    known = known_maps()
    problems: list[Problem] = []
    found: dict[Path, str] = {}
    for file in files:
        test, met = watching(recognised_count, known)
        opened = open_tables(file, test)
        missing = [problem for problem in opened.problems if problem.code in ("FILE_MISSING", "TOO_LARGE")]
        problems += missing
        if not met and not missing:
            fix = "write a map and save it with partscreen read FILE --columns MAP.toml --save-columns MAP.toml"
            problems.append(
                Problem("MAP_NOT_SAVED", "no column map was saved for a header of this file", fix, file.name)
            )
        for path in met:
            found.setdefault(path, file.name)
    if len(found) > 1:
        what = f"the files need {len(found)} different saved maps, first met in {' and '.join(found.values())}"
        problems.append(Problem("MAP_NOT_SAVED", what, "read them in separate runs, or give one map with --columns"))
    if problems:
        raise UnusableInput(problems)
    return next(iter(found))
