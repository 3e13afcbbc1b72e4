import re

import pytest

from partscreen.report.data import ReportData
from partscreen.report.html import render_report
from partscreen.report.view import has_own_reason, reading_rows
from partscreen.results import LotResult, PartResult, ReadingEvidence, Reason, Screening
from tests.report.invented import NEXT, WAITING, screening
from tests.report.page import Page

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(2)>\u202egnp.$\\frac{\x00{{ 7*7 }}'


def plain(text):
    return re.sub(r"\s+", " ", text.replace("\N{NO-BREAK SPACE}", " "))


def render(result, data, **options):
    return render_report(result, data, title=options.pop("title", "Goods-in"), **options)


@pytest.fixture(scope="module")
def html():
    return render(*screening(lots=2), invented=True)


@pytest.fixture(scope="module")
def page(html):
    return Page(html)


def test_the_page_is_self_contained(html, page):
    assert all(ref.startswith("#") for ref in page.references)
    assert "script" not in page.tags
    assert "link" not in page.tags
    assert not page.handlers
    assert "http:" not in html
    assert "https:" not in html
    assert "@import" not in html


def test_tags_balance_ids_are_unique_and_every_reference_resolves(page):
    assert not page.errors
    assert not page.open
    assert len(page.ids) == len(set(page.ids))
    assert {ref[1:] for ref in page.references} <= set(page.ids)
    assert set(page.labelled) <= set(page.ids)


def test_the_first_sentence_of_a_lot_tells_the_result(page):
    text = plain(page.text)
    assert "Lot B1, 12 parts marked 2SC5200, supplier Birch: 2 rejected, 10 held." in text
    assert "No part is accepted until the evidence for the marking has been weighed." in text


def test_held_parts_are_grouped_by_reason_and_a_shared_sentence_stands_once_before_the_names(page):
    text = plain(page.text)
    lot = text[text.index("Lot B1, 12 parts") : text.index("The lot in figures")]
    assert lot.count(WAITING.sentence) == 1
    assert "9 parts: B1-01, B1-02, B1-03, B1-06" in lot
    assert lot.index("Rejected: 2") < lot.index("hFE at 7 A is 19.2 ± 1.2") < lot.index("Held: 10")
    assert lot.index("B1-05: V(BR)CEO is known from memory only") < lot.index(WAITING.sentence)


def test_accepted_parts_are_told_in_terms_of_evidence_only_where_there_is_evidence():
    def lot(evidence):
        reason = Reason(code="NOTHING_AGAINST", sentence="Nothing speaks against the marking.")
        parts = [
            PartResult(part=f"P{i}", status="judged", disposition="accept", evidence=evidence, reasons=[reason])
            for i in range(3)
        ]
        lots = [LotResult(lot="A1", type="2SC5200", n_parts=3, judgement="use", parts=parts)]
        return plain(Page(render(Screening(version="0", settings={}, inputs=[], lots=lots), ReportData())).text)

    assert "3 accepted. No evidence of substitution in 3 of 3." in lot(-2.0)
    assert "No evidence of substitution" not in lot(None)
    assert "No evidence of substitution" not in lot(0.7)
    assert "genuine" not in lot(-2.0).lower()
    assert "fake" not in lot(-2.0).lower()


def test_limits_are_shown_with_uncertainty_decision_source_and_doubt(page):
    text = plain(page.text)
    for words in (
        "at least 35",
        "19.2 ± 1.2",
        "nonconforming",
        "below 0.001",
        "carried there by the fit",
        "1 limit not reached by these readings",
        "not read there",
        "from memory",
        "Doubt: no stored copy of the sheet was found",
        "Fairchild Semiconductor, Rev. A2, March 2008",
    ):
        assert words in text, words


def test_a_parameter_the_readings_cannot_see_is_never_printed_as_a_value(page):
    text = plain(page.text)
    assert re.search(r"VAF forward Early voltage\s*not seen by these readings", text)
    assert re.search(r"CJE base-emitter capacitance at zero bias\s*not seen", text)
    assert re.search(r"CJC collector-base capacitance at zero bias\s*200.0 ± 8.0 pF", text)


def test_a_caution_stands_before_a_breakdown_recipe_and_the_cautions_defer_to_local_codes(page):
    text = plain(page.text)
    block = text[text.index("Measure next: " + NEXT.reading) :]
    assert block.index("Caution first") < block.index("Collector to the supply")
    assert text.count("Usual cautions of the trade; local codes and licensed practice come before this sheet") == 1


def test_inputs_hashes_problems_settings_versions_and_what_was_not_tested_are_listed(page):
    text = plain(page.text)
    for words in (
        "ab" * 32,
        'Row 17, column ic: "1,234" reads two ways → say decimal = comma or point',
        "prior_share",
        "partscreen.screening/1",
        "Lot B1, not reached by the readings of 11 of 12 parts: V(BR)CEO (IC = 50 mA, IB = 0).",
        "Thermal resistance: no heating pulse was read.",
        "part X1: no lot of the sheet names this file",
        "Column note of birch.csv was ignored.",
    ):
        assert words in text, words


def test_invented_readings_are_labelled_and_real_ones_are_not(html):
    assert "Invented readings." in html
    assert "Invented readings." not in render(*screening())


def test_a_hostile_name_is_shown_as_text_everywhere():
    result, data = screening(suffix=HOSTILE)
    page = Page(render(result, data, title=f"Bag {HOSTILE}"))
    assert "script" not in page.tags
    assert "img" not in page.tags
    assert not page.handlers
    assert not page.errors
    assert {ref[1:] for ref in page.references} <= set(page.ids)
    shown = HOSTILE.replace("\x00", "⟨U+0000⟩").replace("\u202e", "⟨U+202E⟩")
    assert f"supplier Birch{shown}" in plain(page.text)
    assert f"B1{shown}-04" in page.text
    assert "\u202e" not in page.text  # nothing turns the writing round
    assert "{{ 7*7 }}" in page.text  # a name is no template


def test_the_same_input_gives_the_same_page(html):
    assert render(*screening(lots=2), invented=True) == html


def test_figures_have_a_name_and_tables_have_headers(html, page):
    figures = re.findall(r"<figure>(.*?)</figure>", html, flags=re.S)
    assert len(figures) == 2 * (4 + 11 * 4)
    assert all('role="img"' in f and "<title" in f and "<desc" in f for f in figures)
    tables = re.findall(r"<table.*?</table>", html, flags=re.S)
    assert all('<th scope="col">' in t for t in tables)
    assert html.count('class="scroll"') == html.count('class="scroll" role="region" tabindex="0" aria-label=')


def test_a_long_lot_draws_only_parts_with_a_reason_of_their_own_and_says_so():
    page = render(*screening(60))
    assert "Figures are drawn for those rejected or held for a reason of their own (at most 100" in page
    assert page.count("<figure>") == 4 + 2 * 4  # the dead part has no readings
    assert page.count('<article class="part"') == 60


def test_remarks_and_reasons_of_the_whole_lot_are_no_reason_of_the_part():
    remark = Reason(code="LIMITS_NOT_REACHED", sentence="Limits not reached: hFE at 7 A.")
    part = PartResult(part="P", status="judged", disposition="hold", reasons=[WAITING, remark])
    assert not has_own_reason(part)
    outlier = Reason(code="LOT_OUTLIER", sentence="Stands apart from its lot.")
    assert has_own_reason(part.model_copy(update={"reasons": [WAITING, remark, outlier]}))
    assert has_own_reason(part.model_copy(update={"disposition": "reject"}))


def test_a_long_lot_that_is_all_rejected_stays_bounded_and_still_names_every_part():
    result, data = screening(450)
    parts = [p.model_copy(update={"disposition": "reject"}) for p in result.lots[0].parts]
    lot = result.lots[0].model_copy(update={"parts": parts})
    html = render(result.model_copy(update={"lots": [lot]}), data)
    assert html.count("<figure>") == 4 + 100 * 4
    assert html.count('<article class="part"') == 400
    page = Page(html)
    assert {ref[1:] for ref in page.references} <= set(page.ids)
    assert all(f"B1-{i:02d}" in page.text for i in range(1, 451))


def test_an_endless_lot_lists_the_others_in_one_table():
    html = render(*screening(450))
    assert html.count('<article class="part"') == 3
    page = Page(html)
    assert {ref[1:] for ref in page.references} <= set(page.ids)
    assert page.text.count("B1-449") >= 2


def test_a_result_without_readings_or_lots_still_gives_a_page():
    result, _ = screening()
    text = plain(Page(render(result, ReportData())).text)
    assert "No figure could be drawn" in text
    assert "2 rejected, 10 held" in text
    empty = Screening(version="0", settings={}, inputs=[], lots=[])
    assert "Cautions" in render(empty, ReportData())


def test_evidence_is_shown_where_the_result_carries_it():
    result, data = screening()
    part = (
        result.lots[0]
        .parts[0]
        .model_copy(
            update={
                "evidence": 3.4,
                "evidence_by_reading": [
                    ReadingEvidence(reading="C_BE", evidence=3.0),
                    ReadingEvidence(reading="gain sweep", evidence=0.4),
                ],
                "reach": 0.6,
            }
        )
    )
    lot = result.lots[0].model_copy(update={"parts": [part, *result.lots[0].parts[1:]]})
    text = plain(Page(render(result.model_copy(update={"lots": [lot]}), data)).text)
    assert "about 30 times likelier if the part is substituted or unfit than if it is as marked" in text
    assert "Evidence 3.4 (natural logarithm of the odds" in text
    assert "would have shown a die below 0.60 of the type's" in text
    assert "C_BE 3; gain sweep 0.4; together 3.4" in text


def test_eight_lots_of_twelve_are_a_page_of_less_than_five_megabytes():
    result, data = screening(lots=8)
    html = render(result, data)
    assert len(html) < 5e6


def test_the_readings_behind_the_figures_stand_in_a_table_with_what_was_not_read_as_a_dash():
    _, data = screening()
    read = data.lots["B1"].parts["B1-01"]
    rows = reading_rows(read)
    assert len(rows) == len(read.ic) + len(read.sat_ic)
    first, last = rows[0], rows[-1]
    assert (plain(first[0]), first[3]) == ("20.0 mA", "–")
    assert first[4] == f"hFE {read.hfe_residual[0]:+.1f}".replace("-", "−")  # VBE was not fitted there
    assert (plain(last[0]), last[1], last[2]) == ("8.00 A", "–", "–")
    assert last[4].startswith("VCE(sat) ")
