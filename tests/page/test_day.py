"""The day list and the one search field, against what the book holds."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from partscreen.workflow import Asked, Signed, day_list, record_fitted, record_outcome, record_override
from tests.page.bench import bench_page, words


def ago(days: int) -> str:
    return (date.today() - timedelta(days=days)).isoformat()


def fit(place: str, part: str, job: str, position: str, days: int) -> None:
    record_fitted(Asked(part=part), job, position, channel=None, signed=Signed(None, ago(days)), where=place)


def test_held_part_waits_with_its_decision_until_it_sits_in_an_amplifier(bench, place):
    assert not day_list(where=place).held
    record_override(Asked(part="T3"), "hold", reason="read it again", signed=Signed("bench 1"), where=place)
    page = words(bench.get("/day"))
    assert "Held: what to measure next" in page
    assert "T3 read it again (held by bench 1)" in page
    assert "No second person yet" in page
    fit(place, "T3", "hall", "Q1", 1)
    assert not day_list(where=place).held


def test_held_by_the_readings_comes_with_the_next_measurement(tmp_path):
    from partscreen.workflow import ScreenOptions, record_screening, screen_files
    from tests.book.domain_runs import FILES

    alone = tmp_path / "two.csv"
    rows = FILES[0].read_text(encoding="utf-8").splitlines()
    alone.write_text(
        "\n".join([*rows[:2], *(row for row in rows[2:] if row.startswith("T4,"))]) + "\n", encoding="utf-8"
    )
    options = ScreenOptions(lot_texts=("two type=2SC5200 supplier=Birch",))
    place = str(tmp_path / "book.sqlite")
    outcome = screen_files([alone], options, figures=False)
    (part,) = outcome.screening.lots[0].parts
    assert part.disposition == "hold"
    assert part.next_measurement is not None
    record_screening(outcome, [alone], options, place)
    with bench_page(place) as bench:
        page = words(bench.get("/day"))
    assert f"Next: {' '.join(part.next_measurement.reading.split())}" in page
    assert " ".join(part.reasons[0].sentence.split()) in page


def test_fitted_part_of_which_nothing_is_told_is_open_then_overdue(bench, place):
    fit(place, "T1", "hall", "Q1", 40)
    fit(place, "T2", "club", "Q1", 3)
    page = words(bench.get("/day"))
    assert f"hall 1 part fitted 40 days ago ({ago(40)}), outcome not told" in page
    assert (
        page.index("Overdue") < page.index("hall 1 part") < page.index("Jobs that are open") < page.index("club 1 part")
    )
    assert "no bias written down" in page
    assert "hall" not in words(bench.get("/day?after=60")).split("Jobs that are open")[0]
    record_outcome(
        "passed-soak", Asked(job="hall"), days=None, cause=None, note=None, signed=Signed(), where=place
    )  # fmt: skip
    assert [one.job for one in day_list(where=place).jobs] == ["club"]


def test_kit_without_a_good_check_is_overdue_until_it_is_checked(bench, place):
    (kit,) = day_list(within=0, where=place).kits or day_list(within=0, where=place).known
    assert kit.lots
    assert f"{kit.kit} Instruments:" in words(bench.get("/day?within=0"))
    bench.write("kit-check", kit=kit.kit, good="yes")
    assert not day_list(where=place).kits


def test_lot_to_be_sent_back_waits_until_it_is_refunded(bench, place):
    assert "too large a share is judged unfit" in words(bench.get("/day"))
    bench.write("outcome", what="returned", lot="bag")
    assert "sent back, no refund told yet" in words(bench.get("/day"))
    bench.write("outcome", what="refunded", lot="bag")
    assert not day_list(where=place).lots


def test_failed_part_waits_to_be_read_again(bench, place):
    fit(place, "T2", "hall", "Q1", 10)
    bench.write("outcome", what="failed-after", part="T2", days="8", cause="not-known")
    page = bench.get("/day")
    assert "Failed, and not read again" in words(page)
    assert "/book/remeasure?part=T2&amp;lot=bag&amp;supplier=Birch" in page.text
    bench.write("outcome", what="returned", part="T2")
    assert not day_list(where=place).read_again


@pytest.mark.parametrize("query", ["within=x", "after=-1"])
def test_days_that_are_none_are_told_above_the_list_and_stay_in_their_field(bench, query):
    page = bench.get(f"/day?{query}")
    assert "PAGE_NUMBER" in page.text
    assert "Lots that are not settled" in page.text
    assert f'value="{query.partition("=")[2]}"' in page.text


@pytest.mark.parametrize(
    ("text", "path", "holds"),
    [
        ("T1", "/book/part", "Part T1"),
        ("  t1 ", "/book/part", "Part T1"),
        ("bag", "/book/lot", "Lot bag"),
        ("Birch", "/book/supplier", "Supplier Birch"),
        ("2SC5200", "/book", "type 2SC5200"),
        ("hall", "/book/job", "Job hall"),
        ("entry 13", "/book/do/correct", "Entry 13"),
    ],
)
def test_one_field_leads_to_the_page_of_what_was_scanned(bench, place, text, path, holds):
    fit(place, "T1", "hall", "Q1", 1)
    answer = bench.get("/find", params={"text": text})
    assert answer.url.path == path
    assert holds in words(answer)


def test_search_field_has_the_focus_so_that_a_scanner_can_begin(bench):
    for page in ("/day", "/book", "/book/jobs"):
        assert bench.get(page).text.count(" autofocus") == 1


def test_name_that_two_lots_share_is_offered_twice_and_one_that_is_not_there_with_close_ones(bench, place):
    from partscreen.book.store import Book
    from tests.book.domain_runs import record_bag as another

    with Book.open(place) as book:
        another(book, "Cedar")
    page = bench.get("/find?text=T1")
    assert "Several things are named T1" in words(page)
    assert "/book/part?part=T1&amp;lot=bag&amp;supplier=Cedar" in page.text
    with Book.open(place) as book:
        another(book, None)
    page = bench.get("/find?text=bag")
    for supplier in ("Birch", "not+stated"):
        assert f"/book/lot?lot=bag&amp;supplier={supplier}" in page.text
    unnamed = bench.get("/book/lot?lot=bag&supplier=not+stated")
    assert "supplier not stated" in words(unnamed)
    told = bench.write("observe", part="T1", lot="bag", supplier="not stated", text="a scratch")
    assert "/book/part?part=T1&amp;lot=bag&amp;supplier=not%20stated" in told.text
    assert "a scratch" in words(bench.get("/book/part?part=T1&lot=bag&supplier=not+stated"))
    assert "a scratch" not in words(bench.get("/book/part?part=T1&lot=bag&supplier=Birch"))
    assert "These hold it, or are close to it" in words(bench.get("/find?text=Birk"))
    assert "Nothing is named zzzz" in words(bench.get("/find?text=zzzz"))
