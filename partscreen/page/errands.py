"""Errands: what was asked of one workflow function, with what was typed and brought, and what came of it.

An errand runs in the worker process, keeps its files in a folder of its own and remembers every field, so that a form
that was refused comes back as it was typed.
"""

from __future__ import annotations

import secrets
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from partscreen.page.tasks import AskTask
from partscreen.page.work import Job, Worker

MOST_ERRANDS = 60  # kept at once; the oldest goes first (assumption: nobody needs the sixtieth paper back unnamed)


@dataclass(slots=True)
class Errand:
    """One errand. `kind`: which page it belongs to; `typed`: fields by name; `files`: what was brought, by field.

    `where`: its page; `given`: whatever its own page needs besides; `shown`: what a page made of its result.
    """

    id: str
    kind: str
    folder: Path
    where: str
    title: str = ""
    name: str = ""
    typed: dict[str, str] = field(default_factory=dict)
    files: dict[str, list[Path]] = field(default_factory=dict)
    given: dict[str, Any] = field(default_factory=dict)
    job: Job | None = None
    shown: Any = None

    @property
    def done(self) -> bool:
        """Whether it came back with something."""
        return self.job is not None and self.job.state == "done"

    def path(self, name: str) -> Path:
        """Where a file of it lies or will lie."""
        return self.folder / name


class Errands:
    """All errands of one run of the page."""

    def __init__(self, folder: Path, worker: Worker) -> None:
        self._folder, self._worker = folder, worker
        self._all: dict[str, Errand] = {}

    def new(self, kind: str, where: str, title: str = "") -> Errand:
        """An errand that has not begun; `where` holds `{id}` for its own name. The oldest one makes room."""
        while len(self._all) >= MOST_ERRANDS:
            self.forget(next(iter(self._all.values())))
        name = secrets.token_urlsafe(9)
        folder = self._folder / f"errand-{name}"
        folder.mkdir()
        errand = Errand(name, kind, folder, where.format(id=name), title)
        self._all[name] = errand
        return errand

    def begin(self, errand: Errand, function: str, *args: Any, words: str = "", **options: Any) -> Job:
        """Ask a workflow function in the worker."""
        errand.job = self._worker.submit("ask", AskTask(function, args, options, words or errand.title))
        return errand.job

    def find(self, name: str, kind: str | None = None) -> Errand | None:
        """The errand of a name, if it is there and of the kind."""
        found = self._all.get(name)
        return found if found is not None and kind in (None, found.kind) else None

    def done(self, kind: str) -> list[Errand]:
        """Those of a kind that came back, the newest first."""
        return [one for one in reversed(self._all.values()) if one.kind == kind and one.done]

    def forget(self, errand: Errand) -> None:
        """Take it and its files away."""
        if errand.job is not None and not errand.job.ended:
            self._worker.cancel(errand.job)
        self._all.pop(errand.id, None)
        shutil.rmtree(errand.folder, ignore_errors=True)

    def stop(self, errand: Errand) -> None:
        """End its work."""
        if errand.job is not None and not errand.job.ended:
            self._worker.cancel(errand.job)
