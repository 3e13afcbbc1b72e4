"""What comes along with files: maps by hand, a file or all, saved by name; own types; lot sheets with problems."""

from __future__ import annotations

import html
import re
from importlib.resources import files

import pytest

from partscreen.page.field_words import comes_back, sent
from partscreen.readings.saved_maps import forget_map, saved_maps
from tests.docs.bag import FOLDER
from tests.page.given import typed_on
from tests.page.test_screening import BAG, STRANGE
from tests.page.test_typing import text_of

ROLES = ("part", "sweep", "ic", "ib", "vce", "vbe", "case_temp")
UNITS = ("", "", "A", "mA", "V", "V", "degC")
TOLD = {f"role{i}": role for i, role in enumerate(ROLES)} | {f"unit{i}": unit for i, unit in enumerate(UNITS)}
OWN = (FOLDER.parent / "typed" / "2sc5200.txt", FOLDER.parent / "typed" / "2sc5200_more.txt")


@pytest.fixture
def no_maps():
    """No saved map before and after."""
    for one in saved_maps():
        forget_map(one.key)
    yield
    for one in saved_maps():
        forget_map(one.key)


@pytest.fixture(scope="module")
def own_type(tmp_path_factory) -> bytes:
    """A reference file of one's own, with a limit of hFE that no part of the bag meets."""
    from typer.testing import CliRunner

    from partscreen.cli.app import app

    out = tmp_path_factory.mktemp("type") / "own.toml"
    answers = OWN[0].read_text(encoding="utf-8").split("stop\n")[0] + OWN[1].read_text(encoding="utf-8") + "\n" * 20
    ran = CliRunner().invoke(app, ["types", "--new", "2SC5200", "--out", str(out)], input=answers)
    assert ran.exit_code == 0, ran.output
    text = out.read_text(encoding="utf-8")
    assert "min = 35.0" in text
    return text.replace("min = 35.0", "min = 300.0").encode()


def test_a_map_is_remembered_by_name_offered_for_the_next_file_and_used_when_asked(visitor, no_maps):
    tray = visitor.bring(("strange.csv", STRANGE)).url.path
    read = visitor.settle(
        visitor.post(f"{tray}/columns", {**TOLD, "do": "save", "remember": "yes", "title": "<b>my tester</b>"})
    )
    assert "6 parts in 1 lot" in text_of(read)
    next_one = visitor.bring(("next week.csv", STRANGE))
    assert "No part was found" in next_one.text  # offered, not used
    assert "A column map that you saved fits next week.csv: <b>my tester</b>" in text_of(next_one)
    assert "<b>my tester" not in next_one.text
    key = re.search(r'name="key" value="(\w+)"', next_one.text)[1]
    used = visitor.settle(visitor.post(f"{next_one.url.path}/columns/saved", {"key": key, "file": "0"}))
    assert "6 parts in 1 lot" in text_of(used)
    assert "that you saved fits" not in text_of(used)
    page = visitor.post(f"{next_one.url.path}/columns/saved", {"key": key, "file": "0", "do": "forget"})
    assert "A map that was saved" not in page.text
    assert visitor.post(f"{next_one.url.path}/columns/saved", {"key": key, "file": "0"}).status_code == 422


def test_files_of_different_columns_have_a_map_each(visitor):
    other = STRANGE.replace("stueck,kurve,strom", "teil,art,icol")
    answer = visitor.bring(("one.csv", STRANGE), ("two.csv", re.sub(r"^T", "U", other, flags=re.MULTILINE)))
    tray = answer.url.path
    assert "stueck" in visitor.get(f"{tray}/columns?file=0").text
    second = visitor.get(f"{tray}/columns?file=1").text
    assert "teil" in second
    assert "stueck" not in second
    first = visitor.settle(visitor.post(f"{tray}/columns", {**TOLD, "file": "0", "scope": "this", "do": "save"}))
    assert "6 parts" in text_of(first)
    both = visitor.settle(visitor.post(f"{tray}/columns", {**TOLD, "file": "1", "scope": "this", "do": "save"}))
    assert "12 parts in 2 lots" in text_of(both)
    saved = visitor.get(f"{tray}/columns.toml")
    again = visitor.settle(
        visitor.post(
            "/bring",
            files=[
                ("files", ("one.csv", STRANGE)), ("files", ("two.csv", other.replace("\nT", "\nU"))),
                ("columns", ("map.toml", saved.content)),
            ],
        )
    )  # fmt: skip
    assert "12 parts in 2 lots" in text_of(again)
    assert "0 parts" in text_of(visitor.settle(visitor.post(f"{tray}/columns", {"do": "drop"})))


def test_header_row_and_separator_told_by_hand_are_taken(visitor):
    body = "".join(f"T1|{i}|{10 * i}|5|0,6{i}\n" for i in range(1, 6))
    odd = f"IC;is not in this row\nmade on a Monday\npart|IC [A]|IB [mA]|VCE [V]|VBE [V]\n{body}"
    tray = visitor.bring(("odd.csv", odd)).url.path
    empty = visitor.get(f"{tray}/columns?row=40&mark=pipe")
    assert "Row 40 holds no header" in text_of(empty)
    cut = visitor.post(f"{tray}/columns", {"file": "0", "row": "3", "mark": "pipe", "do": "cut"})
    assert "header in row 3" in text_of(cut)
    assert re.search(r'value="ic" selected', cut.text)  # known words are recognised in the row told
    told = {"role0": "part", "role1": "ic", "role2": "ib", "role3": "vce", "role4": "vbe", "decimal": ","}
    units = {"unit1": "A", "unit2": "mA", "unit3": "V", "unit4": "V"}
    read = visitor.settle(
        visitor.post(f"{tray}/columns", {**told, **units, "file": "0", "row": "3", "mark": "pipe", "do": "save"})
    )
    assert "header in row 3" in text_of(read)
    assert "1 part in 1 lot" in text_of(read)
    again = visitor.get(f"{tray}/columns")  # what the map tells stands in the fields
    assert 'name="row" value="3"' in again.text
    assert 'value="pipe" selected' in again.text
    assert re.search(r'value="vbe" selected', again.text)
    refused = visitor.post(f"{tray}/columns", {**told, "file": "0", "row": "three", "do": "save"})
    assert "PAGE_NUMBER" in refused.text


