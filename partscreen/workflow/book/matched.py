"""Sets of parts that go together, from a result of `match`, into the bench book."""

from __future__ import annotations

import hashlib
from pathlib import Path

from partscreen.errors import Problem, UnusableInput
from partscreen.results.book import Recorded
from partscreen.results.matching import MatchedPart
from partscreen.workflow.book.common import opened, write
from partscreen.workflow.saved import read_matching


def record_matches(
    result: Path, *, name: str | None = None, supplier: str | None = None, where: str | None = None
) -> Recorded:
    """Keep the sets of a `match --json` result: every part with its place and the others of its set.

    Parameters
    ----------
    name : of the sets, with their numbers behind it; None: the name of the file
    supplier : where two sold lots of one name

    Raises
    ------
    UnusableInput
        The file is no result of `match`, or one of its parts is not in the book; every problem at once.
    """
    from partscreen.book.entries import MatchKept
    from partscreen.book.places import PartRef, find_part
    from partscreen.book.store import Draft

    matching, content = read_matching(result)
    digest = hashlib.sha256(content).hexdigest()
    drafts: list[Draft] = []
    problems: list[Problem] = []
    with opened(where) as (book, facts):
        for number, one in enumerate(matching.sets, 1):
            found: list[tuple[MatchedPart, PartRef]] = []
            for place in one.places:
                try:
                    found.append((place, find_part(facts, place.part, place.lot, supplier)))
                except UnusableInput as error:
                    problems += error.problems
            figures: dict[str, float | None] = {
                "hfe_difference_percent": one.hfe_difference_percent,
                "vbe_difference_mv": one.vbe_difference_mv,
            }
            for place, ref in found:
                beside = [(other.supplier, other.lot, other.part) for _, other in found if other != ref]
                kept = MatchKept(
                    **ref.placed,
                    set=f"{name or result.stem} {number}",
                    position=place.position,
                    beside=beside,
                    figures=figures,
                    content_key=f"{digest} {name or ''} {number} {place.position}",
                )
                drafts.append(Draft("match", kept.body()))
        if problems:
            raise UnusableInput(problems)
        if not drafts:
            raise UnusableInput(
                [Problem("BOOK_NO_MATCH", "holds no set", "look at why nothing was matched in it", result.name)]
            )
        return write(book, drafts)
