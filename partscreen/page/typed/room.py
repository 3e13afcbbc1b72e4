"""Sittings that are open on the page: what was said last, and the answer about each part from the worker."""

from __future__ import annotations

import threading
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.page.tasks import AskTask
from partscreen.page.work import Job, Worker

if TYPE_CHECKING:
    from partscreen.readings.typed.journal import Entry
    from partscreen.workflow.typed.answers import PartAnswer
    from partscreen.workflow.typed.live_sitting import LiveSitting, Told

WORDS = {"accept": "accept", "hold": "hold", "reject": "reject", None: "no answer"}


@dataclass(slots=True)
class OpenHere:
    """A sitting with the lines sent so far. `said`: of the newest line; `again`: a line that is to be put right."""

    live: LiveSitting
    worker: Worker
    said: list[str] = field(default_factory=list)
    again: str = ""
    more: bool = False
    answers: dict[str, tuple[Entry, Job]] = field(default_factory=dict)

    def heard(self, told: Told) -> None:
        """Take note of what came of a line, and have its part answered."""
        self.said, self.again = told.say, told.again
        self.more = bool(told.reply and told.reply.more)
        if told.reply is not None and told.reply.settle is not None:
            seconds = told.reply.settle
            every = f"Let each part settle for {seconds:g} s before you read it."
            once = "Let this part settle before you read it."
            self.said = told.say if seconds == 0.0 else [every if seconds > 0.0 else once]
        if told.kept is not None and not told.kept.control:
            self.ask(told.kept)

    def ask(self, entry: Entry) -> None:
        """Have the worker answer about a part."""
        about = self.live.about
        options = {"kit": about.kit, "references": about.references, "temperature_c": about.temperature_c}
        given = (entry.part, about.type_name, self.live.opened.texts(entry))
        words = "answering about a part"
        self.answers[entry.part] = (entry, self.worker.submit("ask", AskTask("answer_typed", given, options, words)))

    def end(self) -> None:
        """Answers that were not begun are not needed any more: the whole lot is judged."""
        for _, job in self.answers.values():
            if job.state == "waiting":
                self.worker.cancel(job)

    def job(self, entry: Entry) -> Job | None:
        """The work on the answer about a line as it stands; None: none was begun, or it was about an older line."""
        found = self.answers.get(entry.part)
        return found[1] if found is not None and found[0].values == entry.values else None

    def answer(self, entry: Entry) -> PartAnswer | None:
        """The answer about a line as it stands; None: not there yet."""
        job = self.job(entry)
        return job.result if job is not None and job.state == "done" else None

    @property
    def newest(self) -> Entry | None:
        """The newest line of a part, in time."""
        from partscreen.readings.typed.journal import standing

        _, newest = standing(self.live.opened.journal.events)
        return newest if newest is not None and not newest.skipped and not newest.control else None


class TypingRoom:
    """All sittings that are open on this page."""

    def __init__(self, root: Path | None, worker: Worker) -> None:
        self._root, self._worker = root, worker
        self._open: dict[str, OpenHere] = {}
        self._lock = threading.Lock()

    def open(self, name: str) -> OpenHere:
        """The sitting of a name; opened from disk when it is not open yet.

        Raises
        ------
        UnusableInput
            It is not there, cannot be read, or another program holds it.
        """
        from partscreen.workflow import resume_sitting

        with self._lock:
            if name in self._open:
                return self._open[name]
            live = resume_sitting(name, self._root)
            here = OpenHere(live, self._worker, list(live.opened.went_on) if live.opened.sitting.entries else [])
            if (told := live.ask_again()) is not None:
                here.heard(told)
            elif (newest := here.newest) is not None:
                here.ask(newest)
            self._open[name] = here
            return here

    def close(self, name: str) -> None:
        """Let go of a sitting; it stays on disk."""
        with self._lock:
            here = self._open.pop(name, None)
            if here is not None:
                with suppress(OSError):  # a full disk refuses what the buffer still holds; it was not confirmed
                    here.live.close()

    def close_all(self) -> None:
        """Let go of all."""
        for name in list(self._open):
            self.close(name)