def test_a_type_of_ones_own_that_is_brought_goes_before_the_library(visitor, own_type):
    files = [("files", ("bag.csv", BAG)), ("references", ("own.toml", own_type))]
    answer = visitor.settle(visitor.post("/bring", files=files))
    assert "Types of your own are used: own.toml" in text_of(answer)
    result = visitor.settle(visitor.post(answer.url.path, {"type0": "2SC5200", "do": "screen"}))
    assert "below the minimum of 300" in text_of(result)


def test_own_types_that_cannot_be_used_are_told_and_nothing_is_read_without_them(visitor, own_type):
    broken = own_type.replace(b'polarity = "NPN"', b'polarity = "NNN"')
    files = [
        ("files", ("bag.csv", BAG)), ("references", ("own.toml", broken)), ("references", ("a.toml", own_type)),
        ("references", ("b.toml", own_type)),
    ]  # fmt: skip
    answer = visitor.post("/bring", files=files)
    assert answer.status_code == 422
    assert "own.toml" in answer.text
    assert "b.toml" in answer.text
    assert "REPEATED" in answer.text


def test_own_types_and_kits_kept_here_are_offered_where_files_are_brought(visitor, own_type):
    kit = (FOLDER.parent / "kits" / "two_wire_5a.toml").read_bytes()
    visitor.post("/own-types/bring", files={"file": ("mine.toml", own_type)})
    visitor.post("/kits/bring", files={"file": ("wire.toml", kit)})
    try:
        start = visitor.get("/").text
        assert re.search(r'name="own_type" value="mine" checked', start)
        assert '<option value="wire">' in start
        answer = visitor.bring(("bag.csv", BAG), own_type="mine", own_kit="wire")
        assert "Types of your own are used: mine.toml" in text_of(answer)
        assert "Types of your own" not in text_of(visitor.bring(("bag.csv", BAG)))  # left unticked
    finally:
        visitor.post("/own-types/mine/drop")
        visitor.post("/kits/wire/drop")


def test_problems_of_a_lot_sheet_are_shown_with_their_row(visitor):
    sheet = "lot,type,supplier,count\nbag,2SC5200,Birch,many\n,2SA1943,Elm,3\n"
    answer = visitor.settle(visitor.post("/bring", files=[("files", ("bag.csv", BAG)), ("lots", ("lots.csv", sheet))]))
    words = text_of(answer)
    assert "LOT_SHEET_NO_NAME" in words
    assert "lots.csv" in words
    assert "row 3" in words
    assert 'value="Birch"' in answer.text  # what could be used is


UNSEEN = "bag \u202ei4\u200b"


def test_a_name_with_unseen_signs_comes_back_exactly_from_its_field(visitor):
    answer = visitor.bring((f"{UNSEEN}.csv", BAG))
    assert "\u202e" not in answer.text  # a reference stands in the source, the sign itself nowhere
    fields = typed_on(answer)
    assert fields["lot0"] == UNSEEN
    told = {**fields, "type0": "2SC5200", "supplier0": UNSEEN, "do": "read"}
    again = visitor.settle(visitor.post(answer.url.path, told))
    assert typed_on(again)["lot0"] == UNSEEN
    assert typed_on(again)["supplier0"] == UNSEEN
    judged = visitor.settle(visitor.post(answer.url.path, {**typed_on(again), "do": "screen"}))
    tray = answer.url.path
    (lot,) = visitor.get(f"{tray}/result.json").json()["lots"]
    assert (lot["lot"], lot["supplier"]) == (UNSEEN, UNSEEN)
    assert "⟨U+202E⟩" in judged.text


@pytest.mark.parametrize("known", ["A\x00B", " A ", "A\nB", "A\u202eB", "⟨U+202E⟩"])
def test_a_field_that_is_sent_as_it_stood_changes_nothing(known):
    stood = html.unescape(str(sent(known)))
    assert comes_back(re.sub(r"[\r\n]+", "", stood).strip(), known)  # what a line field of a browser sends
    assert not comes_back("other", known)


def test_every_field_of_every_template_brings_its_text_back_exactly():
    ours = (
        r"(form_token|once|place|row or \"\"|live\.seen|asked\.answered\|length|[\w.]+\.(id|done|entry)|loop\.index0)"
    )
    for path in sorted((files("partscreen.page") / "templates").iterdir(), key=str):
        source = path.read_text(encoding="utf-8")
        filled = re.findall(r'\bvalue="\{\{ *(.*?) *\}\}"', source)
        filled += re.findall(r"<textarea[^>]*>\{\{ *(.*?) *\}\}<", source)
        assert [one for one in filled if not one.endswith("|sent") and not re.fullmatch(ours, one)] == [], path.name
