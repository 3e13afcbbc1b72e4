"""Photos for a paper: checked, turned upright, made smaller, and without what a camera writes beside the picture."""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from partscreen.errors import Problem, UnusableInput

LARGEST_FILE = 50_000_000  # bytes (assumption: more than any telephone's photo)
LARGEST_SIDE = 20_000  # pixels of a side of what is opened
SIDE = 1400  # pixels of the longer side on paper: 85 mm at 420 dots an inch
_KINDS = ("JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF")


@dataclass(frozen=True, slots=True)
class Photo:
    """`content`: a JPEG without place, time and camera. `sha256`: of the file as it was brought."""

    name: str
    content: bytes
    sha256: str


def load_photos(paths: Sequence[Path]) -> list[Photo]:
    """Read photos.

    Raises
    ------
    UnusableInput
        A file is missing or no picture; every problem at once.
    """
    photos: list[Photo] = []
    problems: list[Problem] = []
    for path in paths:
        try:
            photos.append(_load(path))
        except UnusableInput as error:
            problems += error.problems
    if problems:
        raise UnusableInput(problems)
    return photos


def _load(path: Path) -> Photo:
    from PIL import Image, ImageOps, UnidentifiedImageError

    def fail(what: str, fix: str) -> UnusableInput:
        return UnusableInput([Problem("PHOTO", what, fix, path.name)])

    try:
        size = path.stat().st_size
        content = path.read_bytes() if size <= LARGEST_FILE else b""
    except OSError as error:
        raise fail(f"cannot be read ({error.strerror})", "check the path after --photo") from None
    if size > LARGEST_FILE:
        raise fail(f"has {size} bytes, at most {LARGEST_FILE} are read", "make it smaller")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # sizes are looked at here
            with Image.open(io.BytesIO(content), formats=_KINDS) as picture:
                if max(picture.size) > LARGEST_SIDE:
                    raise fail(f"is {picture.size[0]} x {picture.size[1]} pixels", "make it smaller")
                upright = ImageOps.exif_transpose(picture).convert("RGB")
    except UnusableInput:
        raise
    except UnidentifiedImageError:
        raise fail("is no picture", "give a JPEG or PNG file") from None
    except (Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        raise fail(f"is no picture that can be read ({error})"[:160], "give a JPEG or PNG file") from None
    upright.thumbnail((SIDE, SIDE))
    sink = io.BytesIO()
    upright.save(sink, "JPEG", quality=88)
    return Photo(path.name, sink.getvalue(), hashlib.sha256(content).hexdigest())
