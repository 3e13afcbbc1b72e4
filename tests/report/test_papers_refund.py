"""Refund sheet: what it states, how it is graded, and what must never stand on it. An invented lot."""

import pytest

from partscreen.errors import UnusableInput
from partscreen.report.papers.photos import load_photos
from partscreen.report.papers.refund import RefundOptions, broken_rows, claim_of, listing_of, refund_pdf
from partscreen.report.papers.words import LANGUAGES, table, words_of
from partscreen.results import Interval, Reason, SpotTaken
from tests.report.papers_invented import EVIDENCE, SUBSTITUTED, UNFIT, result
from tests.report.papers_invented import SHEET as SOURCE
from tests.report.papers_read import closed, flat, needs_poppler, text_of

SHEET = {
    "order": "PO-4711", "return_by": "2026-12-09", "bought_on": "2026-11-09", "price": "4.20", "currency": "EUR",
    "source_kind": "marketplace", "count": "14", "notes": "listing: 10 pcs 2SC5200 new, by the maker; paid by the hall",
}  # fmt: skip


def claims(lot, language="en"):
    words = words_of(language)
    return {part.part: claim for part in lot.parts if (claim := claim_of(part, lot, words)) is not None}


@needs_poppler
def test_sheet_states_order_listing_deadline_readings_limits_sources_and_hashes(tmp_path):
    pdf = refund_pdf(result(sheet=SHEET), None, RefundOptions(day="2026-11-25"))
    text = flat(text_of(pdf, tmp_path, "-layout"))
    for fact in ("PO-4711", "2026-12-09", "4.20 EUR", "marketplace", "10 pcs 2SC5200 new, by the maker", "2026-11-25"):
        assert fact in text
    assert "hFE, VCE=5 V, IC=7 A" in text
    assert "26.69 ± 0.49" in text  # 26.692636 with standard uncertainty 0.244397, k = 2
    assert "1.679 ± 0.012 V" in text
    assert "at least 35" in text
    assert "at most 1.5 V" in text
    assert f"[1] {SOURCE}" in text
    assert "recalled" not in text
    assert "123.0 ± 2.8 pF" in text
    assert "V(BR)CEO (IC=10 mA)" in text  # not tested
    assert "4 of 14 parts of the delivery were left untouched" in text
    assert "control piece was read 3 times" in text
    assert "capacitance meter: limits of error C_CB 1.5 % + 1 pF" in text
    assert "Last calibrated on 2026-02-01" in text
    assert "a" * 64 in closed(text)
    assert "b" * 64 in closed(text)


@needs_poppler
@pytest.mark.parametrize("language", LANGUAGES)
def test_sheet_never_tells_a_prior_a_probability_evidence_or_another_lot(language, tmp_path):
    pdf = refund_pdf(result(sheet=SHEET), None, RefundOptions(language=language, day="2026-11-25"))
    text = text_of(pdf, tmp_path)
    assert "other_lot" not in text
    assert "c" * 64 not in closed(text)
    assert "paid by the hall" not in text  # notes of the bench stay in the house
    lower = flat(text).lower()
    for word in ("probab", "wahrschein", "a priori", "prior", "likel", "odds", "trust", "evidence", "unfit", "suspect",
                 "verdacht", "sospech", "suspeit", "fake", "genuine"):  # fmt: skip
        allowed = {"trust": ("a part of the type that you trust",)}.get(word, ())
        rest = lower
        for phrase in allowed:
            rest = rest.replace(phrase, "")
        assert word not in rest, word
    for figure in (EVIDENCE, UNFIT, SUBSTITUTED, 0.41, 0.93, 0.7):
        for shown in (f"{figure:.3f}"[:4], f"{100 * figure:.1f}"[:4]):
            assert shown not in text
            assert shown.replace(".", ",") not in text
    assert "1,500" not in text
    assert "known-good" not in lower


@needs_poppler
@pytest.mark.parametrize("language", LANGUAGES)
def test_fixed_sentences_are_those_of_the_language(language, tmp_path):
    text = flat(text_of(refund_pdf(result(), None, RefundOptions(language=language)), tmp_path, "-layout"))
    for key in ("title", "request", "outside", "dead_open", "not_stressed", "meaning", "repeat_caution"):
        assert table()[key][language] in text, key
    others = {code for code in LANGUAGES if code != language}
    assert not any(table()["request"][code] in text for code in others)
    mark = "26.69 ± 0.49" if language == "en" else "26,69 ± 0,49"
    assert mark in text


