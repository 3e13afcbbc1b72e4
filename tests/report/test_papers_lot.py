"""Lot report, test record and labels, read back. Invented lots."""

import re

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.report.papers.arrays import lot_arrays
from partscreen.report.papers.chosen import at_current, pick_lot, printed_source, working_current
from partscreen.report.papers.grid import parse_grid
from partscreen.report.papers.labels import LabelOptions, labels_pdf, pair_names
from partscreen.report.papers.lot import lot_pdf
from partscreen.report.papers.record import RecordOptions, coverage, record_pdf
from partscreen.report.view import JUDGEMENTS
from partscreen.results import Interval, SubLot
from partscreen.results.matching import MatchedPart, MatchedSet, Matching
from partscreen.workflow.settings import load_library
from tests.report.papers_invented import result as invented
from tests.report.papers_read import closed, codes_on, flat, frozen, needs_poppler, pages, text_of

LIBRARY = load_library(())


@needs_poppler
@pytest.mark.parametrize("name", ["A1", "B1", "C1", "A3", "C2"])
def test_lot_report_says_first_what_to_do_then_every_part_with_shape_word_and_reason(name, tmp_path):
    result = frozen(name)
    (lot,) = result.lots
    pdf = lot_pdf(result, None, LIBRARY)
    text = flat(text_of(pdf, tmp_path, "-raw"))
    head = text.index(JUDGEMENTS[lot.judgement])
    assert head < text.index(lot.parts[0].part)
    words = {"accept": "accepted", "hold": "held", "reject": "rejected"}
    for part in lot.parts:
        assert f"{words[part.disposition]} {part.part}" in text
        sentence = part.reasons[0].sentence.partition("; die area")[0]  # which stands in its own column
        assert closed(sentence) in closed(text)
        if part.area_ratio is not None:
            assert f"{part.area_ratio.value:.2f} ({part.area_ratio.low:.2f} to {part.area_ratio.high:.2f})" in text
    assert "What was not tested" in text
    assert text.count("SHA-256") == len(lot.files)


@needs_poppler
def test_lot_report_names_the_next_measurement_with_its_recipe(tmp_path):
    result = invented()
    step = result.lots[0].parts[7].next_measurement
    text = flat(text_of(lot_pdf(result, None, LIBRARY), tmp_path))
    assert f"{step.reading}, about 2 minutes a part: Q-08" in text
    assert "Caution: voltage, power or heat" in text
    for line in step.recipe.splitlines():
        assert closed(line) in closed(text)


@needs_poppler
def test_date_codes_stand_each_with_their_own_judgement(tmp_path):
    share = Interval(value=0.2, low=0.031, high=0.412)
    subs = [
        SubLot(codes=["9901"], parts=["Q-01"], n_parts=6, judgement="return", share_unfit=share),
        SubLot(codes=["0107", "not told"], parts=["Q-09"], n_parts=4, judgement="use"),
    ]
    text = flat(text_of(lot_pdf(invented(sub_lots=subs), None, LIBRARY), tmp_path, "-raw"))
    assert f"9901 6 {JUDGEMENTS['return']} 3 % to 41 %" in text
    assert f"0107, not told 4 {JUDGEMENTS['use']} –" in text


@needs_poppler
def test_figures_are_drawn_as_lines_with_text_and_not_as_pixels(tmp_path):
    pdf = lot_pdf(frozen("A1"), None, LIBRARY)
    assert b"/Subtype /Image" not in pdf
    assert b"/Subtype/Image" not in pdf
    text = text_of(pdf, tmp_path)
    assert "VCE(sat) [mV]" in text
    assert "IC/IB = 10, junction 25 °C" in text


@needs_poppler
def test_a_brief_result_gives_a_report_that_says_why_it_has_no_figures(tmp_path):
    whole = frozen("A1")
    parts = [part.model_copy(update={"curves": None}) for part in whole.lots[0].parts]
    result = whole.model_copy(update={"lots": [whole.lots[0].model_copy(update={"parts": parts})]})
    assert lot_arrays(result.lots[0], LIBRARY) is None
    assert "no figures" in flat(text_of(lot_pdf(result, None, LIBRARY), tmp_path))


