"""Forms of the bench book: what each is called, and the workflow function that writes what was typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput
from partscreen.page.posting import number_of

if TYPE_CHECKING:
    from partscreen.results.book import Recorded
    from partscreen.workflow import Asked, Signed

Typed = Mapping[str, str]
Writer = Callable[[Typed, Sequence[Path], "str | None"], "Recorded"]
_PLAIN = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
READINGS = "bias "
"""Begin of the name of a field that holds the reading of a place."""


@dataclass(frozen=True, slots=True)
class BookForm:
    """A form. `photos`: pictures come along; `kept`: fields that the next form of the kind begins with."""

    title: str
    write: Writer
    words: str = ""
    photos: bool = False
    kept: tuple[str, ...] = field(default=())


def whole(told: str, name: str) -> int:
    """A whole number as typed.

    Raises
    ------
    UnusableInput
        It is none.
    """
    try:
        return int(told.strip())
    except ValueError:
        fix = "write a whole number"
        raise UnusableInput([Problem("PAGE_NUMBER", f"{told!r} is no whole number", fix, name)]) from None


def whole_of(asked: Mapping[str, str], name: str, otherwise: int) -> int:
    """A whole number of a query, not below 0; where it was left empty the other.

    Raises
    ------
    UnusableInput
        It is none.
    """
    found = whole(asked[name], name) if asked.get(name) else otherwise
    if found < 0:
        raise UnusableInput([Problem("PAGE_NUMBER", f"{found} is below 0", "write 0 or more", name)])
    return found


def _some(typed: Typed, name: str) -> str | None:
    return typed.get(name, "").strip() or None


def _asked(typed: Typed) -> Asked:
    from partscreen.workflow import Asked

    return Asked(*(_some(typed, key) for key in ("part", "lot", "supplier", "type", "job", "position")))


def _signed(typed: Typed) -> Signed:
    from partscreen.workflow import Signed

    return Signed(_some(typed, "by"), _some(typed, "on"))


def _needed(typed: Typed, names: Mapping[str, str]) -> None:
    """Fields without which nothing can be written.

    Raises
    ------
    UnusableInput
        Those that are empty, all at once.
    """
    missing = [words for name, words in names.items() if not _some(typed, name)]
    if missing:
        raise UnusableInput([Problem("PAGE_FIELD", "this is empty", "fill it in", words) for words in missing])


def fitted(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A part is soldered in."""
    from partscreen.workflow import record_fitted

    _needed(typed, {"part": "Part", "job": "Job", "position": "Position"})
    return record_fitted(
        _asked({**typed, "job": ""}), typed["job"], typed["position"], channel=_some(typed, "channel"),
        signed=_signed(typed), where=book,
    )  # fmt: skip


