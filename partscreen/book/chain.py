"""The chain of hashes: an entry's hash covers the hash of the one before it, so a change anywhere shows in the head.

SHA-256 after FIPS 180-4, from the standard library.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime

GENESIS = "0" * 64  # stands before the first entry
SHORTEST_HEAD = (
    16  # hex digits of a head copied from paper; 64 bits, an assumption: nobody rewrites a chain to hit these
)
_KIND = re.compile(r"[a-z][a-z0-9_]{0,39}")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
_HEX = re.compile(r"[0-9a-f]{16,64}")


@dataclass(frozen=True, slots=True)
class Head:
    """The newest entry: its number (0 for an empty book) and its hash, which stands on reports."""

    seq: int
    hash: str


def entry_hash(prev_hash: str, kind: str, recorded_at: str, body: bytes) -> str:
    """sha256 over previous hash, kind, time and body, a line feed after each of the first three. Hexadecimal."""
    digest = hashlib.sha256(f"{prev_hash}\n{kind}\n{recorded_at}\n".encode("utf-8", "surrogatepass"))
    digest.update(body)
    return digest.hexdigest()


def now() -> str:
    """This moment as it is stored: UTC, microseconds."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def is_kind(kind: object) -> bool:
    """Whether this can name a kind of entry: small letters, digits, underscore."""
    return isinstance(kind, str) and _KIND.fullmatch(kind) is not None


def is_time(text: object) -> bool:
    """Whether this is a time as `now` writes it."""
    return isinstance(text, str) and _TIME.fullmatch(text) is not None


def read_head(text: str) -> str | None:
    """A head hash as printed or typed (spaces and capitals are forgiven); None where it cannot be one."""
    bare = "".join(text.split()).lower()
    return bare if _HEX.fullmatch(bare) else None