@needs_poppler
def test_a_lot_of_thousands_names_every_part(tmp_path):
    whole = frozen("A1")
    many = [whole.lots[0].parts[i % 12].model_copy(update={"part": f"P{i:04d}", "curves": None}) for i in range(3000)]
    lot = whole.lots[0].model_copy(update={"parts": many, "n_parts": len(many)})
    text = text_of(lot_pdf(whole.model_copy(update={"lots": [lot]}), None, LIBRARY), tmp_path)
    assert set(re.findall(r"P\d{4}", text)) == {f"P{i:04d}" for i in range(3000)}


def test_same_result_gives_the_same_bytes():
    assert lot_pdf(frozen("A1"), None, LIBRARY) == lot_pdf(frozen("A1"), None, LIBRARY)


def test_lot_must_be_named_where_there_are_several():
    both = frozen("A1").model_copy(update={"lots": [frozen("A1").lots[0], frozen("B1").lots[0]]})
    assert pick_lot(both, "B1").lot == "B1"
    for name in (None, "Z9"):
        with pytest.raises(UnusableInput, match="A1, B1"):
            pick_lot(both, name)
    with pytest.raises(UnusableInput, match="no lot"):
        pick_lot(both.model_copy(update={"lots": []}), None)


def test_figures_at_a_current_lie_on_the_parts_curve_and_nowhere_outside_it():
    part = frozen("A1").lots[0].parts[0]
    curves = part.curves
    middle = len(curves.ic) // 2
    at = at_current(part, curves.ic[middle])
    assert at.hfe == pytest.approx(curves.hfe[middle])
    assert at.vbe == pytest.approx(curves.vbe[middle])
    between = float(np.sqrt(curves.ic[middle] * curves.ic[middle + 1]))
    low, high = sorted((curves.hfe[middle], curves.hfe[middle + 1]))
    assert low <= at_current(part, between).hfe <= high
    assert at_current(part, curves.ic[-1] * 2).hfe is None
    assert at_current(part.model_copy(update={"curves": None}), 1.0).vbe is None


def test_working_current_is_the_lowest_gain_limit_that_was_read():
    assert working_current(invented().lots[0]) == 7.0
    no_limits = [part.model_copy(update={"limits": []}) for part in invented().lots[0].parts]
    assert working_current(invented(parts=no_limits).lots[0]) == 1.0
    assert working_current(invented(parts=[]).lots[0]) is None


def test_recalled_sources_are_not_shown_to_others():
    copy = "Fairchild Semiconductor, data sheet, Rev. A2, March 2008"
    recalled = "Figures recalled from the maker's data sheet; no stored copy was found, unknown (memory)"
    assert printed_source(f"{copy}; {recalled}") == copy
    assert printed_source(f"{recalled}; {copy}") == copy
    assert printed_source(copy) == copy
    assert printed_source(recalled) == recalled


@needs_poppler
def test_record_says_what_this_plan_would_not_have_found(tmp_path):
    result = invented(parts=invented().lots[0].parts[8:])
    assert coverage(result.lots[0].parts) == [
        "die area 0.8 of the type's: found in about 43 of 100 such parts",
        "gain 0.72 of the lot's: found in fewer than 1 of 100 such parts",
    ]
    text = flat(text_of(record_pdf(result, None, RecordOptions(customer="Village hall", day="2026-11-25")), tmp_path))
    for words in ("Village hall", "2026-11-25", "2 accepted", "No evidence of substitution found in 2 of 2 parts"):
        assert words in text
    for line in coverage(result.lots[0].parts):
        assert line in text
    assert "V(BR)CEO (IC=10 mA)" in text
    assert "2 of 2" in text  # meet the hFE limit
    assert "is not proved sound" in text


