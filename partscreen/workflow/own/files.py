"""Files of the user that stay between runs: kits, types, typed readings. They lie in the user's data folder."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import kept_by_windows

Shelf = Literal["kits", "types", "typed"]
_STEM = re.compile(r"[a-z0-9][a-z0-9_-]{0,47}$")


@dataclass(frozen=True, slots=True)
class OwnKit:
    """A kit in the user's folder. `title`: what the bench is called; `problems`: why it cannot be used."""

    stem: str
    path: Path
    title: str
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class OwnType:
    """A reference file in the user's folder. `type_number`: of which type; `problems`: why it cannot be used."""

    stem: str
    path: Path
    type_number: str
    problems: tuple[Problem, ...] = ()


def own_place(shelf: Shelf, root: Path | None = None) -> Path:
    """Where files of one sort lie; it need not exist. `root` None: the user's data folder."""
    if root is None:
        import platformdirs

        root = platformdirs.user_data_path("partscreen", appauthor=False)
    return root / shelf


def lying_in(shelf: Shelf, pattern: str, root: Path | None = None) -> list[Path]:
    """What lies there, by name; a folder that is not there or cannot be read holds nothing."""
    try:
        return sorted(own_place(shelf, root).glob(pattern))
    except OSError:
        return []


def own_folder(shelf: Shelf, root: Path | None = None) -> Path:
    """Where files of one sort lie; made when missing.

    Raises
    ------
    UnusableInput
        The folder cannot be made.
    """
    path = own_place(shelf, root)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise not_writable(
            error, path, "make it, or make room on the disk", what="the folder cannot be made"
        ) from error
    return path


def stem_of(name: str) -> str:
    """A file name from what a person calls a thing: small letters, digits and _; never empty, never a path.

    Letters of other alphabets stand for themselves in a short sum at the end, so that names stay different.
    """
    stem = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")[:40].rstrip("_")
    if name.isascii():
        return f"own_{stem}" if kept_by_windows(stem) else stem or "unnamed"
    return f"{stem or 'named'}_{hashlib.sha256(name.encode('utf-8', 'surrogatepass')).hexdigest()[:6]}"


def is_stem(text: str) -> bool:
    """Whether a text can be the name of a file in these folders."""
    return _STEM.match(text) is not None


def own_kits(root: Path | None = None) -> tuple[OwnKit, ...]:
    """The kits in the user's folder, those that cannot be used with why."""
    paths = lying_in("kits", "*.toml", root)
    if not paths:
        return ()  # nothing is loaded for nothing: the first page stands sooner
    from partscreen.readings.instruments.kit import load_kit

    found = []
    for path in paths:
        try:
            found.append(OwnKit(path.stem, path, load_kit(path).name))
        except UnusableInput as error:
            found.append(OwnKit(path.stem, path, path.stem, named_problems(error.problems, path.name)))
    return tuple(found)


def own_types(root: Path | None = None) -> tuple[OwnType, ...]:
    """The reference files in the user's folder, those that cannot be used with why."""
    paths = lying_in("types", "*.toml", root)
    if not paths:
        return ()
    from partscreen.reference.library import read_type

    found = []
    for path in paths:
        try:
            found.append(OwnType(path.stem, path, read_type(path).name))
        except UnusableInput as error:
            found.append(OwnType(path.stem, path, path.stem, named_problems(error.problems, path.name)))
    return tuple(found)


def usable_types(found: Sequence[OwnType]) -> tuple[Path, ...]:
    """Files to judge with: those that can be used, one of each type."""
    of_type = {one.type_number.upper(): one.path for one in reversed(found) if not one.problems}
    return tuple(sorted(of_type.values()))


def references_to_use(brought: Sequence[Path], stems: Sequence[str], root: Path | None = None) -> tuple[Path, ...]:
    """Reference files to judge with: those brought, and of the user's folder those named that describe other types.

    Raises
    ------
    UnusableInput
        A file that was brought cannot be used, or two describe one type: every problem.
    """
    if not (brought or stems):
        return ()
    from partscreen.reference.library import read_type

    of_type: dict[str, Path] = {}
    problems: list[Problem] = []
    for path in brought:
        try:
            name = read_type(path).name
        except UnusableInput as error:
            problems += named_problems(error.problems, path.name)
            continue
        if name.upper() in of_type:
            what = f"describes {name}, and so does {of_type[name.upper()].name}"
            problems.append(Problem("REPEATED", what, "give one reference file a type", path.name))
        of_type.setdefault(name.upper(), path)
    if problems:
        raise UnusableInput(problems)
    for one in own_types(root):
        if one.stem in stems and not one.problems:
            of_type.setdefault(one.type_number.upper(), one.path)
    return tuple(of_type.values())


def keep_own_file(shelf: Shelf, name: str, content: bytes, root: Path | None = None) -> Path:
    """Put a kit or a reference file that can be used into the user's folder.

    Raises
    ------
    UnusableInput
        It cannot be used, is there already with another content, or the folder cannot be written to.
    """
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.reference.library import read_type

    path = own_folder(shelf, root) / f"{stem_of(Path(name).stem)}.toml"
    if path.exists():
        if path.read_bytes() == content:
            return path
        fix = "give it another name, or take the one that is there away; nothing was changed"
        raise UnusableInput([Problem("FILE_EXISTS", "another file of this name is there already", fix, path.name)])
    half = path.with_name(path.name + ".new")
    try:
        half.write_bytes(content)
        (load_kit if shelf == "kits" else read_type)(half)
        half.replace(path)
    except UnusableInput as error:
        raise UnusableInput(named_problems(error.problems, path.name)) from None
    except OSError as error:
        raise not_writable(error, path.name, "make room on the disk", what="cannot be written") from error
    finally:
        half.unlink(missing_ok=True)
    return path


def named_problems(problems: Sequence[Problem], name: str) -> tuple[Problem, ...]:
    """Problems of a file by its name: its folder says nothing to a person."""
    return tuple(replace(one, file=name if one.file.endswith((".toml", ".new")) else one.file) for one in problems)


def own_file(shelf: Shelf, stem: str, root: Path | None = None) -> Path:
    """A kit or reference file in the user's folder.

    Raises
    ------
    UnusableInput
        There is none of this name.
    """
    path = own_place(shelf, root) / f"{stem}.toml"
    if not is_stem(stem) or not path.is_file():
        raise UnusableInput([Problem("NO_FILE", "there is no such file", "look at the list; it was taken away", stem)])
    return path


def drop_own_file(shelf: Shelf, stem: str, root: Path | None = None) -> None:
    """Take a kit or a reference file out of the user's folder for good."""
    own_file(shelf, stem, root).unlink(missing_ok=True)
