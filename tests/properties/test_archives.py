"""A copy of a book with anything done to it is refused, or is a whole book; what was there before stays."""

from __future__ import annotations

import copy
import json
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from partscreen.book.entries import PartKept
from partscreen.book.facts import Facts
from partscreen.book.readings_kept import batch_of
from partscreen.book.store import Book
from partscreen.errors import UnusableInput
from partscreen.workflow.book.common import Asked
from partscreen.workflow.book.export import export_book
from partscreen.workflow.book.keeping import restore_book
from tests.book.core_books import filled
from tests.fuzz.archive import QUESTIONS, SOUND, WAYS, chained, overwritten, restored
from tests.fuzz.doors import read_as, told

CALM = settings(
    max_examples=60, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
PIECE = st.tuples(st.integers(0, 56_831), st.binary(min_size=1, max_size=12))
ODD = st.sampled_from(
    [None, "", 0, -1, 10**30, 1e308, float("nan"), float("inf"), [], {}, [[]], "T1", "2026-02-30", True, "a\0b", "=1+1"]
)


def pieces(of: list[tuple[int, bytes]]) -> bytes:
    return b"".join(at.to_bytes(3, "big") + bytes([len(said)]) + said for at, said in of)


@CALM
@given(of=st.lists(PIECE, min_size=1, max_size=4))
def test_a_copy_with_pieces_overwritten_is_refused_or_is_whole(of: list[tuple[int, bytes]]) -> None:
    restored(b"\x01" + pieces(of), told)


@CALM
@given(end=st.integers(0, 56_831), tail=st.binary(max_size=40))
def test_a_copy_that_was_cut_or_goes_on_otherwise_is_refused_or_is_whole(end: int, tail: bytes) -> None:
    restored(b"\x00" + SOUND.read_bytes()[:end] + tail, told)


@cache
def kept() -> list[dict[str, Any]]:
    """Entries of every kind."""
    return list(json.loads(SOUND.with_suffix(".json").read_text(encoding="utf-8")))


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Ways to every value in a body."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [way for key, one in inner for way in [(*path, key), *places(one, (*path, key))]]


@CALM
@given(data=st.data())
def test_a_sound_chain_that_says_anything_is_refused_or_every_question_has_an_answer(data: st.DataObject) -> None:
    chosen = copy.deepcopy(data.draw(st.lists(st.sampled_from(kept()), min_size=1, max_size=6)))
    for one in chosen[: data.draw(st.integers(0, 2))]:
        *way, last = data.draw(st.sampled_from(places(one["body"])))
        holder: Any = one["body"]
        for key in way:
            holder = holder[key]
        if isinstance(holder, dict) and data.draw(st.booleans()):
            del holder[last]
        else:
            holder[last] = data.draw(ODD)
    lines = [one["kind"].encode() + b" " + json.dumps(one["body"]).encode() for one in chosen]
    group = data.draw(st.integers(0, len(QUESTIONS) - 1))
    restored(bytes([2 + WAYS * group]) + b"\n".join(lines), told)


@pytest.mark.parametrize("way", ["cut", "overwritten", "text", "sound"])
def test_the_book_that_is_there_stays_as_it_was_whatever_the_copy(way, tmp_path):
    sound = SOUND.read_bytes()
    content = {
        "cut": sound[:9000],
        "overwritten": overwritten(sound, pieces([(20_000, b"x" * 200)])),
        "text": b"no book\n" * 99,
        "sound": sound,
    }[way]
    there, given_ = tmp_path / "book.sqlite", tmp_path / "copy.sqlite"
    with Book.open(there) as book:
        filled(book)
    before = there.read_bytes()
    given_.write_bytes(content)
    with pytest.raises(UnusableInput) as caught:
        restore_book(given_, str(there))
    told(caught.value.problems)
    assert caught.value.problems[0].code == "BOOK_EXISTS"
    assert there.read_bytes() == before
    assert given_.read_bytes() == content
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book.sqlite", "copy.sqlite"]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b'{"schema":1,"hfe":NaN}', "NaN"),
        (b'{"schema":1,"hfe":1e400}', "inf"),
        (b'{"schema":1,"kit":"\\ud800","good":true}', "broken character"),
        (b'{"a":' + b"[" * 100_000, "deep"),
        (b'{"schema":1,"kit":"my bench"}', "not in a form this version reads"),
    ],
)
def test_an_entry_that_the_book_never_writes_is_refused_by_its_number(body, said, tmp_path):
    place = tmp_path / "copy.sqlite"
    chained(iter([("kit_check", b'{"schema":1,"kit":"k","good":true,"on":"2026-11-20"}'), ("kit_check", body)]), place)
    with pytest.raises(UnusableInput, match=said) as caught:
        restore_book(place, str(tmp_path / "book.sqlite"))
    assert caught.value.problems[0].file == str(place)
    assert [path.name for path in tmp_path.iterdir()] == ["copy.sqlite"]


FIGURES = ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "pulsed", "control", "run", "sweep")


@cache
def exported(form: str) -> bytes:
    """The readings of the sound book as a table."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "book.sqlite"
        place.write_bytes(SOUND.read_bytes())
        export_book(Path(folder) / "out", form, Asked(), where=str(place))
        return (Path(folder) / "out" / f"readings.{form}").read_bytes()


@pytest.mark.parametrize("form", ["csv", "json", "parquet"])
def test_exported_readings_are_read_again_with_the_same_figures(form, tmp_path):
    path = tmp_path / "book.sqlite"
    path.write_bytes(SOUND.read_bytes())
    with Book.open(path) as book:
        was = batch_of([fact.of(PartKept) for fact in Facts(book).find("part")])
    now = read_as(f"readings.{form}", exported(form))
    assert now.part_names == was.part_names
    assert [lot.name for lot in now.lots] == [lot.name for lot in was.lots]
    for name in FIGURES:
        np.testing.assert_allclose(getattr(now.points, name), getattr(was.points, name), rtol=1e-12, err_msg=name)


@pytest.mark.parametrize("form", ["csv", "json", "parquet"])
@CALM
@given(of=st.lists(st.tuples(st.integers(0, 6000), st.binary(min_size=1, max_size=12)), min_size=1, max_size=4))
def test_exported_readings_with_pieces_overwritten_are_read_or_told_of(form: str, of: list[tuple[int, bytes]]) -> None:
    read_as(f"readings.{form}", overwritten(exported(form), pieces(of)))
