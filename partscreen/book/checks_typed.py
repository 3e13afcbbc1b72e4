"""What a person types: dates, pictures and texts are looked at before anything is written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from partscreen.errors import Problem, UnusableInput

_PICTURES: tuple[tuple[bytes, int, str], ...] = (
    (b"\x89PNG\r\n\x1a\n", 0, "image/png"),
    (b"\xff\xd8\xff", 0, "image/jpeg"),
    (b"GIF8", 0, "image/gif"),
    (b"BM", 0, "image/bmp"),
    (b"II*\x00", 0, "image/tiff"),
    (b"MM\x00*", 0, "image/tiff"),
    (b"WEBP", 8, "image/webp"),
    (b"ftypheic", 4, "image/heic"),
    (b"ftypmif1", 4, "image/heif"),
    (b"ftypavif", 4, "image/avif"),
)
LARGEST_PHOTO = 30_000_000
"""Bytes; a larger file is no photo of a bench (assumption), and the book would grow by every one of them."""


def picture_type(content: bytes) -> str | None:
    """Media type of a picture by its first bytes; None: no picture."""
    if content.startswith(b"BM") and len(content) < 26:
        return None
    return next((kind for mark, at, kind in _PICTURES if content[at : at + len(mark)] == mark), None)


def photo_problem(name: str, content: bytes) -> Problem | None:
    """What is wrong with a photo; None: nothing."""
    if picture_type(content) is None:
        fix = "give a PNG, JPEG, GIF, BMP, TIFF, WebP, HEIC or AVIF file; a text goes into the observation itself"
        return Problem("BOOK_NO_PICTURE", "the file is no picture", fix, name)
    if len(content) > LARGEST_PHOTO:
        what = f"the picture has {len(content) / 1e6:.0f} MB; the book takes {LARGEST_PHOTO / 1e6:.0f} MB at most"
        return Problem("BOOK_PICTURE_SIZE", what, "save it smaller", name)
    return None


def day_of(text: str | date | None, *, today: date | None = None, option: str = "--on") -> date:
    """A date a person gave; None: today.

    Raises
    ------
    UnusableInput
        No date, or one that lies ahead.
    """
    now = today or date.today()
    if text is None:
        return now
    try:
        day = text if isinstance(text, date) else date.fromisoformat(text.strip())
    except ValueError:
        fix = f"write year-month-day, say {now.isoformat()}"
        raise UnusableInput([Problem("BOOK_DATE", f"{text!r} is no date", fix, option)]) from None
    if day > now:
        fix = "give the day on which it happened; what lies ahead is not recorded"
        raise UnusableInput([Problem("BOOK_DATE_AHEAD", f"{day.isoformat()} lies in the future", fix, option)])
    return day


def required(texts: Mapping[str, str | None]) -> None:
    """Every one of these options is given and is not blank.

    Raises
    ------
    UnusableInput
        Those that are missing, all at once.
    """
    missing = [name for name, text in texts.items() if text is None or not text.strip()]
    if missing:
        raise UnusableInput(
            [Problem("BOOK_MISSING", f"{name} is missing or blank", f"add {name} TEXT", name) for name in missing]
        )


def raise_all(problems: Iterable[Problem | None]) -> None:
    """Raise every problem there is at once."""
    found = [one for one in problems if one is not None]
    if found:
        raise UnusableInput(found)
