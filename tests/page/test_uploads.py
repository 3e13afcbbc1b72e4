"""What comes in: kinds, sizes, names that a file system or a browser would obey, workbooks that unpack to too much."""

from __future__ import annotations

import html
import io
import re
import zipfile

import pytest

from partscreen.page.desk import READINGS, Desk, refuse_kind, safe_name
from partscreen.page.settings import MIB
from tests.page.given import text_of
from tests.page.test_bringing import TOLD
from tests.page.test_screening import STRANGE

ROWS = "part,IC [A],IB [mA],VCE [V],VBE [V]\nT1,1,10,5,0.65\nT1,2,22,5,0.68\nT1,4,50,5,0.72\n"


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("run.exe", b"MZ", "PAGE_FILE_KIND"),
        ("page.html", b"<html>", "PAGE_FILE_KIND"),
        ("readings.zip", b"PK\x03\x04", "PAGE_FILE_KIND"),
        ("empty.csv", b"", "PAGE_FILE_EMPTY"),
        ("picture.csv", b"\x89PNG\r\n\x1a\n\x00\x00", "PAGE_FILE_CONTENT"),
        ("packed.csv", b"PK\x03\x04", "PAGE_FILE_CONTENT"),
        ("text.xlsx", b"a,b\n1,2\n", "PAGE_FILE_CONTENT"),
    ],
)
def test_what_is_no_file_of_readings_is_refused_by_name_with_a_way_out(visitor, name, content, code):
    answer = visitor.bring((name, content), ("good.csv", ROWS))
    assert answer.status_code == 422
    assert code in answer.text
    assert name in answer.text


def test_every_refused_file_is_told_at_once_and_nothing_of_them_is_kept(visitor):
    before = visitor.get("/").text.count("Take away")
    answer = visitor.bring(("a.exe", b"x"), ("b.csv", b""), ("c.xlsx", b"x"))
    assert answer.text.count("PAGE_FILE_") == 3
    assert visitor.get("/").text.count("Take away") == before


def test_a_file_above_the_limit_is_refused_and_one_below_is_not():
    assert refuse_kind("a.csv", b"x", 65 * MIB, READINGS, 64 * MIB).code == "PAGE_FILE_SIZE"
    assert refuse_kind("a.csv", b"x", 63 * MIB, READINGS, 64 * MIB) is None


def test_text_in_two_byte_letters_is_taken():
    assert refuse_kind("a.csv", "part,IC".encode("utf-16"), 16, READINGS, 64 * MIB) is None


def workbook_that_unpacks_to(size: int) -> bytes:
    """A workbook whose one sheet is blanks: a thousandth of its size when packed."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("xl/workbook.xml", '<workbook><sheets><sheet name="s" r:id="rId1"/></sheets></workbook>')
        archive.writestr(
            "xl/_rels/workbook.xml.rels",
            '<Relationships><Relationship Id="rId1" Target="worksheets/s.xml"/></Relationships>',
        )
        with archive.open("xl/worksheets/s.xml", "w") as sheet:
            piece = b" " * (4 << 20)
            for _ in range(size // len(piece) + 1):
                sheet.write(piece)
    return packed.getvalue()


def test_a_workbook_that_unpacks_to_more_than_memory_should_hold_is_not_read(visitor):
    bomb = workbook_that_unpacks_to(258 << 20)
    assert len(bomb) < 2 << 20
    answer = visitor.bring(("bomb.xlsx", bomb))
    assert "TOO_LARGE" in answer.text
    assert "unpacks to more than" in answer.text
    assert "Judge the parts" not in answer.text


@pytest.mark.parametrize(
    "name",
    ["../../over.csv", "..\\over.csv", "/etc/passwd", "a\x00b.csv", "con:<>|.csv", "....", "", "x" * 500 + ".csv"],
)
def test_a_name_from_outside_never_leaves_its_folder(tmp_path, name):
    kept = safe_name(name)
    path = tmp_path / kept
    path.write_bytes(b"x")
    assert path.resolve().parent == tmp_path.resolve()
    assert 0 < len(kept) <= 120


def test_a_hostile_file_name_is_shown_as_text(visitor):
    answer = visitor.bring(("<img src=x onerror=alert(1)>\u202egpj.csv", ROWS))
    assert answer.status_code == 200
    assert "<img" not in answer.text
    assert "⟨U+202E⟩" in answer.text
    assert "onerror=alert(1)" in html.unescape(answer.text)
    assert "<img" not in visitor.get("/").text


def test_two_files_of_one_name_are_both_read(visitor):
    answer = visitor.bring(("a.csv", ROWS), ("a.csv", ROWS.replace("T1", "T2")))
    assert "2 parts" in answer.text
    assert "2 lots" in answer.text  # nothing says that two files of one name are one bag
    assert {"a.csv", "a (2).csv"} <= set(re.findall(r"a[^<>\"]*?\.csv", answer.text))


def test_two_files_of_one_name_have_a_column_map_each(visitor):
    shorter = STRANGE.rstrip().rpartition("\n")[0] + "\n"  # a file of the same content would be read once
    tray = visitor.bring(("a.csv", STRANGE), ("a.csv", shorter)).url.path
    read = visitor.settle(visitor.post(f"{tray}/columns", {**TOLD, "file": "1", "do": "save"}))
    assert "6 parts in 1 lot" in text_of(read)  # of the second; the columns of the first are still unknown
    both = visitor.settle(visitor.post(f"{tray}/columns", {**TOLD, "file": "0", "do": "save"}))
    assert "12 parts in 2 lots" in text_of(both)


def test_the_oldest_files_make_room_and_everything_goes_with_the_desk():
    desk = Desk()
    try:
        trays = [desk.new_tray() for _ in range(25)]
        assert len(desk.trays) == 20
        assert not trays[0].folder.exists()
        assert trays[-1].folder.exists()
    finally:
        desk.close()
    assert not trays[-1].folder.exists()
