"""Entries as they stand today: corrections take the place of what they supersede, and say that an older one exists."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import ValidationError

from partscreen.book.entries import CorrectionKept, Payload, payload_of
from partscreen.book.store import Book, Entry
from partscreen.errors import Problem, UnusableInput

P = TypeVar("P", bound=Payload)
Keys = dict[str, str | None]

ANY: Any = object()
"""Of a key: whatever it is. None means that it is not known (a lot without supplier)."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One entry as it stands today.

    `seq` : the entry that holds now (the correction, where there is one). `first` : the entry first written; `older` :
    those it superseded, oldest first.
    """

    seq: int
    kind: str
    recorded_at: str
    payload: Payload
    first: int
    older: tuple[int, ...] = ()

    def of(self, kind: type[P]) -> P:
        """The payload as its model."""
        assert isinstance(self.payload, kind)
        return self.payload


def fact_of(entry: Entry) -> Fact:
    """An entry as a fact, without looking for corrections.

    Raises
    ------
    UnusableInput
        The entry is of a kind, or in a form, that this version does not know.
    """
    return Fact(entry.seq, entry.kind, entry.recorded_at, _payload(entry.seq, entry.kind, entry.body), entry.seq)


def _payload(seq: int, kind: str, body: dict[str, Any]) -> Payload:
    try:
        return payload_of(kind, body)
    except (KeyError, ValidationError) as error:
        what = f"entry {seq} ({kind}) is not in a form this version reads"
        fix = "read the book with the version of partscreen that wrote it, or a newer one"
        raise UnusableInput([Problem("BOOK_ENTRY", what, fix, f"book, entry {seq}")]) from error


def refuse_unreadable(book: Book) -> None:
    """Look at the form of every entry, corrections and what they put right among them.

    Raises
    ------
    UnusableInput
        BOOK_ENTRY: the first entry that this version cannot read.
    """
    Facts(book)
    for entry in book.entries():
        fact_of(entry)


class Facts:
    """Queries over a book in which corrections count. Corrections are few and are read once."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._newest: dict[int, Fact] = {}
        self._moved: list[Fact] = []
        self.reading_corrections: list[tuple[int, CorrectionKept]] = []
        for entry in book.entries(kind="correction"):
            self._take(fact_of(entry))

    def _take(self, fact: Fact) -> None:
        correction = fact.of(CorrectionKept)
        if correction.corrected is None:
            self.reading_corrections.append((fact.seq, correction))
            return
        root, older = self._root(correction.supersedes)
        payload = _payload(fact.seq, correction.of_kind, correction.corrected)
        made = Fact(fact.seq, correction.of_kind, fact.recorded_at, payload, root, (*older, correction.supersedes))
        self._newest[root] = made
        self._moved = [one for one in self._moved if one.first != root] + [made]

    def _root(self, seq: int) -> tuple[int, tuple[int, ...]]:
        for root, newest in self._newest.items():
            if seq in (root, newest.seq):
                return root, newest.older
        return seq, ()

    def root_of(self, seq: int) -> int:
        """The entry first written of a chain of corrections."""
        return self._root(seq)[0]

    def now(self, seq: int) -> Fact:
        """The entry as it stands today, by any number of its chain."""
        root = self._root(seq)[0]
        return self._newest.get(root) or fact_of(self.book.entry(root))

    def find(self, kinds: str | Sequence[str], **keys: Any) -> list[Fact]:
        """Facts of some kinds with these keys, in the order in which they were first written.

        Keys: part, lot, supplier, type, job; `ANY` asks for nothing, None for what is not known.
        """
        asked = {name: value for name, value in keys.items() if value is not ANY}
        given = {name: value for name, value in asked.items() if value is not None}
        found: dict[int, Fact] = {}
        for kind in [kinds] if isinstance(kinds, str) else kinds:
            for entry in self.book.entries(kind=kind, **given):
                if entry.seq not in self._newest and _has(entry.body, asked):
                    found[entry.seq] = fact_of(entry)
        wanted = {kinds} if isinstance(kinds, str) else set(kinds)
        for fact in self._moved:
            if fact.kind in wanted and _has(fact.payload.model_dump(), asked):
                found[fact.first] = fact
        return [found[seq] for seq in sorted(found)]

    def latest(self, kinds: str | Sequence[str], **keys: Any) -> Fact | None:
        """The last of `find`."""
        found = self.find(kinds, **keys)
        return found[-1] if found else None


def _has(body: dict[str, Any], asked: Keys) -> bool:
    return all(body.get(name) == value for name, value in asked.items())
