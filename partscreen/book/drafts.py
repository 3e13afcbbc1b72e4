"""From drafts to rows: checked all at once before the book is opened for writing, then chained to its head."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection

from partscreen.book.blobs import Blob, known_blobs, misnamed, put_blobs
from partscreen.book.canonical import canonical_bytes, parse
from partscreen.book.chain import entry_hash, is_kind
from partscreen.book.errors import refuse
from partscreen.book.keys import KEY_COLUMNS, BlobUse, Keys, blobs_of, keys_of
from partscreen.book.rows import Entry, by_content, head_of
from partscreen.book.schema import entry
from partscreen.errors import Problem


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry to be written. The body is JSON-able; its own fields name the keys (see keys.py)."""

    kind: str
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Ready:
    """A draft with its bytes made and its keys known."""

    kind: str
    body: bytes
    keys: Keys
    uses: tuple[BlobUse, ...]


def prepare(drafts: Sequence[Draft], blobs: Mapping[str, Blob]) -> list[Ready]:
    """Check every draft and make its bytes.

    Raises
    ------
    BookError
        Every draft or blob that cannot be written, at once.
    """
    problems, ready = [], []
    for number, draft in enumerate(drafts, 1):
        try:
            if not is_kind(draft.kind):
                raise ValueError(f"the kind {draft.kind!r} is no word of small letters")
            body = canonical_bytes(draft.body)
            ready.append(Ready(draft.kind, body, keys_of(draft.kind, draft.body), blobs_of(draft.kind, draft.body)))
        except ValueError as error:
            problems.append(
                Problem("ENTRY_BODY", str(error), "correct it; nothing was recorded", f"entry {number} ({draft.kind})")
            )
    used = [use.sha256 for one in ready for use in one.uses]
    if not problems:
        problems = [
            Problem("BLOB_NAME", what, "name it in the `blobs` of its entry; nothing was recorded", "files and photos")
            for what in misnamed(blobs, used)
        ]
    refuse(problems)
    return ready


def write(connection: Connection, ready: Sequence[Ready], blobs: Mapping[str, Blob], recorded_at: str) -> list[Entry]:
    """Chain the drafts to the head and insert them, inside a transaction no other writer runs beside."""
    known = by_content(connection, [one.keys.content_key for one in ready if one.keys.content_key is not None])
    fresh = [one for one in ready if one.keys.content_key not in known]
    held = known_blobs(connection, [*blobs, *(use.sha256 for one in fresh for use in one.uses)])
    refuse(_blob_problems(fresh, blobs, held))
    needed = {use.sha256 for one in fresh for use in one.uses}
    put_blobs(connection, {name: one for name, one in blobs.items() if name in needed}, held)
    out, rows = [], []
    head = head_of(connection)
    seq, last = head.seq, head.hash
    for one in ready:
        key = one.keys.content_key
        if key is not None and key in known:
            out.append(known[key])
            continue
        digest = entry_hash(last, one.kind, recorded_at, one.body)
        written = Entry(seq + 1, one.kind, recorded_at, parse(one.body), last, digest)
        if one.keys.supersedes is not None and one.keys.supersedes > seq:
            refuse([_no_such_entry(one, seq)])
        rows.append(_row(written, one))
        out.append(written)
        if key is not None:
            known[key] = replace(written, known=True)
        seq, last = seq + 1, digest
    if rows:
        connection.execute(entry.insert(), rows)
    return out


def _row(written: Entry, one: Ready) -> dict[str, Any]:
    fixed = {
        "seq": written.seq,
        "kind": written.kind,
        "recorded_at": written.recorded_at,
        "body": one.body,
        "prev_hash": written.prev_hash,
        "hash": written.hash,
    }
    return fixed | dict(zip(KEY_COLUMNS, one.keys.as_tuple(), strict=True))


def _no_such_entry(one: Ready, last: int) -> Problem:
    return Problem(
        "ENTRY_UNKNOWN",
        f"an entry of kind {one.kind} supersedes entry {one.keys.supersedes}, but the last one is {last}",
        "look up the number with `partscreen book show`; nothing was recorded",
        "the book",
    )


def _blob_problems(
    fresh: Sequence[Ready], blobs: Mapping[str, Blob], held: Mapping[str, tuple[int, str, bool]]
) -> Iterator[Problem]:
    for one in fresh:
        for use in one.uses:
            found = held.get(use.sha256)
            if found is None and use.sha256 in blobs:
                given = blobs[use.sha256]
                found = (len(given.content), given.media_type, True)
            where = f"entry ({one.kind})"
            what = blob_mismatch(use, found)
            if what is not None:
                yield Problem("BLOB_MISSING", what, "give the file itself along; nothing was recorded", where)
            elif found is not None and not found[2]:
                what = f"the file or photo {use.sha256} was erased from this book on purpose"
                yield Problem("BLOB_ERASED", what, "leave it out; nothing was recorded", where)


def blob_mismatch(use: BlobUse, found: tuple[int, str, bool] | None) -> str | None:
    """How a blob (size, media type, present) differs from what its entry says; None where it agrees."""
    if found is None:
        return f"the file or photo {use.sha256} is missing"
    if use.size is not None and use.size != found[0]:
        return f"the file or photo {use.sha256} has {found[0]} bytes, its entry says {use.size}"
    if use.media_type is not None and use.media_type != found[1]:
        return f"the file or photo {use.sha256} is {found[1]}, its entry says {use.media_type}"
    return None