def test_findings_are_graded_by_the_strongest_thing_that_was_read():
    found = claims(result().lots[0])
    assert {name: claim.grade for name, claim in found.items()} == {
        "Q-01": "outside", "Q-02": "outside", "Q-03": "inconsistent", "Q-04": "inconsistent", "Q-05": "dead",
        "Q-06": "inconsistent", "Q-07": "inconsistent",
    }  # fmt: skip
    assert [len(found[name].rows) for name in ("Q-01", "Q-02")] == [1, 2]
    assert found["Q-05"].sentence == "no transistor action: open"
    assert "collector and emitter exchanged" in found["Q-06"].sentence
    assert "the other polarity" in found["Q-07"].sentence
    assert "effective die area 0.52 of the type's (95 % interval 0.48 to 0.58)" in found["Q-03"].sentence
    assert found["Q-04"].sentence == "inconsistent with the reference for 2SC5200: the readings taken together"


@needs_poppler
def test_held_and_accepted_parts_are_never_claimed(tmp_path):
    text = text_of(refund_pdf(result(), None, RefundOptions()), tmp_path)
    assert not {"Q-08", "Q-09", "Q-10"} & set(text.split())
    told = "Parts read: 10. Outside a data-sheet limit: 2. Not working as a transistor: 1. Inconsistent with the"
    assert told in flat(text)
    assert "Not part of this claim: 3." in flat(text)


def test_a_limit_that_was_recalled_or_carried_is_never_stated():
    part = result().lots[0].parts[0]
    (row,) = broken_rows(part)
    for change in ({"basis": "memory"}, {"reached": "carried"}, {"limit": 34.0}):
        limits = [row.model_copy(update=change)]
        assert not broken_rows(part.model_copy(update={"limits": limits}))


def test_a_broken_row_that_another_edition_allows_is_not_stated():
    part = result().lots[0].parts[0]
    no_reason = [reason for reason in part.reasons if reason.code != "LIMIT_BROKEN"]
    assert not broken_rows(part.model_copy(update={"reasons": no_reason}))


def test_die_area_is_told_only_where_its_interval_leaves_out_the_types():
    lot = result().lots[0]
    part = lot.parts[2]
    for low, told in ((0.48, True), (None, False)):
        area = Interval(value=0.5, low=low, high=0.6)
        claim = claim_of(part.model_copy(update={"area_ratio": area}), lot, words_of("en"))
        assert claim is not None
        assert ("die area" in claim.sentence) is told


def test_a_rejected_part_of_unknown_reason_is_not_claimed():
    lot = result().lots[0]
    reasons = [Reason(code="SOMETHING_NEW", sentence="x")]
    part = lot.parts[0].model_copy(update={"disposition": "reject", "reasons": reasons, "status": "judged"})
    assert claim_of(part, lot, words_of("en")) is None


def test_a_lot_without_rejected_parts_gives_no_sheet():
    with pytest.raises(UnusableInput, match="no part of lot Q is rejected"):
        refund_pdf(result(parts=result().lots[0].parts[7:]), None, RefundOptions())
    with pytest.raises(UnusableInput, match="no part of lot Q that was named is rejected"):
        refund_pdf(result(), None, RefundOptions(parts=("Q-08",)))
    with pytest.raises(UnusableInput, match="'X9' is no part"):
        refund_pdf(result(), None, RefundOptions(parts=("X9",)))
    with pytest.raises(UnusableInput, match="'fr' is no language"):
        refund_pdf(result(), None, RefundOptions(language="fr"))


@pytest.mark.parametrize(
    ("notes", "listing"),
    [
        ("listing: 10 new parts; mine", "10 new parts"),
        ("mine; Listing : as new", "as new"),
        ("for the hall", None),
        ("", None),
    ],
)
def test_only_a_note_that_says_listing_leaves_the_house(notes, listing):
    assert listing_of(result(sheet={"notes": notes}).lots[0]) == listing


