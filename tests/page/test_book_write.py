"""The bench book written from the page: jobs, outcomes, observations with photos, decisions, corrections, checks."""

from __future__ import annotations

import html
import re

import pytest

from partscreen.book import engine
from partscreen.page.book.forms import FORMS
from partscreen.workflow import Asked, show_book, where_is
from tests.book.servers import BOTH, fresh_schema
from tests.page.bench import bench_page, picture, record_bag, words

HOSTILE = '<script>alert(1)</script>"&=1+1'


@pytest.fixture(scope="module", autouse=True)
def no_waiting_for_the_disk():
    """A power cut is no part of these tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "_SQLITE_PRAGMAS", (*engine._SQLITE_PRAGMAS, "PRAGMA synchronous = OFF"))
        yield


@pytest.mark.parametrize("kind", BOTH)
def test_job_goes_from_fitted_over_bias_and_outcome_to_the_day_it_comes_back(kind, tmp_path):
    if kind == "sqlite":
        record_bag(where := str(tmp_path / "book.sqlite"))
        walk_a_job(where)
    else:
        with fresh_schema() as where:
            record_bag(where)
            walk_a_job(where)


def walk_a_job(where: str) -> None:
    with bench_page(where) as bench:
        told = bench.write("fitted", part="T1", job="hall", channel="left", position="Q12", on="2026-11-01")
        assert "Entry 13: part T1" in words(told)
        assert 'href="/book/do/fitted?job=hall&amp;channel=left&amp;on=2026-11-01"' in told.text
        bench.write("fitted", part="T2", job="hall", channel="right", position="Q12", on="2026-11-01")
        form = bench.get("/book/do/bias?job=hall")
        assert form.text.index("Caution first") < form.text.index('<form method="post"')
        told = bench.write(
            "bias", job="hall", **{"bias left Q12": "11,2", "bias right Q12": "0.0109 V"}, unit="mV",
            resistor="0.22 ohm", ambient="23", minutes="20", on="2026-11-01",
        )  # fmt: skip
        assert "11.2 mV, across 0.22 ohm (50.9 mA)" in words(told)
        assert "10.9 mV, across 0.22 ohm (49.5 mA)" in words(told)
        bench.write("outcome", what="passed-soak", job="hall", on="2026-11-02")
        told = bench.write(
            "outcome", what="failed-after", part="T2", days="9", cause="stage", note="driver shorted", on="2026-11-11"
        )  # fmt: skip
        assert "failed in service after 9 days in job hall" in words(told)
        back = bench.get("/book/job?job=hall")
        assert words(back).index("Caution first") < words(back).index("Read the bias again")
        assert "1 part in it, 1 came out" in words(back)
        assert "T4" in words(back)[words(back).index("Left in the drawer") :]
        assert "/book/remeasure?part=T1&amp;lot=bag&amp;supplier=Birch" in back.text
        told = where_is("bag", where=where)
        assert [(one.part, one.channel, one.out) for one in told.siblings] == [
            ("T1", "left", False), ("T2", "right", True),
        ]  # fmt: skip


def test_outcome_of_a_part_that_was_never_fitted_comes_back_with_what_was_typed(bench):
    answer = bench.write("outcome", what="failed-first-power-up", part="T4", cause="part", note="it smelled")
    assert answer.status_code == 422
    assert "was never fitted" in words(answer)
    assert "the form “A part is fitted”" in words(answer)
    assert "partscreen book" not in words(answer)
    for kept in ('value="T4"', ">it smelled</textarea>", '<option value="part" selected', "Nothing was written"):
        assert kept in answer.text


@pytest.mark.parametrize(
    ("form", "fields", "said"),
    [
        ("fitted", {"part": "T1"}, "Position: this is empty"),
        ("fitted", {"part": "T9", "job": "hall", "position": "Q1"}, "no part 'T9'"),
        ("fitted", {"part": "T1", "job": "hall", "position": "Q1", "on": "2999-01-01"}, "lies in the future"),
        ("outcome", {"what": "failed-after", "part": "T1", "days": "nine"}, "'nine' is no whole number"),
        ("override", {"part": "T3", "to": "hold", "by": "bench 1"}, "Reason"),
        ("override", {"part": "T1", "to": "accept", "reason": "x", "by": "b"}, "is accepted already"),
        ("approve", {"entry": "3", "agrees": "yes", "by": "b"}, "is no override"),
        ("quarantine", {"lot": "bag", "do": "release"}, "is not in quarantine"),
        ("quarantine", {"lot": "bag", "do": "aside"}, "Place"),
        ("stress", {"part": "T1", "what": "dwell", "current": "5"}, "is no figure with a unit"),
        ("kit-check", {"kit": "mine"}, "Did they read right?: this is empty"),
        ("reading", {"file": "bag.csv", "row": "8", "column": "IB", "value": "9", "reason": ""}, "Reason"),
        ("observe", {"part": "T1"}, "nothing was observed"),
        ("erase-photo", {"photo": "0123456789", "why": "a face"}, "no photo of the book begins"),
    ],
)  # fmt: skip
def test_what_cannot_be_written_is_told_and_nothing_is_written(bench, place, form, fields, said):
    before = show_book(Asked(), place).entries
    answer = bench.write(form, **fields)
    assert answer.status_code == 422
    assert said in words(answer)
    assert all(f'value="{text}"' in answer.text for name, text in fields.items() if name in ("part", "entry", "lot"))
    assert show_book(Asked(), place).entries == before


def test_every_form_opens_with_cautions_before_its_fields_where_it_can_hurt(bench):
    bench.write("fitted", part="T1", job="hall", position="Q1")
    for name, form in FORMS.items():
        page = bench.get(f"/book/do/{name}", params={"job": "hall", "entry": "13"})
        assert page.status_code == 200, name
        assert html.escape(form.title) in page.text.replace("&#39;", "&#x27;"), name
        fields = page.text.index("<fieldset>")
        risky = name in ("fitted", "bias", "observe", "stress")
        assert ("Local codes and licensed practice" in page.text[:fields]) is risky, name
    for path in ("/book/remeasure", "/book/job?job=hall"):
        assert "Local codes and licensed practice" in bench.get(path).text


def test_form_sent_twice_writes_once(bench, place):
    shown = bench.get("/book/do/observe")
    once = re.search(r'name="once" value="([^"]+)"', shown.text)[1]
    fields = {"once": once, "part": "T1", "text": "ink comes off"}
    first, second = bench.post("/book/do/observe", fields), bench.post("/book/do/observe", fields)
    assert words(first) == words(second)
    assert sum(line.kind == "observation" for line in show_book(Asked(part="T1"), place).history) == 1


def test_observation_keeps_its_photo_byte_for_byte_and_shows_it(bench, place):
    photo = picture()
    told = bench.write("observe", files=[("photos", ("top.jpg", photo))], part="T3", text="ink comes off")
    assert "ink comes off (1 photo)" in words(told)
    page = bench.get("/book/part?part=T3")
    source = re.search(r'<img src="(/book/file/[0-9a-f]{64})" alt="top.jpg: [^"]+"', page.text)[1]
    shown = bench.get(source)
    assert (shown.content, shown.headers["content-type"]) == (photo, "image/jpeg")
    assert shown.headers["x-content-type-options"] == "nosniff"
    gone = bench.write("erase-photo", photo=source.rpartition("/")[2], why="a face was on it")
    assert gone.status_code == 200
    assert "was taken out of the book" in words(bench.get("/book/part?part=T3"))
    assert bench.get(source).status_code == 404


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("top.gif", b"GIF89a", "this kind of file is not read here"),
        ("top.jpg", b"MZ this is a program", "is no JPEG or PNG picture"),
        ("top.jpg", picture()[:300], "cannot be opened to its end"),
        ("top.png", picture("PNG", (9000, 9000)), "9000 x 9000 points"),
    ],
    ids=["kind", "content", "cut", "points"],
)
def test_file_that_is_no_photo_is_refused_and_the_text_stays(bench, place, name, content, said):
    good = ("photos", ("good.jpg", picture()))
    answer = bench.write("observe", files=[good, ("photos", (name, content))], part="T3", text="ink comes off")
    assert answer.status_code == 422
    assert said in words(answer)
    assert ">ink comes off</textarea>" in answer.text
    assert "brought before: good.jpg" in words(answer)
    assert not [line for line in show_book(Asked(part="T3"), place).history if line.kind == "observation"]
    # The photo that was good need not be chosen again.
    earlier = re.search(r'name="earlier" value="([^"]+)"', answer.text)[1]
    told = bench.write("observe", part="T3", text="ink comes off", earlier=earlier, keep_photos="0")
    assert "(1 photo)" in words(told)


def test_person_decides_otherwise_and_a_second_one_agrees(bench, place):
    told = bench.write("override", part="T3", to="hold", reason="read again with a fresh socket", by="bench 1")
    assert "held by bench 1 though rejected by the readings" in words(told)
    entry = re.search(r"/book/entry/(\d+)", told.text)[1]
    same = bench.write("approve", entry=entry, agrees="yes", by="Bench 1")
    assert "cannot be the second person" in words(same)
    bench.write("approve", entry=entry, agrees="yes", by="bench 2")
    page = words(bench.get("/book/part?part=T3"))
    assert (
        "held, decided by bench 1; by the readings rejected: read again with a fresh socket; agreed by bench 2" in page
    )
    stands = show_book(Asked(part="T3"), place).parts[0]
    assert (stands.disposition, stands.original, stands.approved_by) == ("hold", "reject", ["bench 2"])


def test_lot_is_set_aside_and_released(bench, place):
    bench.write("quarantine", lot="bag", do="aside", place="red box", reason="waits for the seller")
    assert {one.quarantine for one in show_book(Asked(lot="bag"), place).parts} == {"red box"}
    assert "the whole lot in red box" in words(bench.get("/day"))
    bench.write("quarantine", lot="bag", do="release")
    assert {one.quarantine for one in show_book(Asked(lot="bag"), place).parts} == {None}


def test_stress_is_written_after_its_caution(bench, place):
    form = bench.get("/book/do/stress?part=T3")
    assert form.text.index("voltages that kill") < form.text.index('<form method="post"')
    bench.write("stress", part="T3", what="avalanche-base-emitter", current="5 mA", seconds="2 s", survived="yes")
    line = show_book(Asked(part="T3"), place).history[-1]
    assert (line.values["current"], line.values["seconds"], line.values["survived"]) == (0.005, 2.0, True)


def test_entry_is_put_right_by_the_fields_that_differ(bench, place):
    bench.write("fitted", part="T2", job="hall", position="Q13", on="2026-11-01")
    entry = bench.get("/book/entry/13")
    assert words(entry).startswith("Entry 13") or "Entry 13, fitted" in words(entry)
    assert 'value="Q13"' in entry.text
    told = bench.write("correct", entry="13", reason="misread the board", **{"now position": "Q14"})
    assert "corrects entry 13: misread the board" in words(told)
    job = show_book(Asked(job="hall"), place)
    assert job.history[0].values["position"] == "Q14"
    assert job.history[0].older == [13]
    assert "position Q14" in words(bench.get("/book/job?job=hall")).replace("Q14 T2", "position Q14")
    nothing = bench.write("correct", entry="13", reason="again", **{"now position": "Q14"})
    assert nothing.status_code == 422
    assert "nothing is to be changed" in words(nothing)


def test_reading_is_put_right_and_its_lot_waits_to_be_judged_again(bench, place):
    part = bench.get("/book/part?part=T1")
    link = re.search(r'href="(/book/do/reading\?file=[0-9a-f]{64}&amp;row=8&[^"]+)"', part.text)[1]
    form = bench.get(link.replace("&amp;", "&"))
    assert 'name="row" value="8"' in form.text
    told = bench.write(
        "reading", file="bag.csv", row="8", column="IB [mA]", value="94.981", reason="digits swapped"
    )  # fmt: skip
    assert "is to read '94.981'" in words(told)
    assert "/book/again?lot=bag&amp;supplier=Birch" in told.text
    assert "Judge it again" in words(bench.get("/day"))
    page = bench.settle(bench.post("/book/keep/again", {"lot": "bag"}))
    assert "The lot stays: return; 0 of 6 parts changed" in words(page)
    assert "Judge it again" not in words(bench.get("/day"))


def test_kit_check_is_written_into_a_book_that_does_not_exist_yet(tmp_path):
    with bench_page(str(tmp_path / "new.sqlite")) as bench:
        assert "there is no book here yet" in words(bench.get("/day"))
        told = bench.write("kit-check", kit="my bench", good="no", note="10 V reference")
        assert "kit my bench checked" in words(told)
        assert "found not good" not in words(bench.get("/day"))  # no lot was judged with it


def test_hostile_names_are_text_on_every_page(bench):
    bench.write("fitted", part="T1", job=HOSTILE, position="\u202eQ12", by=HOSTILE)
    bench.write("observe", part="T1", text=HOSTILE, files=[("photos", (f"{HOSTILE}.png", picture("PNG")))])
    bench.write("quarantine", part="T4", do="aside", place=HOSTILE, reason="=HYPERLINK()")
    pages = ["/day", "/book/jobs", "/book/part?part=T1", "/book/lot?lot=bag", "/book/entry/13", "/book/where?lot=bag"]
    for answer in [bench.get(page) for page in pages] + [bench.get("/book/job", params={"job": HOSTILE})]:
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
        assert "\u202e" not in answer.text
    assert "&lt;script&gt;alert(1)" in bench.get("/book/jobs").text
    assert bench.get("/find", params={"text": HOSTILE}).url.path == "/book/job"


def test_form_of_an_earlier_run_is_shown_again_as_it_was_typed(bench, place):
    before = show_book(Asked(), place).entries
    answer = bench.client.post("/book/do/observe", data={"form_token": "old", "part": "T1", "text": "ink comes off"})
    assert answer.status_code == 403
    assert "of an earlier run of the page" in answer.text
    assert ">ink comes off</textarea>" in answer.text
    assert show_book(Asked(), place).entries == before
