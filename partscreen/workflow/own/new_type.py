"""A type of one's own: a data sheet on paper copied into a reference file by answers to questions."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput

if TYPE_CHECKING:
    from partscreen.readings.typed.interview import Asker
    from partscreen.workflow.own.type_questions import TypeAnswers

_TYPE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]{1,23}$")


def describe_type(asker: Asker, type_number: str, out: Path | None = None) -> Path | None:
    """Ask for the figures of a sheet and write a reference file; None: the person stopped, the answers wait beside it.

    Parameters
    ----------
    asker : where questions are shown
    type_number : as printed in the sheet
    out : file to write; None: the type number in small letters with .toml

    Raises
    ------
    UnusableInput
        The type number cannot be one, the file is there already, or a place cannot be written to.
    """
    import tomllib

    from partscreen.readings.typed.interview import AnswersKept, conduct
    from partscreen.reference.validate import build
    from partscreen.workflow.own.kit import write_new
    from partscreen.workflow.own.type_questions import type_questionnaire

    if (problem := type_number_problem(type_number)) is not None:
        raise UnusableInput([problem])
    path = out or Path(f"{re.sub(r'[^a-z0-9]+', '_', type_number.lower())}.toml")
    if path.exists():
        fix = "name another file with --out, or move it away; nothing was changed"
        raise UnusableInput([Problem("FILE_EXISTS", "is there already", fix, str(path))])
    kept = AnswersKept(path.with_name(path.name + ".answers"))
    answers = conduct(asker, kept, lambda ask: type_questionnaire(ask, type_number))
    if answers is None:
        return None
    text = type_text(answers)
    _, problems = build(tomllib.loads(text), path.name)
    write_new(path, text)
    if problems:  # the answers stay, so that back and other answers can put it right
        raise UnusableInput(problems)
    kept.done()
    return path


def type_number_problem(type_number: str) -> Problem | None:
    """Why a text cannot be a type number; None: it can."""
    if _TYPE.match(type_number):
        return None
    fix = "write the type number of the sheet: letters and digits, as 2SC5200"
    return Problem("TYPE_NUMBER", f"{type_number!r} is no type number", fix, "--new")


def type_text(answers: TypeAnswers) -> str:
    """A reference file from answers."""
    from partscreen.workflow.own.kit import toml_value

    lines = ["# Copied by hand from the sheets named under [[sources]]; figures are SI magnitudes, temperatures degC."]
    for table, content in answers.data.items():
        for row in content if isinstance(content, list) else [content]:
            lines += ["", f"[[{table}]]" if isinstance(content, list) else f"[{table}]"]
            lines += [f"{key} = {toml_value(value)}" for key, value in row.items()]
    return "\n".join(lines) + "\n"
