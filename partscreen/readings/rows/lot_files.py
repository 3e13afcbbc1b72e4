"""The `files` entry of a lot: names, patterns and ranges such as `T0001-T0020`, which stand for one file a part."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from functools import lru_cache
from pathlib import PurePath

from partscreen.errors import Problem
from partscreen.readings.tables import Lot

_MOST_DIGITS = 18  # of a number in a name
LONGEST_RANGE = 2000  # files; a longer range is a slip of the pen (assumption)
_RANGE = re.compile(
    r"(?P<name>[^\d]*(?:\d+[^\d]+)*?)(?P<first>\d+)\s*(?:-|–|\.\.)\s*(?P=name)(?P<last>\d+)(?P<suffix>\.\w+)?"
)
_PIECES = re.compile(r"[;,\s]+")


@dataclass(frozen=True, slots=True)
class FileRange:
    """Files that are numbered through: `parts` are their names without suffix, which name the parts too."""

    text: str
    parts: tuple[str, ...]
    suffix: str = ""
    members: frozenset[str] = frozenset()

    def part_of(self, file: str) -> str | None:
        """The part a file holds, None: it is none of the range."""
        path = PurePath(file)
        if self.suffix and path.suffix.lower() != self.suffix.lower():
            return None
        return path.stem if path.stem in self.members else None


@dataclass(frozen=True, slots=True)
class FileNames:
    """What a lot says of its files: ranges, and names or patterns."""

    ranges: tuple[FileRange, ...] = ()
    patterns: tuple[str, ...] = ()

    def name_of_entry(self, file: str) -> str | None:
        """The range or pattern that names a file; None: none does."""
        for one in self.ranges:
            if file == one.text or one.part_of(file) is not None:
                return one.text
        return next((one for one in self.patterns if fnmatch(file, one) or PurePath(file).stem == one), None)


def file_names(lot: Lot) -> FileNames:
    """The files a lot names. Pieces that are no file names are left out; `problems_of_files` tells them."""
    return _names_in(lot.extra.get("files", ""))


@lru_cache(maxsize=1024)
def _names_in(text: str) -> FileNames:
    pieces = [piece for piece in _PIECES.split(text) if piece and "/" not in piece]
    ranges = [(piece, read_range(piece)) for piece in pieces]
    return FileNames(
        tuple(one for _, one in ranges if one is not None), tuple(piece for piece, one in ranges if one is None)
    )


def read_range(text: str) -> FileRange | None:
    """The files of `T0001-T0020` or `T1-T20.csv`; None: it is no range (`A1-02` is a name).

    Both ends carry the same letters; figures with zeros in front are of one length.
    """
    found = _RANGE.fullmatch(text)
    if found is None:
        return None
    first, last = found["first"], found["last"]
    if max(len(first), len(last)) > _MOST_DIGITS:
        return None
    padded = first.startswith("0") or last.startswith("0")
    if (padded and len(first) != len(last)) or not 0 <= int(last) - int(first) < LONGEST_RANGE:
        return None
    width = len(first) if padded else 0
    parts = tuple(f"{found['name']}{number:0{width}d}" for number in range(int(first), int(last) + 1))
    return FileRange(text, parts, found["suffix"] or "", frozenset(parts))


def problems_of_files(lots: Sequence[Lot]) -> Iterator[Problem]:
    """Pieces of `files` that name no file: folders, ranges that run backwards or too far."""
    for lot in lots:
        for piece in filter(None, _PIECES.split(lot.extra.get("files", ""))):
            found = _RANGE.fullmatch(piece)
            backwards = found is not None and found["name"] and read_range(piece) is None
            if "/" in piece or "\\" in piece:
                what = f"files of lot {lot.name}: {piece!r} names a folder"
                fix = "write names, patterns or ranges of files alone; the folder is given with the files"
                yield Problem("LOT_FILES", what, fix, column="files", lot=lot.name)
            elif backwards:
                what = f"files of lot {lot.name}: {piece!r} is no range that can be counted through"
                fix = f"write it upwards, with figures of one length, up to {LONGEST_RANGE} files: T0001-T0020"
                yield Problem("LOT_FILES", what, fix, column="files", lot=lot.name)


def files_not_given(lots: Sequence[Lot], given: Sequence[str]) -> Iterator[Problem]:
    """One problem for each file of a range that is not there, for lots of which some file was given."""
    stems = {PurePath(file).stem for file in given}
    for lot in lots:
        names = file_names(lot)
        if not any(names.name_of_entry(file) for file in given):
            continue
        for one in names.ranges:
            for part in one.parts:
                if part not in stems:
                    what = f"file {part}{one.suffix} of lot {lot.name} (files {one.text}) is not among the files given"
                    fix = "give the file too, or take it out of the range; the other files were read"
                    yield Problem("FILE_NOT_GIVEN", what, fix, f"{part}{one.suffix}", part=part, lot=lot.name)


def lots_naming(file: str, lots: Sequence[Lot]) -> list[Lot]:
    """The lots whose `files` name a file."""
    return [lot for lot in lots if file_names(lot).name_of_entry(file) is not None]


def part_of_file(file: str, lot: Lot) -> str | None:
    """The part a file of one part holds, where a range of the lot names it."""
    return next((part for one in file_names(lot).ranges if (part := one.part_of(file)) is not None), None)
