"""What a run keeps for papers: lot sheet, files, single readings, control pieces, kit."""

from pathlib import Path

import pytest

from partscreen.readings.columns.conditions import parse_conditions
from partscreen.readings.instruments.kit import load_kit
from partscreen.workflow import ScreenOptions, check_part, screen_files
from partscreen.workflow.papers.read_as import conditions_words, kit_used

EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
SHEET = (
    "lot,type,supplier,maker,count,order,return_by,price,currency,files,notes\n"
    "A,2SC5200,Birch,,9,PO-1,2026-12-09,4.20,EUR,a.csv; shared.csv,listing: new\n"
    "B,2SC5200,Cedar,,,,,,,b.csv; shared.csv,\n"
)
ROWS = "part,IC [A],IB [mA],VCE [V],VBE [V],control,session\n"


def sweep(part, gain, control="no", moved=0.0):
    points = ((0.1, 0.62), (0.5, 0.67), (1.0, 0.70))
    return "".join(f"{part},{ic},{1e3 * ic / gain:.5g},5,{vbe + moved:.4f},{control},day 1\n" for ic, vbe in points)


@pytest.fixture(scope="module")
def lots(tmp_path_factory):
    folder = tmp_path_factory.mktemp("kept")
    (folder / "lots.csv").write_text(SHEET)
    parts = "".join(sweep(f"A{i}", 100 + i) for i in range(5))
    reference = (sweep("REF", 100, "yes"), sweep("REF", 99, "yes", moved=-0.002))
    (folder / "a.csv").write_text(ROWS + reference[0] + parts + reference[1])
    (folder / "b.csv").write_text(ROWS + sweep("B0", 110).replace("day 1", "day 2"))
    spots = [f'{lot},{lot}0,C_CB,{190 + i},pF,"VCB=10 V, f=1 MHz, emitter=open"' for i, lot in enumerate("AB")]
    (folder / "shared.csv").write_text("lot,part,quantity,value,unit,conditions\n" + "\n".join(spots) + "\n")
    files = [folder / name for name in ("a.csv", "b.csv", "shared.csv")]
    options = ScreenOptions(lots=folder / "lots.csv", kit=EXAMPLES / "kit_two_wire_5a.toml")
    screening = screen_files(files, options, figures=False).screening
    return screening, {lot.lot: lot for lot in screening.lots}


def test_each_lot_keeps_its_row_of_the_lot_sheet_and_no_others(lots):
    _, of = lots
    assert of["A"].sheet == {
        "count": "9", "order": "PO-1", "return_by": "2026-12-09", "price": "4.20", "currency": "EUR",
        "notes": "listing: new",
    }  # fmt: skip
    assert of["B"].sheet == {}


def test_each_lot_names_the_files_that_hold_its_readings_alone(lots):
    screening, of = lots
    assert of["A"].files == ["a.csv", "shared.csv"]
    assert of["B"].files == ["b.csv", "shared.csv"]
    assert {item.file for item in screening.inputs} >= {"a.csv", "b.csv", "shared.csv"}


def test_single_readings_stand_with_the_lot_of_their_part(lots):
    _, of = lots
    (spot,) = of["A"].spots
    assert (spot.part, spot.symbol, spot.unit, spot.used) == ("A0", "C_CB", "F", True)
    assert spot.conditions == "VCB=10 V, f=1 MHz, emitter=open"
    assert spot.std > 0
    assert [one.part for one in of["B"].spots] == ["B0"]


def test_control_piece_tells_its_largest_change_in_its_own_session(lots):
    _, of = lots
    (seen,) = of["A"].control
    assert (seen.session, seen.readings) == ("day 1", 2)
    assert seen.gain_change == pytest.approx(-0.01, abs=2e-4)
    assert seen.vbe_change == pytest.approx(-0.002, abs=1e-5)
    assert of["B"].control == []


def test_kit_is_kept_with_what_each_instrument_reads_and_how_well(lots):
    screening, _ = lots
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    assert screening.kit == kit_used(kit)
    assert screening.kit.name == kit.name
    assert [one.name for one in screening.kit.instruments] == [one.name for one in kit.instruments]
    for told, one in zip(screening.kit.instruments, kit.instruments, strict=True):
        assert len(told.reads) == len(one.reads)
        assert len(told.accuracy) == len(one.accuracy)
    assert kit_used(None) is None


def test_accuracy_is_told_as_makers_print_it():
    kit = load_kit(EXAMPLES / "kit_supply_and_multimeters.toml")
    meter = next(one for one in kit_used(kit).instruments if "capacitance" in one.name)
    assert meter.accuracy == ["C_CB 3 % + 5 x 10 pF", "C_BE 3 % + 5 x 10 pF"]


@pytest.mark.parametrize(
    "text",
    [
        "VCB=10 V, f=1 MHz, emitter=open",
        "VCE=230 V, RBE=1 kohm, TC=25 degC",
        "IC=500 mA, IB=50 mA",
        "IC=8 A, IC/IB=10",
        "VCE=40 V, IC=800 mA, heat sink=0.5 k/w, survived=yes",
        "f=100 kHz, fixture=2.5 pF",
        "",
    ],
)
def test_conditions_in_words_read_back_as_the_same_conditions(text):
    read = parse_conditions(text)[0]
    again = parse_conditions(conditions_words(read))[0]
    assert again.keys() == read.keys()
    for key, value in read.items():
        assert again[key] == (pytest.approx(value) if isinstance(value, float) else value)


def test_single_readings_of_check_are_kept_too():
    outcome, _ = check_part("2SC5200", ["C_BE=1.9 nF @ VEB=0 V"])
    (spot,) = outcome.screening.lots[0].spots
    assert (spot.symbol, spot.value, spot.conditions) == ("C_BE", 1.9e-9, "VEB=0 V")
