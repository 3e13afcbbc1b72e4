"""The answer about each typed part, by the engine of `check`, worked out while the next part is laid in."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Kit
    from partscreen.reference import Library
    from partscreen.results import PartResult


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """The answer about one part: disposition, the sentence that matters most, what to read next; all words of it."""

    part: str
    disposition: str | None
    first: str
    following: str
    words: tuple[str, ...]


@dataclass(slots=True)
class Answers:
    """A worker beside the prompt. `ready` is called from it with each answer; `warm_up` readings are answered first, so
    that the engine is loaded by the time the first line is typed."""

    type_name: str
    library: Library
    kit: Kit | None
    temperature: float | None
    ready: Callable[[PartAnswer], None]
    warm_up: Sequence[str] = ()
    _asked: queue.Queue[tuple[str, Sequence[str]] | None] = field(default_factory=queue.Queue)
    _idle: threading.Condition = field(default_factory=threading.Condition)
    _open: int = 0
    _thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to load the engine."""
        self._thread = threading.Thread(target=self._work, name="answers", daemon=True)
        self._thread.start()

    def ask(self, part: str, texts: Sequence[str]) -> None:
        """Have a part answered."""
        with self._idle:
            self._open += 1
        self._asked.put((part, texts))

    def wait(self, seconds: float | None = None) -> bool:
        """Wait until all parts asked about are answered; False: not within the time."""
        with self._idle:
            return self._idle.wait_for(lambda: self._open == 0, seconds)

    def stop(self) -> None:
        """End the worker after what was asked so far."""
        self._asked.put(None)

    def _work(self) -> None:
        if self.warm_up:
            self._answer("", self.warm_up)
        while (job := self._asked.get()) is not None:
            try:
                self.ready(self._answer(*job))
            finally:
                with self._idle:
                    self._open -= 1
                    self._idle.notify_all()

    def _answer(self, part: str, texts: Sequence[str]) -> PartAnswer:
        return _answer(part, self.type_name, texts, self.library, self.kit, self.temperature)


def answer_typed(
    part: str,
    type_name: str,
    texts: Sequence[str],
    *,
    kit: Path | None = None,
    references: Sequence[Path] = (),
    temperature_c: float | None = None,
) -> PartAnswer:
    """The answer about one typed part, taken alone, as `type-in` gives it. `texts`: its readings as `check` takes them.

    Raises
    ------
    UnusableInput
        Kit, reference files or temperature cannot be used. Readings never raise: the answer says why there is none.
    """
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.workflow.settings import kelvin, load_library

    tools = load_kit(kit) if kit is not None else None
    return _answer(part, type_name, texts, load_library(references), tools, kelvin(temperature_c))


def _answer(
    part: str, type_name: str, texts: Sequence[str], library: Library, kit: Kit | None, temperature: float | None
) -> PartAnswer:
    try:
        from partscreen.screening.single import check_readings

        found = check_readings(type_name, texts, library, kit, temperature=temperature)
    except Exception as error:  # the prompt must live on: the line is kept, and the whole lot is judged at the end
        return PartAnswer(part, None, f"no answer: {error}", "", (str(error),))
    (result,) = found.lots[0].parts
    return PartAnswer(part, result.disposition, _first(result, found.words), _next(result), found.words)


def _first(result: PartResult, words: Sequence[str]) -> str:
    """Why a part is rejected; of any other what its readings say so far."""
    if result.disposition == "reject" and result.reasons:
        return result.reasons[0].sentence
    return words[0] if words else ""


def _next(result: PartResult) -> str:
    step = result.next_measurement
    return step.reading if step is not None and result.disposition == "hold" else ""
