"""What lies on the desk while the page runs: files brought together (a tray), what was said of them, what came of it.

All of it lies in a folder of its own that is taken away when the page ends.
"""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen.errors import Problem
from partscreen.page.errands import Errands
from partscreen.page.settings import LARGEST_DESK, MOST_TRAYS
from partscreen.page.tasks import ReportTask, ScreenTask
from partscreen.page.work import Job, Worker
from partscreen.whole_files import kept_by_windows

if TYPE_CHECKING:
    from partscreen.workflow import ScreenOptions

READINGS = (".csv", ".txt", ".tsv", ".dat", ".asc", ".xlsx", ".xlsm", ".ods", ".json", ".parquet")
SHEETS = (".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".ods")
TOML = (".toml",)
PICTURES = (".jpg", ".jpeg", ".png")
_ZIPPED = (".xlsx", ".xlsm", ".ods")
_PICTURE_STARTS = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # JPEG and PNG
_LONGEST_NAME = 120  # characters of a file name kept on disk
_HOPELESS = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]')


@dataclass(slots=True)
class Tray:
    """Files brought together. `lots`, `kit`, `columns`: paths of lot sheet, kit and column map, where there are any.

    `references`: files of types of the user's own.
    """

    id: str
    folder: Path
    files: list[Path] = field(default_factory=list)
    lots: Path | None = None
    kit: Path | None = None
    columns: Path | None = None
    references: tuple[Path, ...] = ()
    map_base: str = ""  # the column map that holds for all files, as TOML
    map_of: dict[str, str] = field(default_factory=dict)  # sections of it that hold for one file, by its name
    numbers: dict[str, float] = field(default_factory=dict)
    record: bool = False
    understanding: Job | None = None
    screening: Job | None = None
    report: Job | None = None
    shown: Any = None  # the lots of the result, ready for pages

    @property
    def names(self) -> str:
        """The files by name."""
        return ", ".join(path.name for path in self.files)

    def options(self) -> ScreenOptions:
        """What was set for these files."""
        from partscreen.workflow import ScreenOptions

        return ScreenOptions(
            lots=self.lots, kit=self.kit, columns=self.columns, references=self.references, **self.numbers,  # type: ignore[arg-type]
        )  # fmt: skip

    @property
    def jobs(self) -> tuple[Job, ...]:
        """All work begun for it."""
        return tuple(job for job in (self.understanding, self.screening, self.report) if job is not None)


class Desk:
    """All trays of one run of the page, and the worker."""

    def __init__(self) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="partscreen-page-", ignore_cleanup_errors=True)
        self.trays: dict[str, Tray] = {}
        self.worker = Worker()
        self.errands = Errands(Path(self._folder.name), self.worker)
        self.written: dict[str, Any] = {}  # what forms of the bench book wrote, by the name each form came with
        self.form_token = secrets.token_urlsafe(24)

    def new_tray(self) -> Tray:
        """An empty tray; the oldest ones make room."""
        while len(self.trays) >= MOST_TRAYS or (len(self.trays) > 1 and self._size() > LARGEST_DESK):
            self.forget(next(iter(self.trays.values())))
        name = secrets.token_urlsafe(9)
        folder = Path(self._folder.name) / name
        folder.mkdir()
        tray = Tray(name, folder)
        self.trays[name] = tray
        return tray

    def _size(self) -> int:
        return sum(path.stat().st_size for path in Path(self._folder.name).rglob("*") if path.is_file())

    def read_again(self, tray: Tray) -> Job:
        """Begin to understand the files anew; what was judged before is dropped."""
        self.stop(tray)
        tray.screening = tray.report = tray.shown = None
        tray.understanding = self.worker.submit("understand", ScreenTask(tuple(tray.files), tray.options()))
        return tray.understanding

    def judge(self, tray: Tray, book: str | None) -> Job:
        """Begin to judge the parts of a tray."""
        self.stop(tray)
        tray.report = tray.shown = None
        task = ScreenTask(tuple(tray.files), tray.options(), tray.record, book)
        tray.screening = self.worker.submit("screen", task)
        return tray.screening

    def draw_report(self, tray: Tray) -> Job:
        """Begin to write the report of a result."""
        assert tray.screening is not None
        folder = tray.folder / "report"
        title = f"Screening of {tray.names}"[:200]
        tray.report = self.worker.submit("report", ReportTask(tray.screening.result, folder, title))
        return tray.report

    def stop(self, tray: Tray) -> None:
        """End whatever runs for a tray."""
        for job in tray.jobs:
            if not job.ended:
                self.worker.cancel(job)

    def forget(self, tray: Tray) -> None:
        """Take a tray and its files away."""
        self.stop(tray)
        self.trays.pop(tray.id, None)
        shutil.rmtree(tray.folder, ignore_errors=True)

    def close(self) -> None:
        """End the work and take every file away."""
        self.worker.close()
        self._folder.cleanup()


def safe_name(name: str) -> str:
    """A file name of a visitor without what a file system would obey; never empty, never a path."""
    kept = _HOPELESS.sub("_", name).strip(" .")[-_LONGEST_NAME:].lstrip(" .")
    return f"_{kept}" if kept_by_windows(kept) else kept or "file"


def refuse_kind(name: str, first: bytes, size: int, allowed: tuple[str, ...], largest: int) -> Problem | None:
    """Why an upload is not taken: its suffix, its size, or bytes that are not what its suffix says; None: it is."""
    suffix = Path(name).suffix.lower()
    if suffix not in allowed:
        fix = f"bring one of: {', '.join(allowed)}"
        return Problem("PAGE_FILE_KIND", "this kind of file is not read here", fix, name)
    if size > largest:
        what = f"it has {size / 1e6:.0f} MB; up to {largest / 1e6:.0f} MB are taken here"
        return Problem("PAGE_FILE_SIZE", what, "split it, or judge it with `partscreen screen`", name)
    if size == 0:
        return Problem("PAGE_FILE_EMPTY", "the file is empty", "export the readings again", name)
    if suffix in PICTURES:
        fix = "take it again, or save it as JPEG or PNG"
        picture = first.startswith(_PICTURE_STARTS)
        return None if picture else Problem("PAGE_FILE_CONTENT", "the file is no JPEG or PNG picture", fix, name)
    zipped, utf16 = first.startswith(b"PK"), first[:2] in (b"\xff\xfe", b"\xfe\xff")
    if suffix in _ZIPPED and not zipped:
        fix = "open it in a spreadsheet program and save it again, or export it as CSV"
        return Problem("PAGE_FILE_CONTENT", "its name says workbook, its content does not", fix, name)
    if suffix not in (*_ZIPPED, ".parquet") and (zipped or (b"\x00" in first and not utf16)):
        return Problem("PAGE_FILE_CONTENT", "its name says text, its content does not", "export it as text", name)
    return None
