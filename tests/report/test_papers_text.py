"""Text of people's files on paper: shown as it is, never as markup, and nothing unseen is obeyed."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partscreen.report.papers.fonts import readable
from partscreen.report.papers.labels import LabelOptions, labels_pdf
from partscreen.report.papers.lot import lot_pdf
from partscreen.report.papers.record import RecordOptions, record_pdf
from partscreen.report.papers.refund import RefundOptions, refund_pdf
from partscreen.report.papers.visible import all_visible, visible
from partscreen.report.papers.words import LANGUAGES, table, words_of
from partscreen.workflow.settings import load_library
from tests.report.papers_invented import result as invented
from tests.report.papers_read import closed, needs_poppler, text_of

HOSTILE = {
    "markup": '#panic("x") *bold* _it_ $x$ `raw` <label> @ref = head',
    "functions": '#read("data.json") #eval("1+1") #import "@preview/x:0.1.0"',
    "right to left": "abc\u202egpj.exe\u202c\u2066x\u2069",
    "control": "a\x00b\x07c\nd\te\x1bf\u2028g",
    "no width": "Al\u200bder\u00ad\ufeffX",
    "quotes": '"\\"; #"\'',
    "other scripts": "Ölgröße Ελλ Кир עברית عربى",
}


def hostile_result(text):
    """An invented lot with the text in every place that comes from people."""
    whole = invented()
    lot = whole.lots[0]
    parts = [
        part.model_copy(update={"part": f"{i}{text}", "reasons": [
            reason.model_copy(update={"sentence": f"{reason.sentence} {text}"}) for reason in part.reasons
        ]})
        for i, part in enumerate(lot.parts)
    ]  # fmt: skip
    sheet = {"order": text, "return_by": text, "price": "1", "currency": text, "notes": f"listing: {text}"}
    spots = [spot.model_copy(update={"part": parts[0].part, "conditions": text}) for spot in lot.spots[:2]]
    changed = lot.model_copy(update={
        "lot": text, "supplier": text, "type": text, "parts": parts, "sheet": sheet, "spots": spots, "files": [text],
    })  # fmt: skip
    inputs = [whole.inputs[0].model_copy(update={"file": text})]
    kit = whole.kit.model_copy(update={"name": text})
    return whole.model_copy(update={"lots": [changed], "inputs": inputs, "kit": kit})


@needs_poppler
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_names_stand_on_every_paper_as_visible_text(text, tmp_path):
    result = hostile_result(text)
    shown = closed(visible(text).replace(";", ""))
    papers = (
        lot_pdf(result, None, load_library(())),
        refund_pdf(result, None, RefundOptions()),
        record_pdf(result, None, RecordOptions(customer=text)),
    )
    for paper in papers:
        # Letters of right-to-left scripts come in their own order; all of them must be there.
        read = closed(text_of(paper, tmp_path)).replace(";", "")
        if text == HOSTILE["other scripts"]:
            assert set(shown) <= set(read)
        else:
            assert read.count(shown) >= 3


@needs_poppler
def test_a_character_that_turns_the_direction_is_never_in_the_file(tmp_path):
    result = hostile_result("abc\u202egpj")
    for paper in (lot_pdf(result, None, load_library(())), refund_pdf(result, None, RefundOptions())):
        text = text_of(paper, tmp_path)
        assert "\u202e" not in text
        assert "⟨U+202E⟩" in closed(text)
        assert "jpg" not in text.replace("report", "")


@needs_poppler
def test_hostile_names_do_not_stop_labels(tmp_path):
    whole = invented()
    parts = [part.model_copy(update={"part": f"#x\u202e{i}"}) for i, part in enumerate(whole.lots[0].parts)]
    result = whole.model_copy(update={"lots": [whole.lots[0].model_copy(update={"parts": parts})]})
    assert "#x⟨U+202E⟩7" in text_of(labels_pdf(result, None, LabelOptions()), tmp_path)


@needs_poppler
def test_a_very_long_name_is_broken_over_lines_and_whole(tmp_path):
    name = "".join(f"{i:03d}x" for i in range(120))
    whole = invented(supplier=name)
    assert name in closed(text_of(refund_pdf(whole, None, RefundOptions()), tmp_path))
    assert name in closed(text_of(lot_pdf(whole, None, load_library(())), tmp_path))


@needs_poppler
def test_a_letter_that_no_font_holds_is_shown_by_its_number(tmp_path):
    text = text_of(
        lot_pdf(invented(supplier="a\u0378b"), None, load_library(())), tmp_path
    )  # U+0378 is no letter at all
    assert "a⟨U+0378⟩b" in text


def test_letters_of_the_shipped_fonts_stay_as_they_are():
    assert readable("Ölgröße Ελλ Кир עברית عربى ⟨±−●◇×") == "Ölgröße Ελλ Кир עברית عربى ⟨±−●◇×"


@needs_poppler
@pytest.mark.parametrize("name", ["x" * 200, "#panic(1) " * 12, "\u202e" * 20])
def test_long_names_leave_the_other_columns_their_room(name, tmp_path):
    """Every word of the finding stands on a line of at least three words, as in a column of its own."""
    parts = [part.model_copy(update={"part": f"{i}{name}"}) for i, part in enumerate(invented().lots[0].parts)]
    text = text_of(refund_pdf(invented(parts=parts), None, RefundOptions()), tmp_path, "-layout")
    assert "outside data-sheet limit" in text


@settings(max_examples=300)
@given(st.text(max_size=80))
def test_visible_text_holds_no_unseen_character_and_loses_none(text):
    shown = visible(text)
    assert all(c.isprintable() or c in "\u200b" or c.isspace() or ord(c) > 0xFFFF or not c.isascii() for c in shown)
    assert not set(shown) & {chr(c) for c in (*range(32), *range(0x202A, 0x202F), *range(0x2066, 0x206A), 0xFEFF)}
    for c in text:
        assert c in shown or f"⟨U+{ord(c):04X}⟩" in shown.replace("\u200b", "")


def test_visible_goes_through_nested_data_and_leaves_numbers():
    data = {"a": ["x\u202e", {"b": ("y\n", 3, None, True, 0.5)}]}
    assert all_visible(data) == {"a": ["x⟨U+202E⟩", {"b": ["y⟨U+000A⟩", 3, None, True, 0.5]}]}
    json.dumps(all_visible(data))


def test_every_sentence_stands_in_every_language_with_the_same_places():
    import string

    for key, sentence in table().items():
        assert set(sentence) == set(LANGUAGES), key
        places = {
            language: sorted(name for _, name, _, _ in string.Formatter().parse(text) if name is not None)
            for language, text in sentence.items()
        }
        assert len({tuple(names) for names in places.values()}) == 1, f"{key}: {places}"
        assert all(text.strip() == text and text for text in sentence.values()), key


def test_sentences_of_more_than_four_words_differ_between_languages():
    for key, sentence in table().items():
        if len(sentence["en"].split()) > 4:
            assert len(set(sentence.values())) == len(LANGUAGES), key


def test_decimal_mark_follows_the_language_and_terminals_are_named_in_it():
    assert words_of("de").figure("26.69 ± 0.49") == "26,69 ± 0,49"
    assert words_of("en").figure("26.69") == "26.69"
    assert words_of("es").conditions("VEB=0.5 V, f=1 MHz, collector=open") == "VEB=0,5 V, f=1 MHz, colector abierto"
    assert words_of("pt").conditions("VCB=10 V, emitter=shorted") == "VCB=10 V, emissor em curto-circuito"


def test_no_sentence_uses_words_that_only_a_maker_could_prove():
    forbidden = ("fake", "genuine", "counterfeit", "gefälscht", "fälschung", "echt", "falso", "falsific", "auténtic",
                 "autêntic", "genuíno", "genuino", "original")  # fmt: skip
    for key, sentence in table().items():
        for text in sentence.values():
            assert not any(word in text.lower() for word in forbidden), key
