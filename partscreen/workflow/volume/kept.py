"""Finished lots of a large run, kept beside its result until that is whole."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, replace
from functools import cache
from importlib.metadata import version as version_of
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partscreen.workflow.judge.screening import Prepared

SUFFIX = ".unfinished"


@dataclass(frozen=True, slots=True)
class LotDone:
    """A judged lot: its number in the run, what is told of it, and the exit codes its parts ask for.

    place : where its JSON lies: file, first byte, bytes. taken_up : from an earlier run.
    """

    number: int
    lot: str
    type: str | None
    n_parts: int
    judgement: str
    tally: dict[str, int]
    codes: tuple[int, ...]
    place: tuple[str, int, int] = ("", 0, 0)
    taken_up: bool = False


@cache
def program_digest() -> str:
    """Hash of the program's own files and of the versions that its figures rest on."""
    from partscreen import __version__

    root = Path(__file__).resolve().parents[2]
    digest = hashlib.sha256()
    told = (__version__, sys.version, version_of("numpy"), version_of("scipy"), version_of("pydantic"))
    digest.update("\n".join(told).encode())
    places = [root, root.parent / "reference_curves"]
    for place in places:
        for path in sorted(place.rglob("*")) if place.is_dir() else ():
            if path.suffix in (".py", ".toml") and path.is_file():
                digest.update(f"{path.relative_to(place).as_posix()}\n".encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()


def run_key(ready: Prepared, *, brief: bool) -> str:
    """Hash of all that decides the bytes of the result: content of every file, settings, program."""
    from partscreen.workflow.volume.bundles import OF_A_SESSION, TOGETHER

    chosen = ready.chosen
    settings = {name: value for name, value in asdict(chosen).items() if not isinstance(value, Path)}
    named = [chosen.lots, chosen.columns, chosen.kit, chosen.spreads, *chosen.references]
    told: dict[str, Any] = {
        "program": program_digest(),
        "settings": {**settings, "references": [path.name for path in chosen.references]},
        "files": [[one.file, one.sha256] for one in ready.batch.inputs],
        "named": [None if path is None else [path.name, _hash(path)] for path in named],
        "brief": brief,
        "bundles": [TOGETHER, OF_A_SESSION],
    }
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@dataclass(slots=True)
class Kept:
    """The folder of one run. A bundle is one file: a line on its lots, then their JSON, a line each."""

    out: Path
    folder: Path
    remarks: list[str] = field(default_factory=list)
    number_taken_up: int = 0

    @staticmethod
    @contextmanager
    def open(out: Path, key: str) -> Iterator[Kept]:
        """Make or find the folder of a run; it is removed once the result is whole, and kept on any error.

        Raises
        ------
        OSError
        """
        above = out.with_name(out.name + SUFFIX)
        folder = above / key[:16]
        kept = Kept(out, folder)
        others = [one for one in above.iterdir() if one != folder] if above.is_dir() else []
        if others:
            kept.remarks.append(
                f"{above} also holds lots of another run (other files, settings or version of the program): they were "
                "not used; delete the folder if that run is no longer wanted"
            )
        folder.mkdir(parents=True, exist_ok=True)
        yield kept
        shutil.rmtree(folder)
        if not others:
            above.rmdir()

    def _path(self, number: int) -> Path:
        return self.folder / f"bundle_{number:05d}"

    def bundle(self, number: int) -> list[LotDone] | None:
        """Lots of a bundle that an earlier run finished; None where it did not, or the file is not whole."""
        path = self._path(number)
        if not path.is_file():
            return None
        with path.open("rb") as file:
            try:
                head = json.loads(file.readline())
                whole = hashlib.file_digest(file, "sha256").hexdigest() == head["sha256"]
            except (ValueError, KeyError, TypeError):
                return None
        if not whole:
            return None
        lots = [LotDone(**{**one, "codes": tuple(one["codes"]), "place": tuple(one["place"])}) for one in head["lots"]]
        self.number_taken_up += len(lots)
        return [replace(lot, taken_up=True) for lot in lots]

    def keep(self, number: int, lots: Sequence[tuple[LotDone, str]]) -> list[LotDone]:
        """Write a finished bundle: whole, or not at all."""
        path = self._path(number)
        body = [(lot, text.encode()) for lot, text in lots]
        digest = hashlib.sha256()
        placed, at = [], 0
        for lot, text in body:
            placed.append(replace(lot, place=(path.name, at, len(text))))
            at += len(text)
            digest.update(text)
        head = json.dumps({"sha256": digest.hexdigest(), "lots": [asdict(lot) for lot in placed]})
        scratch = path.with_suffix(".part")
        with scratch.open("wb") as file:
            file.write(head.encode() + b"\n")
            for _, text in body:
                file.write(text)
            file.flush()
            os.fsync(file.fileno())
        scratch.replace(path)
        return placed

    def assemble(self, before: str, lots: Sequence[LotDone], after: str) -> None:
        """Write the result: head, lots in their order, tail; it takes its name once it is whole."""
        scratch = self.folder / "result.part"
        open_now: tuple[str, IO[bytes], int] | None = None
        with scratch.open("wb") as sink:
            sink.write(before.encode())
            for i, lot in enumerate(lots):
                name, at, size = lot.place
                if open_now is None or open_now[0] != name:
                    if open_now is not None:
                        open_now[1].close()
                    file = (self.folder / name).open("rb")
                    open_now = (name, file, len(file.readline()))
                open_now[1].seek(open_now[2] + at)
                sink.write(b"," if i else b"")
                sink.write(open_now[1].read(size))
            sink.write(after.encode())
        if open_now is not None:
            open_now[1].close()
        scratch.replace(self.out)
