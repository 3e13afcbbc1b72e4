"""Readings typed by hand, a line a part: kept as they come, answered at once, judged as a lot at the end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from partscreen.workflow.options import Outcome, ScreenOptions
from partscreen.workflow.settings import kelvin
from partscreen.workflow.typed.opening import OpenSitting, TypeInOptions, open_sitting

if TYPE_CHECKING:
    from partscreen.readings.typed.columns import TypedColumn
    from partscreen.workflow.typed.answers import Answers, PartAnswer

SOON = 0.05  # s; an answer that is there by then is shown before the next prompt, a later one above it
_MARK = {"accept": "[=] accept", "hold": "[?] hold", "reject": "[x] reject", None: "[-] not usable"}


class Terminal(Protocol):
    """Where lines come from and go to. `live`: a person sits in front of it."""

    live: bool

    def ask(self, prompt: str) -> str | None:
        """One line; None: there are no more."""
        ...

    def say(self, text: str) -> None:
        """Show a line now."""
        ...

    def post(self, text: str) -> None:
        """Show a line above the prompt, whoever is typing."""
        ...

    def count_down(self, seconds: float, why: str) -> None:
        """Wait, showing the seconds; Enter ends it."""
        ...


def type_readings(options: TypeInOptions, terminal: Terminal) -> Outcome | None:
    """Have the readings of a lot typed in, and judge it.

    Parameters
    ----------
    options : TypeInOptions
    terminal : where lines are typed

    Returns
    -------
    Outcome of the whole lot; None: nothing was typed.

    Raises
    ------
    UnusableInput
        A setting cannot be used, the file belongs to something else, or the disk refuses a line; what was confirmed
        before is kept.
    """
    from partscreen.workflow.typed.answers import Answers

    with open_sitting(options) as opened:
        seen = _LastAnswer(terminal)
        answers = Answers(
            options.type_name, opened.library, opened.kit, kelvin(options.temperature_c), seen.show,
            _warm_up(opened.columns),
        )  # fmt: skip
        answers.start()
        for line in (*opened.notices, *opened.went_on, *opened.sitting.heading()):
            terminal.say(line)
        _converse(opened, answers, seen, terminal)
        answers.wait(60.0)
        answers.stop()
    return judge_typed(opened)


def _converse(opened: OpenSitting, answers: Answers, seen: _LastAnswer, terminal: Terminal) -> None:
    """Prompt after prompt until the end."""
    sitting, settle, waited = opened.sitting, opened.options.settle, ""
    while True:
        if settle and terminal.live and not sitting.asks and sitting.prompt not in ("", waited):
            waited = sitting.prompt
            terminal.count_down(settle, f"{waited.rstrip(' =')}: let it settle")
        text = terminal.ask(sitting.prompt)
        if text is None:
            if sitting.asks:
                terminal.say("The question was not answered: this line is not kept.")
            return
        reply = opened.take(text)
        for line in reply.say:
            terminal.say(line)
        if reply.kept is not None and not reply.kept.control:
            answers.ask(reply.kept.part, opened.texts(reply.kept))
            answers.wait(SOON if terminal.live else 60.0)
        if reply.settle is not None:
            if reply.settle < 0.0:
                terminal.count_down(settle or 5.0, "let it settle")
            else:
                settle = reply.settle
        if reply.more:
            answers.wait(10.0)
            for line in seen.all_words():
                terminal.say(line)
        if reply.end:
            return


class _LastAnswer:
    """Shows answers as they come and keeps the last one for `more`."""

    def __init__(self, terminal: Terminal) -> None:
        self._terminal = terminal
        self._last: PartAnswer | None = None

    def show(self, answer: PartAnswer) -> None:
        """In one line, or two."""
        self._last = answer
        lines = [f"{_MARK[answer.disposition]}  {answer.part}: {answer.first}"]
        if answer.following:
            lines.append(f"    next: {answer.following}   (more: the whole answer)")
        self._terminal.post("\n".join(lines))

    def all_words(self) -> list[str]:
        """Everything said of the last part."""
        if self._last is None:
            return ["No part is answered yet."]
        head = f"{_MARK[self._last.disposition]}  {self._last.part}, taken alone"
        return [head, *(f"  {line}" for line in self._last.words)]


def _warm_up(columns: Sequence[TypedColumn]) -> list[str]:
    """A middling reading of each kind, so that the whole engine is loaded before the first part."""
    value = {"c_be": 2e-9, "c_cb": 2e-10, "hfe": 80.0, "vbe": 0.65, "vce_sat": 0.2}
    return [one.text(value[one.quantity]) for one in columns if one.quantity in value]


def judge_typed(opened: OpenSitting) -> Outcome | None:
    """The lot of a sitting, judged as a whole; None: no part is in."""
    from partscreen.workflow.judge.screening import screen_files

    options = opened.options
    if not any(not entry.skipped and not entry.control for entry in opened.sitting.entries):
        return None
    chosen = ScreenOptions(
        type_name=options.type_name, kit=options.kit, references=options.references, temperature_c=options.temperature_c
    )
    return screen_files([options.out], chosen, figures=False)
