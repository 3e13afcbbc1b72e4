"""Kits and types made by questions in the user's folder, one answer at a time; the questions are the commands'."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.own.files import is_stem, lying_in, named_problems, own_folder, own_place, stem_of

if TYPE_CHECKING:
    from partscreen.readings.typed.interview import AnswersKept, Interview, Question, Standing

Making = Literal["kits", "types"]


@dataclass(frozen=True, slots=True)
class Asked:
    """Where the questions of one file stand. `question` None: all are answered, and `text` is the file to be written.

    `title`: what it is of; `answered`: (question, answer) in order; `said`: lines before the question; `wrong`: why the
    answer just given cannot be, `tried` the answer; `gone`: later answers that no longer fitted a changed one;
    `problems`: what is still wrong with the file as a whole.
    """

    stem: str
    title: str
    question: Question | None
    answered: tuple[tuple[Question, str], ...] = ()
    said: tuple[str, ...] = ()
    wrong: str = ""
    tried: str = ""
    gone: int = 0
    text: str = ""
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Begun:
    """Questions that were begun and wait. `answers`: how many are answered."""

    stem: str
    title: str
    answers: int


def begin_questions(making: Making, title: str, root: Path | None = None) -> str:
    """Begin, or go on with, the questions about a kit or a type; the name of its file.

    `title`: what the kit is called, or the type number as printed.

    Raises
    ------
    UnusableInput
        It cannot be called so, a file of that name is there already, or the folder cannot be written to.
    """
    from partscreen.readings.typed.interview import AnswersKept
    from partscreen.workflow.own.new_type import type_number_problem

    stem = stem_of(title)
    path = own_folder(making, root) / f"{stem}.toml"
    problem = type_number_problem(title) if making == "types" else None
    if making == "kits" and not title:
        problem = Problem("KIT_NAME", "the kit has no name", "write what you call this bench", "name")
    if problem is not None:
        raise UnusableInput([replace(problem, file="type number" if making == "types" else "name")])
    if path.exists():
        fix = "choose another name, or take the one that is there away; nothing was changed"
        raise UnusableInput([Problem("FILE_EXISTS", "is there already", fix, path.name)])
    if _title_file(path).exists() and (before := _title_file(path).read_text(encoding="utf-8")) != title:
        fix = f"go on with {before!r}, or choose a name that differs in its letters and digits"
        raise UnusableInput(
            [Problem("FILE_EXISTS", f"questions about {before!r} wait under this name", fix, path.name)]
        )
    if not _title_file(path).exists():
        _write(_title_file(path), title)
        if making == "kits":  # its first question
            AnswersKept(path.with_name(path.name + ".answers")).put([("name", title)])
    return stem


def questions_begun(making: Making, root: Path | None = None) -> tuple[Begun, ...]:
    """Questions that wait for more answers."""
    found = []
    for about in lying_in(making, "*.toml.about", root):
        path = about.with_suffix("")
        kept = path.with_name(path.name + ".answers")
        lines = kept.read_text(encoding="utf-8").count("\n") if kept.exists() else 0
        found.append(Begun(path.stem, about.read_text(encoding="utf-8"), lines))
    return tuple(found)


def ask_on(
    making: Making, stem: str, text: str | None = None, *, place: int | None = None, seen: int | None = None,
    root: Path | None = None, today: date | None = None,
) -> Asked:  # fmt: skip
    """Answer the open question, or the one at a place anew, and say where the questions stand.

    Parameters
    ----------
    text : the answer, "" for what stands in brackets; None: only say
    place : of an earlier answer that is to be another
    seen : answers there were when the form was shown; another count means another window went on, and nothing is taken

    Raises
    ------
    UnusableInput
        No such questions were begun, or the answers cannot be read or written.
    """
    from partscreen.readings.typed.interview import answer_once, change_answer

    _, title, kept = _open(making, stem, root)
    questionnaire = _questionnaire(making, title, today or date.today())
    if text is not None and seen is not None and seen != len(kept.answers):
        found = _told(making, stem, title, answer_once(kept, questionnaire))
        return replace(found, wrong="another window went on meanwhile; look at the question again", tried=text)
    if text is not None and place is not None:
        wrong, gone = change_answer(kept, questionnaire, place, text)
        return replace(_told(making, stem, title, answer_once(kept, questionnaire)), wrong=wrong, tried=text, gone=gone)
    found = _told(making, stem, title, answer_once(kept, questionnaire, text))
    return replace(found, tried=text if found.wrong and text else "")


def write_asked(making: Making, stem: str, *, root: Path | None = None, today: date | None = None) -> Path:
    """Write the file all questions of which are answered.

    Raises
    ------
    UnusableInput
        A question is open, or the file cannot be used as a whole; the answers are kept then.
    """
    from partscreen.workflow.own.kit import write_new

    path, _, kept = _open(making, stem, root)
    found = ask_on(making, stem, root=root, today=today)
    if found.question is not None:
        fix = f"answer it: {found.question.words}"
        raise UnusableInput([Problem("QUESTION_OPEN", "a question is not answered yet", fix, found.title)])
    if found.problems:
        raise UnusableInput(found.problems)
    write_new(path, found.text)
    kept.done()
    _title_file(path).unlink(missing_ok=True)
    return path


def drop_questions(making: Making, stem: str, root: Path | None = None) -> None:
    """Forget the answers about a kit or a type."""
    path, _, kept = _open(making, stem, root)
    kept.done()
    _title_file(path).unlink(missing_ok=True)


def _title_file(path: Path) -> Path:
    return path.with_name(path.name + ".about")


def _open(making: Making, stem: str, root: Path | None) -> tuple[Path, str, AnswersKept]:
    from partscreen.readings.typed.interview import AnswersKept

    path = own_place(making, root) / f"{stem}.toml"
    if not is_stem(stem) or not _title_file(path).is_file():
        fix = "begin them, or look whether the file is made already"
        raise UnusableInput([Problem("NO_QUESTIONS", "no questions were begun under this name", fix, stem)])
    title = _title_file(path).read_text(encoding="utf-8")
    return path, title, AnswersKept(path.with_name(path.name + ".answers"))


def _questionnaire(making: Making, title: str, today: date) -> Callable[[Interview], Any]:
    from partscreen.workflow.own.kit_questions import kit_questionnaire
    from partscreen.workflow.own.type_questions import type_questionnaire

    if making == "kits":
        return lambda ask: kit_questionnaire(ask, today)
    return lambda ask: type_questionnaire(ask, title)


def _told(making: Making, stem: str, title: str, at: Standing[Any]) -> Asked:
    said = at.said if at.question is None or not at.question.choices else ()  # choices are shown as such
    if at.question is not None or at.result is None:
        return Asked(stem, title, at.question, at.answered, said, at.wrong)
    text, problems = _file_of(making, at.result, f"{stem}.toml")
    return Asked(stem, title, None, at.answered, text=text, problems=problems)


def _file_of(making: Making, answers: Any, name: str) -> tuple[str, tuple[Problem, ...]]:
    """The file that answers make, and what is wrong with it as a whole."""
    from partscreen.readings.instruments.kit import kit_from
    from partscreen.reference.validate import build
    from partscreen.workflow.own.kit import kit_text
    from partscreen.workflow.own.new_type import type_text

    text = kit_text(answers) if making == "kits" else type_text(answers)
    problems: Sequence[Problem] = ()
    if making == "types":
        _, problems = build(tomllib.loads(text), name)
    else:
        try:
            kit_from(tomllib.loads(text), Path(name))
        except UnusableInput as error:
            problems = error.problems
    return text, named_problems(problems, name)


def _write(path: Path, text: str) -> None:
    try:
        write_whole(path, text)
    except OSError as error:
        raise not_writable(error, path.name, "make room on the disk", what="cannot be written") from error
