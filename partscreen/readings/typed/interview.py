"""Questions one after the other, every answer checked and kept, so that a person may stop, go on and go back.

A questionnaire is a plain function that asks and builds. Going back, or going on after a stop, runs it again with the
answers kept so far.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Protocol, TypeVar

from partscreen.bounded_files import MAX_SETTING, parse_json, read_capped
from partscreen.errors import Problem, UnusableInput

T = TypeVar("T")
WAYS = "Enter takes what stands in brackets; back: the question before; stop: go on later; ?: what is meant."


class Asker(Protocol):
    """Where questions are shown and answered."""

    def ask(self, prompt: str) -> str | None:
        """One line; None: there are no more."""
        ...

    def say(self, text: str) -> None:
        """Show a line."""
        ...


class Stopped(Exception):
    """The person stopped; the answers are kept."""


class _Back(Exception):
    """One answer back."""


class AnswersKept:
    """Answers on disk beside the file that is to come, one a line: name of the question and what was typed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.answers: list[tuple[str, str]] = []
        try:
            lines = read_capped(path, MAX_SETTING).decode("utf-8").split("\n") if path.exists() else []
            for line in lines[:-1]:  # what follows the last end of line was cut off
                pair = parse_json(line)
                if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(one, str) for one in pair):
                    raise ValueError("a line is no pair of question and answer")
                self.answers.append((pair[0], pair[1]))
        except (OSError, ValueError) as error:
            fix = "put it right, or move it away to begin anew"
            raise UnusableInput([Problem("ANSWERS", f"cannot be read: {error}", fix, str(path))]) from error

    def keep(self, key: str, text: str) -> None:
        """Put an answer on disk."""
        self.answers.append((key, text))
        self._write("a", [(key, text)])

    def cut(self, count: int) -> None:
        """Keep the first `count` answers only."""
        del self.answers[count:]
        self._write("w", self.answers)

    def done(self) -> None:
        """The file they were for is written: they are not needed any more."""
        self.path.unlink(missing_ok=True)

    def _write(self, mode: str, answers: list[tuple[str, str]]) -> None:
        try:
            with open(self.path, mode, encoding="utf-8", newline="\n") as stream:
                stream.writelines(json.dumps(pair, ensure_ascii=False) + "\n" for pair in answers)
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as error:
            what = f"an answer could not be put on disk: {error.strerror or error}"
            fix = "name a folder that exists and may be written to, with --out"
            raise UnusableInput([Problem("NOT_WRITABLE", what, fix, str(self.path))]) from error


class Interview:
    """Asks what is not answered yet."""

    def __init__(self, asker: Asker, kept: AnswersKept) -> None:
        self._asker, self._kept, self._at = asker, kept, 0

    @property
    def replaying(self) -> bool:
        """Whether answers kept before are still being taken."""
        return self._at < len(self._kept.answers)

    def say(self, text: str) -> None:
        """A line between questions; not repeated while kept answers are taken."""
        if not self.replaying:
            self._asker.say(text)

    def ask(self, key: str, question: str, check: Callable[[str], T], default: str = "", meant: str = "") -> T:
        """The checked answer to a question.

        Parameters
        ----------
        key : name of the question; the same question keeps its name
        check : turns what was typed into the answer; a ValueError says what is wrong and how to answer
        default : taken for an empty line; "": there is none
        meant : shown for `?`
        """
        if self.replaying:
            known, text = self._kept.answers[self._at]
            try:
                if known != key:
                    raise ValueError("the questions have changed")
                value = check(text)
            except ValueError:
                self._kept.cut(self._at)
            else:
                self._at += 1
                return value
        prompt = f"{question} [{default}] " if default else f"{question} "
        while True:
            typed = self._asker.ask(prompt)
            if typed is None or typed.strip().casefold() == "stop":
                raise Stopped
            text = typed.strip() or default
            if text.casefold() == "back":
                raise _Back
            if text == "?":
                self._asker.say(f"  {meant or 'No more is known of this question.'}\n  {WAYS}")
                continue
            try:
                value = check(text)
            except ValueError as wrong:
                self._asker.say(f"! {wrong}")
                continue
            self._kept.keep(key, text)
            self._at += 1
            return value

    def back(self) -> None:
        """Forget the newest answer."""
        self._kept.cut(max(self._at - 1, 0))


def conduct(asker: Asker, kept: AnswersKept, questionnaire: Callable[[Interview], T]) -> T | None:
    """Run a questionnaire; None: the person stopped, and the answers wait."""
    if kept.answers:
        asker.say(f"Going on: {len(kept.answers)} answers were kept. Type back to see the last one again.")
    asker.say(WAYS)
    while True:
        interview = Interview(asker, kept)
        try:
            return questionnaire(interview)
        except _Back:
            interview.back()
        except Stopped:
            return None


def text_answer(text: str) -> str:
    """Any words, at least one."""
    if not text:
        raise ValueError("an answer is needed here; stop goes on later")
    return text


def yes_no(text: str) -> bool:
    """Yes or no."""
    word = text.casefold()
    if word in ("yes", "y", "true"):
        return True
    if word in ("no", "n", "false"):
        return False
    raise ValueError(f"{text!r}: answer yes or no")


def one_of(words: dict[str, str]) -> Callable[[str], str]:
    """One of a list, by its number or its word."""

    def check(text: str) -> str:
        names = list(words)
        word = text.casefold().rstrip(".")
        if word.isdecimal() and len(word) < 9 and 1 <= int(word) <= len(names):
            return names[int(word) - 1]
        found = [name for name in names if name.casefold() == word]
        if not found:
            raise ValueError(f"{text!r}: answer with a number from 1 to {len(names)}, or one of {', '.join(names)}")
        return found[0]

    return check


def optional(check: Callable[[str], T]) -> Callable[[str], T | None]:
    """The same, or `-` for not known."""
    return lambda text: None if text in ("-", "--", "–", "none", "no") else check(text)
