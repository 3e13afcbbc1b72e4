"""The chain's smallest pieces: what a hash covers, what may name an entry, what a body may hold."""

import hashlib
import math

import pytest

from partscreen.book.canonical import canonical_bytes, parse
from partscreen.book.chain import GENESIS, entry_hash, is_kind, is_time, now, read_head
from partscreen.book.store import BookError
from tests.book.core_books import behind_its_back, filled


def test_hash_of_an_entry_is_sha256_of_its_four_pieces_with_line_feeds_between():
    text = b"0" * 64 + b"\nkit\n2026-01-02T03:04:05.000006Z\n" + b'{"a":1}'
    assert entry_hash(GENESIS, "kit", "2026-01-02T03:04:05.000006Z", b'{"a":1}') == hashlib.sha256(text).hexdigest()
    assert GENESIS == "0" * 64
    # GNU coreutils: printf 'a\nb\nc\n' | sha256sum
    assert entry_hash("a", "b", "c", b"") == "880553fca8fcea94e325ee2cfb48e5a985cc797f39a14cc6d3cedecfeb2ae4d2"


def test_kinds_are_small_letters_digits_and_underscores_up_to_forty():
    assert is_kind("a")
    assert is_kind("a" + "b_9" * 13)  # forty
    for wrong in ("", "a" * 41, "9a", "_a", "A", "a-b", "a\n", None, 3):
        assert not is_kind(wrong)


def test_times_are_those_that_now_writes():
    assert is_time(now())
    assert is_time("2026-01-02T03:04:05.000006Z")
    for wrong in ("2026-01-02T03:04:05Z", "2026-01-02 03:04:05.000006Z", "2026-01-02T03:04:05.000006Z\n", None, 5.0):
        assert not is_time(wrong)


def test_a_printed_head_has_sixteen_to_sixty_four_digits():
    assert read_head("0123456789ABCDEF") == "0123456789abcdef"
    assert read_head(" 0123 4567\n89ab cdef ") == "0123456789abcdef"
    assert read_head("f" * 64) == "f" * 64
    for wrong in ("f" * 15, "f" * 65, "g" * 16, ""):
        assert read_head(wrong) is None


def test_a_body_has_one_form():
    told = canonical_bytes({"b": [1, 2.5, None, True], "a": {"ä": "x"}})
    assert told == '{"a":{"ä":"x"},"b":[1,2.5,null,true]}'.encode()
    assert canonical_bytes({"a": (1, 2)}) == b'{"a":[1,2]}'
    assert parse(b'{"a":1}') == {"a": 1}
    for wrong in (b"[1]", b"1", b"null"):
        with pytest.raises(ValueError, match="no JSON object"):
            parse(wrong)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"a": [0.0, math.nan]}, r"^a\[1\] is nan"),
        ({"a": {"b": math.inf}}, r"^a\.b is inf"),
        ({"a": {1: 2}}, "^a has the key 1"),
        ({1: 2}, "^the body has the key 1"),
        ({"a": {2.5}}, "^a is a set"),
        ({"a": b"x"}, "^a is a bytes"),
        ({"a": "\ud800"}, "broken character"),
    ],
)
def test_what_json_cannot_hold_exactly_is_refused_with_its_place(body, said):
    with pytest.raises(ValueError, match=said):
        canonical_bytes(body)


@pytest.mark.parametrize("body", [b"[1]", b"{", b"\xff"])
def test_a_well_hashed_entry_whose_body_is_no_object_is_found(book, body):
    filled(book)
    head, when = book.head(), now()
    with behind_its_back(book) as run:
        run(
            "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (?, 'lot', ?, ?, ?, ?)",
            head.seq + 1,
            when,
            body,
            head.hash,
            entry_hash(head.hash, "lot", when, body),
        )
    (finding,) = book.verify().findings
    assert finding.seq == head.seq + 1
    assert finding.what.startswith("its body cannot be read")


def test_an_entry_of_an_unknown_form_of_time_or_kind_is_found_alone(book):
    filled(book)
    head, body = book.head(), canonical_bytes({})
    with behind_its_back(book) as run:
        for number, (kind, when) in enumerate([("Lot", now()), ("lot", "yesterday")], head.seq + 1):
            hashed = entry_hash(head.hash, kind, when, body)
            run(
                "INSERT INTO entry (seq, kind, recorded_at, body, prev_hash, hash) VALUES (?, ?, ?, ?, ?, ?)",
                number, kind, when, body, head.hash, hashed,
            )  # fmt: skip
            head = type(head)(number, hashed)
    told = [finding.what for finding in book.verify().findings]
    assert told.count("its kind or time is none that the book writes") == 2


def test_an_empty_book_is_whole_and_has_the_head_of_nothing(book):
    told = book.verify("0" * 20)
    assert (told.ok, told.entries, told.head_found, told.head_asked) == (True, 0, 0, "0" * 20)
    assert (told.head.seq, told.head.hash, told.more_findings) == (0, GENESIS, 0)
    assert book.verify().head_found is None
    missing = book.verify("1" * 16)
    assert (missing.ok, missing.head_found) == (False, None)
    assert missing.findings[0].seq == 0


def test_a_head_that_is_too_short_is_told_how_many_digits_are_needed(book):
    with pytest.raises(BookError) as caught:
        book.verify("f" * 15)
    assert "the first 16 of its digits" in str(caught.value)
    assert book.verify("f" * 16).head_found is None


@pytest.mark.parametrize("content", [None, b"x"])
def test_a_changed_photo_is_told_of_the_book_as_a_whole(book, content):
    filled(book)
    with behind_its_back(book) as run:
        run("UPDATE blob SET content = ?", content)
    told = [finding for finding in book.verify().findings if "the file or photo" in finding.what]
    assert 0 in {finding.seq for finding in told}
    assert {finding.seq for finding in told} <= {0, 15}
