"""The sheet to fill in: which readings a kit is asked for, in which order, and that its three forms agree."""

import csv
import io
from pathlib import Path

import pytest

from partscreen.readings.columns.wide_header import wide_column
from partscreen.readings.instruments.kit import Kit, load_kit
from partscreen.report.papers.form import EVERY, Sheet, csv_text, headers, lot_row, reading_order, sheet_pdf, workbook
from partscreen.report.papers.form_columns import MOST_CURRENTS, form_of
from partscreen.workflow.settings import load_library
from tests.report.papers_read import closed, flat, needs_poppler, text_of

KITS = Path(__file__).resolve().parents[2] / "docs" / "examples"
KIT_FILES = [*sorted(KITS.glob("kit_*.toml")), *sorted((KITS / "kits").glob("*.toml"))]
TYPE = load_library(()).find("2SC5200").type
STRESSING = ("ICEO", "V(BR)CEO")
SUPPLY = {"percent": 1.0}


def kit(*instruments):
    return Kit.model_validate({"name": "k", "instruments": list(instruments)})


def sheet(n=20, which=None, **more):
    names = tuple(f"A1-T{i:04d}" for i in range(1, n + 1))
    return Sheet("A1", "2SC5200", names, form_of(TYPE, which), **more)


def symbols(form):
    return [column.symbol for column in form.columns]


def test_without_a_kit_the_sheet_asks_for_capacitances_and_gain_by_supply_and_meters():
    form = form_of(TYPE, None)
    assert symbols(form) == ["C_BE", "C_CB", "hFE", "VBE", "hFE", "VBE", "hFE", "VBE", "VCE(sat)"]
    assert [c.conditions for c in form.columns[2:8:2]] == [f"IC={i}, VCE=5 V" for i in ("100 mA", "500 mA", "1 A")]
    assert any("No kit was given" in note for note in form.notes)


@pytest.mark.parametrize("kit_file", [*KIT_FILES, None], ids=lambda path: path.stem if path else "no kit")
@pytest.mark.parametrize("kind", [TYPE, None])
def test_every_heading_is_read_back_as_what_it_asks_for(kit_file, kind):
    form = form_of(kind, load_kit(kit_file) if kit_file else None)
    assert form.columns
    seen = set()
    for i, column in enumerate(form.columns):
        read, problems, _ = wide_column(i, column.header)
        assert not problems, column.header
        assert read is not None
        assert (read.unit is not None) == bool(column.unit)
        seen.add((read.quantity, tuple(sorted(read.conditions.items()))))
    assert len(seen) == len(form.columns)


@pytest.mark.parametrize("kit_file", KIT_FILES, ids=lambda path: path.stem)
def test_only_what_the_kit_reads_is_asked_and_within_its_range(kit_file):
    bench = load_kit(kit_file)
    reads = {quantity for one in bench.instruments for quantity in one.reads}
    tops = [one.range["ic"] for one in bench.instruments if "ic" in one.range]
    tops += [one.compliance["ic"] for one in bench.instruments if "ic" in one.compliance]
    for i, column in enumerate(form_of(TYPE, bench).columns):
        read, _, _ = wide_column(i, column.header)
        needed = {"hfe": {"hfe"}, "vce_sat": {"vce_sat", "vce"}}.get(read.quantity, {read.quantity})
        assert needed & reads or (read.quantity == "hfe" and {"ic", "ib"} <= reads)
        if read.quantity in ("hfe", "vbe", "vce_sat"):
            assert float(read.conditions["IC"]) <= min(tops, default=1.0) * (1 + 1e-9)


def test_quick_and_harmless_readings_come_first_and_stressing_ones_last():
    form = form_of(TYPE, load_kit(KITS / "kit_four_wire_10a.toml"))
    order = symbols(form)
    assert order[:2] == ["C_BE", "C_CB"]
    assert order[-2:] == list(STRESSING)
    assert [c.stressing for c in form.columns] == [False] * (len(order) - 2) + [True, True]
    currents = [c.conditions for c in form.columns if c.symbol == "hFE"]
    assert len(currents) <= MOST_CURRENTS
    assert currents[0].startswith("IC=100 mA")


