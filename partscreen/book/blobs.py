"""Raw files and photos, kept once by the hash of their content."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, select, update

from partscreen.book.schema import blob

_AT_ONCE = 500  # values in one IN list; SQLite allows 32766, older ones 999


@dataclass(frozen=True, slots=True)
class Blob:
    """A file's content and its media type (RFC 6838), for example image/jpeg."""

    content: bytes = field(repr=False)
    media_type: str = "application/octet-stream"

    @property
    def sha256(self) -> str:
        """The name of the content: its SHA-256, hexadecimal."""
        return hashlib.sha256(self.content).hexdigest()


def known_blobs(connection: Connection, names: Iterable[str]) -> dict[str, tuple[int, str, bool]]:
    """Size, media type and whether the content is still there, for those of `names` the book holds."""
    wanted, found = sorted(set(names)), {}
    for start in range(0, len(wanted), _AT_ONCE):
        query = select(blob.c.sha256, blob.c.size, blob.c.media_type, blob.c.content.is_not(None)).where(
            blob.c.sha256.in_(wanted[start : start + _AT_ONCE])
        )
        for sha256, size, media_type, present in connection.execute(query):
            found[sha256] = (size, media_type, bool(present))
    return found


def put_blobs(connection: Connection, blobs: Mapping[str, Blob], known: Mapping[str, object]) -> None:
    """Write the blobs the book does not hold yet."""
    for sha256, one in blobs.items():
        if sha256 not in known:
            row = {"sha256": sha256, "size": len(one.content), "content": one.content, "media_type": one.media_type}
            connection.execute(blob.insert(), row)


def get_blob(connection: Connection, sha256: str) -> Blob | None:
    """The blob, or None where the book never held it or its content was erased."""
    row = connection.execute(select(blob.c.content, blob.c.media_type).where(blob.c.sha256 == sha256)).first()
    return None if row is None or row[0] is None else Blob(bytes(row[0]), row[1])


def clear_blob(connection: Connection, sha256: str) -> None:
    """Take the content away; its row stays."""
    connection.execute(update(blob).where(blob.c.sha256 == sha256).values(content=None))


def misnamed(blobs: Mapping[str, Blob], used: Sequence[str]) -> list[str]:
    """What is wrong with blobs given to be stored, in words."""
    wrong = [f"the blob {name} has the content of {one.sha256}" for name, one in blobs.items() if name != one.sha256]
    return wrong + [f"the blob {name} is kept by no entry" for name in blobs if name not in set(used)]
