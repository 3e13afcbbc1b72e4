"""Photos that come in: whether they can be opened as pictures, within limits, before anything keeps them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from partscreen.errors import Problem

LARGEST_PHOTO = 12_000_000  # bytes; a camera's picture of a part has 2 to 8 MB (assumption)
MOST_PIXELS = 80_000_000  # a larger one is no photo of a bench, and takes its memory to open (assumption)
MOST_PHOTOS = 12  # of one observation (assumption)


def picture_problems(paths: Sequence[Path]) -> list[Problem]:
    """What is wrong with photos: too many, too large, or such that they cannot be opened to the end."""
    problems = [one for path in paths if (one := _problem(path)) is not None]
    if len(paths) > MOST_PHOTOS:
        what = f"{len(paths)} photos came in; {MOST_PHOTOS} are taken at once"
        problems.append(Problem("PAGE_PHOTOS", what, "send the others with a second observation", "Photos"))
    return problems


def _problem(path: Path) -> Problem | None:
    from PIL import Image

    size = path.stat().st_size
    if size > LARGEST_PHOTO:
        what = f"the photo has {size / 1e6:.0f} MB; up to {LARGEST_PHOTO / 1e6:.0f} MB are taken"
        return Problem("PAGE_PHOTO_SIZE", what, "save it smaller", path.name)
    try:
        with Image.open(path, formats=("JPEG", "PNG")) as picture:
            if picture.width * picture.height > MOST_PIXELS:
                what = f"the photo has {picture.width} x {picture.height} points"
                return Problem("PAGE_PHOTO_SIZE", what, "save it smaller", path.name)
            picture.draft(None, (picture.width // 8, picture.height // 8))  # a JPEG unpacks smaller
            picture.load()
    except Exception:  # whatever a damaged file makes of a decoder, it is no picture
        fix = "take it again, or save it as JPEG or PNG"
        return Problem("PAGE_FILE_CONTENT", "the picture cannot be opened to its end", fix, path.name)
    return None