@needs_poppler
@pytest.mark.parametrize(
    ("count", "told"),
    [("10", "All 10 parts of the delivery were read"), ("14", "4 of 14 parts"), ("", "is not stated"),
     ("3", "is not stated"), ("ten", "is not stated")],
)  # fmt: skip
def test_parts_left_untouched_follow_from_the_count(count, told, tmp_path):
    pdf = refund_pdf(result(sheet={"count": count}), None, RefundOptions())
    assert told in flat(text_of(pdf, tmp_path))


@needs_poppler
def test_what_was_only_seen_is_never_stated_as_a_reading(tmp_path):
    seen = SpotTaken(part="Q-01", symbol="print seen", value=1.0, unit="1", answer="differs")
    year = SpotTaken(part="Q-01", symbol="code year", value=1999.0, unit="1")
    volts = SpotTaken(part="Q-01", symbol="V(BR)CEO", value=61.5, unit="V", conditions="IC=10 mA, base=open")
    text = flat(text_of(refund_pdf(result(spots=[seen, year, volts]), None, RefundOptions(language="de")), tmp_path))
    assert "61,5 V" in text
    assert "IC=10 mA, Basis offen" in text
    for word in ("print seen", "differs", "1999", "not known"):
        assert word not in text


@needs_poppler
def test_an_older_result_without_kit_files_and_spots_still_gives_a_sheet(tmp_path):
    old = result(sheet={}, files=[], spots=[], control=[]).model_copy(update={"kit": None, "settings": {}})
    text = flat(text_of(refund_pdf(old, None, RefundOptions()), tmp_path))
    assert "The instruments are not described in a file" in text
    assert "No control piece was read more than once" in text


@needs_poppler
def test_of_a_result_of_several_lots_without_files_no_file_is_named(tmp_path):
    one = result(files=[])
    other = one.lots[0].model_copy(update={"lot": "Other"})
    two = one.model_copy(update={"lots": [one.lots[0], other]})
    text = flat(text_of(refund_pdf(two, "Q", RefundOptions()), tmp_path))
    assert "Which files hold these readings was not recorded" in text
    assert "Other" not in text
    assert "birch.csv" not in text


def picture(path, *, size=(64, 48), kind="JPEG", **more):
    from PIL import Image

    Image.new("RGB", size, (200, 30, 30)).save(path, kind, **more)
    return path


@needs_poppler
def test_photos_stand_with_name_and_hash_and_lose_what_the_camera_wrote(tmp_path):
    from PIL import Image

    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "SECRETCAMERA", 6  # maker; turned by a quarter
    path = picture(tmp_path / "die.jpg", size=(80, 40), exif=exif)
    (photo,) = load_photos([path])
    assert b"SECRETCAMERA" in path.read_bytes()
    assert b"SECRETCAMERA" not in photo.content
    (tmp_path / "clean.jpg").write_bytes(photo.content)
    with Image.open(tmp_path / "clean.jpg") as clean:
        assert clean.size == (40, 80)  # upright
        assert not clean.getexif()
    pdf = refund_pdf(result(), None, RefundOptions(photos=(photo,)))
    assert b"SECRETCAMERA" not in pdf
    text = text_of(pdf, tmp_path)
    assert "die.jpg" in text
    assert photo.sha256 in closed(text)


def test_what_is_no_picture_is_told_with_every_file_at_once(tmp_path):
    (tmp_path / "a.jpg").write_text("no picture")
    whole = picture(tmp_path / "whole.png", kind="PNG").read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "x.svg").write_text('<svg xmlns="http://www.w3.org/2000/svg"/>')
    names = ["a.jpg", "cut.png", "empty.jpg", "x.svg", "missing.jpg"]
    with pytest.raises(UnusableInput) as caught:
        load_photos([*(tmp_path / name for name in names), tmp_path / "whole.png"])
    assert [problem.file for problem in caught.value.problems] == names


def test_a_picture_of_enormous_size_is_refused_before_it_is_opened(tmp_path):
    path = tmp_path / "big.png"
    content = bytearray(picture(tmp_path / "small.png", kind="PNG").read_bytes())
    content[16:24] = (60_000).to_bytes(4, "big") * 2  # width and height in the header
    import zlib

    content[29:33] = zlib.crc32(content[12:29]).to_bytes(4, "big")
    path.write_bytes(content)
    with pytest.raises(UnusableInput, match=r"big\.png"):
        load_photos([path])
