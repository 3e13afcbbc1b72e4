"""The library of reference types: found by name or by what is printed on the part, parsed only when asked for.

`Library.load()` reads the packaged `reference_curves/`; files given besides (`--reference FILE.toml`) take precedence.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from partscreen.bounded_files import load_toml
from partscreen.errors import Problem, UnusableInput
from partscreen.reference.models import ReferenceType
from partscreen.reference.prints import Resolution, resolve

NOT_TYPES = frozenset({"spreads.toml"})
"""TOML files of the folder that hold something other than a type."""


def packaged_directory() -> Path:
    """The folder of packaged types: inside the wheel, else beside the checkout's package.

    Raises
    ------
    UnusableInput
        Neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "reference_curves", package.parent / "reference_curves"):
        if folder.is_dir():
            return folder
    raise UnusableInput(
        [
            Problem(
                "NO_LIBRARY",
                "the folder reference_curves is missing",
                "install partscreen again, or name a folder",
                str(package),
            )
        ]
    )


@dataclass(slots=True)
class Library:
    """Types by type number. Files are parsed on first use and kept."""

    files: dict[str, Path]
    extra: frozenset[str] = frozenset()
    _parsed: dict[str, ReferenceType] = field(default_factory=dict, repr=False)

    @classmethod
    def load(cls, directory: Path | None = None, extra_files: Iterable[Path | str] = ()) -> Library:
        """The library of a folder (the packaged one by default), with extra files before it.

        Raises
        ------
        UnusableInput
            An extra file cannot be used, or two describe one type; every problem of every file is listed.
        """
        folder = packaged_directory() if directory is None else Path(directory)
        files = {p.stem.upper(): p for p in sorted(folder.glob("*.toml")) if p.name not in NOT_TYPES}
        parsed: dict[str, ReferenceType] = {}
        problems: list[Problem] = []
        extra: set[str] = set()
        for path in map(Path, extra_files):
            try:
                found = read_type(path)
            except UnusableInput as error:
                problems.extend(error.problems)
                continue
            name = found.name.upper()
            if name in extra:
                what = f"describes {found.name}, and so does {files[name]}"
                problems.append(Problem("REPEATED", what, "give one reference file a type", str(path)))
                continue
            files[name], parsed[name] = path, found
            extra.add(name)
        if problems:
            raise UnusableInput(problems)
        return cls(files, frozenset(extra), parsed)

    @property
    def names(self) -> tuple[str, ...]:
        """All type numbers, sorted."""
        return tuple(sorted(self.files))

    def __len__(self) -> int:
        return len(self.files)

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and name.upper() in self.files

    def __iter__(self) -> Iterator[ReferenceType]:
        return (self.type(name) for name in self.names)

    def type(self, name: str) -> ReferenceType:
        """The type of exactly this type number (case does not matter).

        Raises
        ------
        KeyError
            No such file. Use `find` for what is printed on a part.
        UnusableInput
            The file cannot be used.
        """
        key = name.upper()
        if key not in self._parsed:
            self._parsed[key] = read_type(self.files[key])
        return self._parsed[key]

    def find(self, printed: str) -> Resolution:
        """The type that a print means: type number, short form, gain group and lead-free suffixes, other printed forms.

        Raises
        ------
        UnknownType
            Nothing fits (with close names), or several types do (with all of them): nothing is guessed.
        """
        return resolve(self, printed)


def read_text(path: Path) -> dict[str, Any]:
    """A TOML file as a dict.

    Raises
    ------
    UnusableInput
        Not there, not text, or not TOML.
    """
    file = str(path)
    try:
        return load_toml(path)
    except OSError as error:
        problem = Problem("NO_FILE", f"cannot be read ({error.strerror})", "check the path", file)
    except UnicodeDecodeError:
        problem = Problem("NOT_TEXT", "is not UTF-8 text", "save it as UTF-8", file)
    except tomllib.TOMLDecodeError as error:
        fix = "put text in quotes, figures without units"
        if "twice" in str(error) or "overwrite" in str(error):
            fix = "write tables of rows with double brackets: [[ratings]], [[characteristics]]; each key once"
        problem = Problem("NOT_TOML", f"is not TOML: {error}", fix, file)
    raise UnusableInput([problem])


def read_type(path: Path) -> ReferenceType:
    """One reference file, checked, with the notes its cross-checks add.

    Raises
    ------
    UnusableInput
        Every problem of the file, with the key it stands at.
    """
    from partscreen.reference.crosscheck import contradictions
    from partscreen.reference.validate import build

    found, problems = build(read_text(path), str(path))
    if found is None or problems:
        raise UnusableInput(problems)
    notes = contradictions(found)
    return found.model_copy(update={"notes": (*found.notes, *notes)}) if notes else found