def test_power_of_a_record_is_the_least_over_its_parts():
    first, second = invented().lots[0].parts[8:]
    weaker = [unseen.model_copy(update={"power": unseen.power / 2}) for unseen in second.cannot_see]
    assert "about 22 of 100" in coverage([first, second.model_copy(update={"cannot_see": weaker})])[0]


@needs_poppler
def test_record_of_some_parts_speaks_of_these_alone(tmp_path):
    text = flat(text_of(record_pdf(invented(), None, RecordOptions(parts=("Q-10", "Q-01"))), tmp_path))
    assert "1 accepted, 1 rejected. No evidence of substitution found in 1 of 2 parts." in text
    assert "Q-10" in text
    assert "Q-09" not in text


@needs_poppler
def test_record_tells_a_customer_no_supplier_and_no_price(tmp_path):
    result = invented(sheet={"price": "4.20", "order": "PO-1", "notes": "secret"})
    text = text_of(record_pdf(result, None, RecordOptions()), tmp_path)
    for word in ("Birch", "4.20", "PO-1", "secret"):
        assert word not in text


def matching_of(parts):
    one = MatchedSet(
        parts=parts,
        places=[MatchedPart(position=f"N{i}", part=p, lot="Q", type="2SC5200") for i, p in enumerate(parts)],
        hfe_difference_percent=1.0, vbe_difference_mv=1.0, within_tolerance=True, alike_within_measurement=False,
        one_session=True, distance=0.1,
    )  # fmt: skip
    return Matching(
        version="0", kind="pairs", aim="sum", settings={}, currents=[], sets=[one], total=0.1, method="exact"
    )


@needs_poppler
def test_labels_carry_part_pair_figures_disposition_date_and_a_code_of_the_part(tmp_path):
    result = invented()
    options = LabelOptions(matching=matching_of(["Q-09", "Q-10"]), day="2026-11-25", current=0.5)
    pdf = labels_pdf(result, None, options)
    lot = result.lots[0]
    (page,) = pages(pdf, tmp_path, 300)
    assert codes_on(page) == [part.part for part in lot.parts]
    lines = text_of(pdf, tmp_path).splitlines()
    assert lines.count("pair 1") == 2
    assert lines.count("not matched") == 8
    assert lines.count("2026-11-25") == 10
    assert [sum(word in line for line in lines) for word in ("accepted", "held", "rejected")] == [2, 1, 7]
    assert sum(line.startswith("at 500") for line in lines) == 10
    assert sum(line.endswith("5 V 25°C") for line in lines) == 7  # three have no curves
    for part in lot.parts:
        at = at_current(part, 0.5)
        assert at.vbe is None or f"VBE {1e3 * at.vbe:.1f} mV" in lines  # tenths of a millivolt are kept


@needs_poppler
def test_label_of_the_bag_says_what_to_do_with_it_and_how_its_parts_stand(tmp_path):
    pdf = labels_pdf(invented(), None, LabelOptions(bag=True, day="2026-11-25"))
    (page,) = pages(pdf, tmp_path, 300)
    assert codes_on(page) == ["Q", *(part.part for part in invented().lots[0].parts)]
    lines = text_of(pdf, tmp_path).splitlines()
    for words in ("lot Q", "Birch", "2 accepted", "1 held", "7 rejected", "return"):
        assert lines.count(words) == 1


@needs_poppler
def test_labels_of_parts_without_figures_show_a_dash(tmp_path):
    text = text_of(labels_pdf(invented(), None, LabelOptions(parts=("Q-05",))), tmp_path)
    assert "hFE –" in text
    assert "rejected" in text


def test_labels_that_do_not_fit_are_told():
    with pytest.raises(UnusableInput, match=r"QR code"):
        labels_pdf(invented(), None, LabelOptions(grid=parse_grid("18x10 mm, 10x25")))


def test_pairs_of_other_lots_of_the_same_part_name_are_not_taken():
    assert pair_names(invented().lots[0], matching_of(["Q-09", "Q-10"])) == {"Q-09": "pair 1", "Q-10": "pair 1"}
    assert pair_names(invented(lot="Z").lots[0], matching_of(["Q-09", "Q-10"])) == {}