def test_avalanche_of_the_base_emitter_junction_is_never_asked_for():
    everything = ["v_br_ebo", "iebo", "v_br_ceo", "v_br_cbo", "iceo", "icbo", "dwell", "c_be", "die_edge_x"]
    order = symbols(form_of(TYPE, kit({"name": "x", "reads": everything})))
    assert not {"V(BR)EBO", "IEBO", "dwell", "die edge x"} & set(order)


def test_a_tester_that_states_its_current_is_asked_at_that_current_alone():
    form = form_of(TYPE, kit({"name": "t", "reads": ["hfe"], "conditions": {"IC": 0.005, "VCE": 3.0}}))
    assert [c.header for c in form.columns if c.symbol == "hFE"] == ["hFE @ IC=5 mA, VCE=3 V"]


def test_a_tester_that_does_not_state_its_current_gets_a_column_without_conditions():
    form = form_of(TYPE, kit({"name": "t", "reads": ["hfe", "c_be"]}))
    assert [c.header for c in form.columns] == ["C_BE [nF] @ VEB=0 V, collector=open", "hFE"]


def test_control_piece_is_read_first_after_every_tenth_part_and_last():
    for n in (1, 9, 10, 11, 20, 23):
        order = reading_order(sheet(n))
        assert order[0] == order[-1] == ("REF", True)
        assert [name for name, control in order if not control] == [f"A1-T{i:04d}" for i in range(1, n + 1)]
        between, run = [], 0
        for _, control in order[1:]:
            run = 0 if control else run + 1
            between.append(run)
        assert max(between) == min(n, EVERY)
        assert sum(control for _, control in order) == 1 + -(-n // EVERY)


def test_workbook_and_text_hold_the_same_cells_and_no_formula():
    from openpyxl import load_workbook

    made = sheet(12, control="+REF")
    page = load_workbook(io.BytesIO(workbook(made))).active
    cells = [["" if cell is None else cell for cell in row] for row in page.iter_rows(values_only=True)]
    assert cells == list(csv.reader(io.StringIO(csv_text(made))))
    assert cells[0] == headers(made)
    assert {cell.data_type for row in page.iter_rows() for cell in row if cell.value} == {"s"}


def test_lot_sheet_asks_for_what_a_refund_needs():
    made = list(csv.DictReader(io.StringIO(lot_row(sheet(2, supplier="Alder, Ltd"), [("count", "20")]))))
    assert made == [
        {"lot": "A1", "type": "2SC5200", "supplier": "Alder, Ltd", "maker": "", "count": "20", "code_on_parts": "",
         "bought_on": "", "order": "", "return_by": "", "source_kind": "", "price": "", "currency": "", "notes": ""}
    ]  # fmt: skip


@needs_poppler
def test_paper_holds_every_part_every_heading_the_cautions_and_how_to_read(tmp_path):
    made = sheet(23, supplier="Alder", polarity="NPN")
    text = text_of(sheet_pdf(made), tmp_path, "-layout")
    for name in made.parts:
        assert name in text
    assert text.count("REF control") == 4
    told = flat(text)
    for words in ("Static heating", "avalanche", "Breakdown and leakage readings use voltages that kill",
                  "Write to the seller before any test that can destroy a part"):  # fmt: skip
        assert words in told
    raw = closed(text_of(sheet_pdf(made), tmp_path, "-raw"))
    for column in made.form.columns:
        assert closed(column.symbol) in raw
        for condition in column.conditions.split(", "):
            assert closed(condition) in raw
    for title, steps in made.form.recipes:
        assert closed(title) in raw
        for step in steps:
            assert closed(step) in raw


@needs_poppler
def test_sheet_for_a_lot_drawn_by_lot_says_which_pieces_to_take(tmp_path):
    made = sheet(2, drawn="Count the 50 pieces and take 7 and 9 (seed 3).")
    assert "take 7 and 9 (seed 3)" in flat(text_of(sheet_pdf(made), tmp_path))


def test_recipes_of_a_sheet_do_not_leave_the_current_open():
    steps = " ".join(step for _, steps in form_of(TYPE, None).recipes for step in steps)
    assert "need not be met" not in steps
    assert "within 5 % of the heading" in steps
    assert "in this form" not in steps
    assert not any(step.startswith("Write ") for _, all_steps in form_of(TYPE, None).recipes for step in all_steps)