def bias(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """Bias readings at sign-off; a plain figure takes the unit chosen beside it."""
    from partscreen.workflow import record_bias

    _needed(typed, {"job": "Job"})
    told = {name.removeprefix(READINGS): text for name, text in typed.items() if name.startswith(READINGS) and text}
    if not told:
        raise UnusableInput([Problem("PAGE_FIELD", "no reading was typed", "type one or more", "Readings")])
    unit = typed.get("unit") or ""
    readings = [
        f"{place}={text} {unit}" if _PLAIN.fullmatch(text) else f"{place}={text}" for place, text in told.items()
    ]
    return record_bias(
        typed["job"], readings, resistor=_some(typed, "resistor"), ambient=_number(typed, "ambient"),
        minutes=_number(typed, "minutes"), signed=_signed(typed), where=book,
    )  # fmt: skip


def _number(typed: Typed, name: str) -> float | None:
    told = _some(typed, name)
    return number_of(told, name) if told else None


def outcome(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """What became of a part, of the parts of a job, or of a returned lot."""
    from partscreen.workflow import record_outcome

    _needed(typed, {"what": "What became of it"})
    days = _some(typed, "days")
    return record_outcome(
        typed["what"], _asked(typed), days=whole(days, "days") if days else None, cause=_some(typed, "cause"),
        note=_some(typed, "note"), signed=_signed(typed), where=book,
    )  # fmt: skip


def observation(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """What somebody saw, with photos."""
    from partscreen.workflow import record_observation

    return record_observation(_asked(typed), typed.get("text", ""), photos, signed=_signed(typed), where=book)


def override(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A person decides otherwise than the readings."""
    from partscreen.workflow import record_override

    _needed(typed, {"to": "Decision"})
    return record_override(
        _asked(typed), typed["to"], reason=typed.get("reason"), signed=_signed(typed), where=book
    )  # fmt: skip


def approval(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A second person's word on an override."""
    from partscreen.workflow import record_approval

    _needed(typed, {"entry": "Entry of the override", "agrees": "Your word"})
    return record_approval(
        whole(typed["entry"], "entry"), agrees=typed["agrees"] == "yes", note=_some(typed, "note"),
        signed=_signed(typed), where=book,
    )  # fmt: skip


def quarantine(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A part or a lot is set aside, or released."""
    from partscreen.workflow import record_quarantine

    return record_quarantine(
        _asked(typed), _some(typed, "place"), release=typed.get("do") == "release", reason=_some(typed, "reason"),
        signed=_signed(typed), where=book,
    )  # fmt: skip


def stress(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """Something that may have changed a part."""
    from partscreen.workflow import record_stress

    _needed(typed, {"what": "What happened to it", "part": "Part"})
    figures = {"current": _some(typed, "current"), "volts": _some(typed, "volts"), "seconds": _some(typed, "seconds")}
    survived = {"yes": True, "no": False}.get(typed.get("survived", ""))
    return record_stress(
        typed["what"], _asked(typed), figures, survived=survived, note=_some(typed, "note"), signed=_signed(typed),
        where=book,
    )  # fmt: skip


def kit_check(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """The instruments were checked against something known."""
    from partscreen.workflow import record_kit_check

    _needed(typed, {"kit": "Instruments", "good": "Did they read right?"})
    return record_kit_check(
        typed["kit"], good=typed["good"] == "yes", note=_some(typed, "note"), signed=_signed(typed), where=book
    )  # fmt: skip


def reading(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A cell of a raw file put right."""
    from partscreen.workflow import correct_reading

    _needed(typed, {"file": "File", "row": "Row", "column": "Column", "value": "What should stand there"})
    return correct_reading(
        typed["file"], whole(typed["row"], "row"), typed["column"], typed["value"], sheet=_some(typed, "sheet"),
        reason=typed.get("reason"), signed=_signed(typed), where=book,
    )  # fmt: skip


def erase(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """A photo's content is taken out for good."""
    from partscreen.workflow import erase_photo

    _needed(typed, {"photo": "Photo"})
    return erase_photo(typed["photo"], typed.get("why"), book)


def entry(typed: Typed, photos: Sequence[Path], book: str | None) -> Recorded:
    """An entry that somebody typed is put right: the fields that differ from what the form showed."""
    from partscreen.workflow import correct_entry

    _needed(typed, {"entry": "Entry"})
    before = {name.removeprefix("was "): text for name, text in typed.items() if name.startswith("was ")}
    changes = [
        f"{name}={typed.get(f'now {name}', was)}"
        for name, was in before.items()
        if typed.get(f"now {name}", was) != was
    ]
    return correct_entry(
        whole(typed["entry"], "entry"), changes, reason=typed.get("reason"), signed=_signed(typed), where=book
    )  # fmt: skip


FORMS: dict[str, BookForm] = {
    "fitted": BookForm(
        "A part is fitted",
        fitted,
        "It is soldered in: into which job, and where it sits. The first part of a job opens it.",
        kept=("job", "channel", "by", "on"),
    ),
    "bias": BookForm(
        "Bias at sign-off",
        bias,
        "The voltage across each emitter resistor, after the warm-up.",
        kept=("job", "by", "on"),
    ),
    "outcome": BookForm(
        "What became of it",
        outcome,
        "Of one part, of every part that still sits in a job, or of a lot that went back.",
        kept=("job", "by", "on"),
    ),
    "observe": BookForm(
        "Something was seen",
        observation,
        "On a part, a lot or a job: ink that comes off, a scratched tab, a burnt resistor.",
        photos=True,
        kept=("part", "lot", "supplier", "job", "by", "on"),
    ),
    "override": BookForm(
        "A person decides otherwise",
        override,
        "The readings said one thing, and you have a reason for another. Both stay to be seen, with your name.",
        kept=("lot", "supplier", "by"),
    ),
    "approve": BookForm("A second person's word", approval, "Somebody else looked at an override.", kept=("by",)),
    "quarantine": BookForm(
        "Set aside, or released",
        quarantine,
        "A part or a whole lot is kept away from the others, in a place with a name.",
        kept=("lot", "supplier", "by"),
    ),
    "stress": BookForm(
        "Something that may have changed a part",
        stress,
        "It is written down that it happened. This page does not ask you to do it.",
        kept=("lot", "supplier", "by"),
    ),
    "kit-check": BookForm("The instruments were checked", kit_check, "Against something known.", kept=("by",)),
    "reading": BookForm(
        "A reading was typed wrongly",
        reading,
        "The file stays as it is; the correction stands beside it. Judge the lot again afterwards.",
        kept=("file", "by"),
    ),
    "erase-photo": BookForm(
        "Take a photo out for good",
        erase,
        "Its content is gone afterwards. That it was there, and why it went, stays. Copies made before still hold it.",
    ),
    "correct": BookForm("Put an entry right", entry, "The old entry stays to be seen.", kept=("by",)),
}
