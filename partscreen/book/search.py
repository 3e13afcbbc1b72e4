"""Finding something by what stands on a sticker, a bag or a job sheet."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches

from partscreen.book.facts import Facts
from partscreen.results.bench import Hit

MOST = 60  # hits shown; more are counted
_ORDER = ("part", "lot", "job", "supplier", "type", "kit", "entry")


def find(facts: Facts, text: str) -> tuple[bool, list[Hit], int]:
    """What is named `text` (large and small letters alike), else what holds it, else what is close to it.

    Returns
    -------
    Whether a name is the text itself; the hits; how many more there are.
    """
    wanted = " ".join(text.split()).casefold()
    if not wanted:
        return False, [], 0
    known = list(dict.fromkeys(_named(facts)))
    exact = [one for one in known if one.name.casefold() == wanted]
    exact += _entry(facts, wanted)
    found = exact or [one for one in known if wanted in one.name.casefold()]
    if not found:
        close = set(get_close_matches(wanted, {one.name.casefold() for one in known}, 8, 0.6))
        found = [one for one in known if one.name.casefold() in close]
    found = sorted(found, key=lambda one: _ORDER.index(one.kind))
    return bool(exact), found[:MOST], max(len(found) - MOST, 0)


def _entry(facts: Facts, wanted: str) -> list[Hit]:
    number = wanted.removeprefix("entry").strip()
    if number.isascii() and number.isdigit() and 1 <= int(number[:12]) <= facts.book.head().seq:
        return [Hit(kind="entry", name=f"entry {int(number)}", entry=int(number))]
    return []


def _named(facts: Facts) -> Iterator[Hit]:
    """Everything with a name, as the entries say it."""
    for entry in facts.book.entries(kind="screening"):
        body = entry.body
        lot, supplier, kind = body["lot"], body.get("supplier"), body.get("type")
        yield Hit(kind="lot", name=lot, lot=lot, supplier=supplier, type=kind)
        if supplier:
            yield Hit(kind="supplier", name=supplier, supplier=supplier)
        if kind:
            yield Hit(kind="type", name=kind, type=kind)
        for part in body["evidence"]:
            yield Hit(kind="part", name=part["part"], lot=lot, supplier=supplier, type=kind)
    for fact in facts.find("fitted"):
        job: str = fact.payload.job  # type: ignore[attr-defined]
        yield Hit(kind="job", name=job)
    for entry in facts.book.entries(kind="kit"):
        yield Hit(kind="kit", name=entry.body["name"])
