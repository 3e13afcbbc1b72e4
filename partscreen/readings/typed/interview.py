"""Questions one after the other, every answer checked and kept, so that a person may stop, go on and go back.

A questionnaire is a plain function that asks and builds. Going back, or going on after a stop, runs it again with the
answers kept so far.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, Protocol, TypeVar

from partscreen.bounded_files import MAX_SETTING, parse_json, read_capped
from partscreen.errors import Problem, UnusableInput, not_writable

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


@dataclass(frozen=True, slots=True)
class Question:
    """A question as it is asked. `default`: what an empty answer takes, "": nothing. `choices`: (answer, words) where
    only these can be given."""

    key: str
    words: str
    default: str = ""
    meant: str = ""
    choices: tuple[tuple[str, str], ...] = ()


class AnswersHeld:
    """Answers in memory: name of each question and what was typed."""

    def __init__(self, answers: Sequence[tuple[str, str]] = ()) -> None:
        self.answers: list[tuple[str, str]] = list(answers)

    def keep(self, key: str, text: str) -> None:
        """Take an answer down."""
        self.answers.append((key, text))

    def cut(self, count: int) -> None:
        """Keep the first `count` answers only."""
        del self.answers[count:]


class AnswersKept(AnswersHeld):
    """Answers on disk beside the file that is to come, one a line."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path
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
        super().keep(key, text)
        self._write("a", [(key, text)])

    def cut(self, count: int) -> None:
        """Keep the first `count` answers only."""
        super().cut(count)
        self._write("w", self.answers)

    def put(self, answers: Sequence[tuple[str, str]]) -> None:
        """Take these answers in place of those there were."""
        self.answers = list(answers)
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
            raise not_writable(
                error,
                self.path,
                "name a folder that exists and may be written to, with --out",
                what="an answer could not be put on disk",
            ) from error


class Interview:
    """Asks what is not answered yet."""

    def __init__(self, asker: Asker, kept: AnswersHeld) -> None:
        self._asker, self._kept, self._at = asker, kept, 0
        self.answered: list[tuple[Question, str]] = []
        self.open: Question | None = None

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
        self.open = Question(key, question.strip(), default, meant, choices_of(check))
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
                self.answered.append((self.open, text))
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
            self.answered.append((self.open, text))
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


@dataclass(frozen=True, slots=True)
class Standing(Generic[T]):
    """Where a questionnaire stands. `result`: all is answered; else `question` is open. `said`: before it; `wrong`: of
    the answer that was just tried."""

    result: T | None
    question: Question | None
    answered: tuple[tuple[Question, str], ...]
    said: tuple[str, ...] = ()
    wrong: str = ""


class _OneAnswer:
    """Gives one answer, then none; takes down what is said."""

    def __init__(self, text: str | None) -> None:
        self._text, self.said = text, list[str]()

    def ask(self, prompt: str) -> str | None:
        text, self._text = self._text, None
        if text is not None:
            self.said.clear()  # what stood before the question that is answered now
        return text

    def say(self, text: str) -> None:
        self.said.append(text)


def answer_once(kept: AnswersHeld, questionnaire: Callable[[Interview], T], text: str | None = None) -> Standing[T]:
    """Answer the open question and stop at the next; without a text, say where the questionnaire stands."""
    asker = _OneAnswer(text)
    while True:
        interview = Interview(asker, kept)
        try:
            result = questionnaire(interview)
        except _Back:
            interview.back()
        except Stopped:
            wrong = [line.removeprefix("! ") for line in asker.said if line.startswith("! ")]
            said = tuple(line for line in asker.said if not line.startswith("! "))
            return Standing(None, interview.open, tuple(interview.answered), said, " ".join(wrong))
        else:
            return Standing(result, None, tuple(interview.answered))


def change_answer(kept: AnswersKept, questionnaire: Callable[[Interview], T], place: int, text: str) -> tuple[str, int]:
    """Answer a question that was answered before anew; (why it cannot be, later answers that no longer fit and went).

    Later answers stay as far as the questions are still asked and the answers still hold.
    """
    if not 0 <= place < len(kept.answers):
        return "there is no such answer", 0
    tried = AnswersHeld(kept.answers[:place])
    found = answer_once(tried, questionnaire, text)
    if len(tried.answers) != place + 1:
        return found.wrong or "this is no answer", 0
    before = len(kept.answers)
    kept.put([*tried.answers, *kept.answers[place + 1 :]])
    answer_once(kept, questionnaire)
    return "", before - len(kept.answers)


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


@dataclass(frozen=True, slots=True)
class OneOf:
    """One of a list, by its number or its word."""

    words: dict[str, str]

    def __call__(self, text: str) -> str:
        """The word."""
        names = list(self.words)
        word = text.casefold().rstrip(".")
        if word.isdigit() and 1 <= int(word) <= len(names):
            return names[int(word) - 1]
        found = [name for name in names if name.casefold() == word]
        if not found:
            raise ValueError(f"{text!r}: answer with a number from 1 to {len(names)}, or one of {', '.join(names)}")
        return found[0]


@dataclass(frozen=True, slots=True)
class OrUnknown(Generic[T]):
    """The same, or `-` for not known."""

    check: Callable[[str], T]

    def __call__(self, text: str) -> T | None:
        """What the check makes of it; None: not known."""
        return None if text in ("-", "--", "–", "none", "no") else self.check(text)


def one_of(words: dict[str, str]) -> OneOf:
    """A check that takes one of these."""
    return OneOf(words)


def optional(check: Callable[[str], T]) -> OrUnknown[T]:
    """A check that takes what another takes, or `-`."""
    return OrUnknown(check)


def choices_of(check: object) -> tuple[tuple[str, str], ...]:
    """(answer, words) where a check takes only some answers; empty where it takes more."""
    if isinstance(check, OneOf):
        return tuple(check.words.items())
    if isinstance(check, OrUnknown) and isinstance(check.check, OneOf):
        return (*check.check.words.items(), ("-", "none of these"))
    return (("yes", ""), ("no", "")) if check is yes_no else ()
