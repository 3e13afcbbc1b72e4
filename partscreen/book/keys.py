"""Which columns of an entry are searchable, and which photos or files it keeps: pure functions of its kind and body.

A body names its own keys: the top-level fields `part`, `lot`, `supplier`, `type`, `job`, `session` (text), `supersedes`
(the number of an earlier entry) and `content_key` (text; an entry of the same kind and content key is written once).
A body keeps blobs by the top-level field `blobs`: a list of sha256 texts, or of objects with `sha256` and, where given,
`size` and `media_type`, which are then checked against the blob.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

TEXT_KEYS = ("part", "lot", "supplier", "type", "job", "session")
ERASED = "erased"  # the kind of a tombstone
_SHA256 = re.compile(r"[0-9a-f]{64}")
_LONGEST_KEY = 400  # bytes; an index row of PostgreSQL holds about 2700, three keys stand in one (assumption: plenty)


@dataclass(frozen=True, slots=True)
class Keys:
    """The searchable columns of an entry; None where its body does not name them."""

    part: str | None = None
    lot: str | None = None
    supplier: str | None = None
    type: str | None = None
    job: str | None = None
    session: str | None = None
    supersedes: int | None = None
    content_key: str | None = None

    def as_tuple(self) -> tuple[str | int | None, ...]:
        """The values in the order of `KEY_COLUMNS`."""
        return tuple(getattr(self, name) for name in KEY_COLUMNS)  # astuple copies deeply, ten times slower


KEY_COLUMNS = tuple(f.name for f in fields(Keys))


@dataclass(frozen=True, slots=True)
class BlobUse:
    """A blob an entry keeps; size and media type where the body states them."""

    sha256: str
    size: int | None = None
    media_type: str | None = None


def keys_of(kind: str, body: Mapping[str, Any]) -> Keys:
    """The searchable columns of an entry of this kind and body.

    Raises
    ------
    ValueError
        A key field is no text, empty, too long or holds a zero byte; `supersedes` is no positive whole number.
    """
    text = {name: _text(name, body.get(name)) for name in TEXT_KEYS}
    content = content_column(kind, _text("content_key", body.get("content_key")))
    supersedes = body.get("supersedes")
    if supersedes is not None and (isinstance(supersedes, bool) or not isinstance(supersedes, int) or supersedes < 1):
        raise ValueError(f"supersedes is {supersedes!r}; the number of an earlier entry expected")
    return Keys(**text, supersedes=supersedes, content_key=content)


def content_column(kind: str, content_key: str | None) -> str | None:
    """The stored form of a content key: two kinds may share one content."""
    return None if content_key is None else f"{kind}:{content_key}"


def blobs_of(kind: str, body: Mapping[str, Any]) -> tuple[BlobUse, ...]:
    """The blobs an entry of this kind and body keeps.

    Raises
    ------
    ValueError
        `blobs` is no list of sha256 texts or objects with a sha256.
    """
    listed = body.get("blobs")
    if listed is None or kind == ERASED:
        return ()
    if not isinstance(listed, list | tuple):
        raise ValueError("blobs is no list")
    return tuple(_use(item) for item in listed)


def is_sha256(text: object) -> bool:
    """Whether this is a sha256 in small hexadecimal."""
    return isinstance(text, str) and _SHA256.fullmatch(text) is not None


def _use(item: object) -> BlobUse:
    named = item if isinstance(item, Mapping) else {"sha256": item}
    sha256, size, media_type = named.get("sha256"), named.get("size"), named.get("media_type")
    if not is_sha256(sha256):
        raise ValueError(f"blobs holds {sha256!r}, which is no sha256 (64 small hexadecimal digits)")
    if size is not None and not isinstance(size, int):
        raise ValueError(f"blobs holds the size {size!r}; whole bytes expected")
    if media_type is not None and not isinstance(media_type, str):
        raise ValueError(f"blobs holds the media type {media_type!r}; text expected")
    return BlobUse(str(sha256), size, media_type)


def _text(name: str, value: object) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or not value:
        raise ValueError(f"{name} is {value!r}; text expected, or nothing where it is not known")
    if "\0" in value:
        raise ValueError(f"{name} holds a zero byte")
    if len(value.encode("utf-8", "replace")) > _LONGEST_KEY:
        raise ValueError(f"{name} is longer than {_LONGEST_KEY} bytes")
    return value
