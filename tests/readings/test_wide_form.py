"""One row a part: headers carry the quantity, its unit and the conditions."""

import numpy as np
import pytest

from partscreen.readings.columns.wide_header import split_wide, wide_column
from partscreen.readings.import_files import read_files
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.tables import Sweep
from tests.readings.bench_files import codes, imported, write

HEADER = "part;C_BE [nF] @ VBE=0 V, f=1 MHz;hFE @ IC=0.1 A, VCE=5 V;hFE @ IC=1 A, VCE=5 V;VBE [mV] @ IC=1 A, VCE=5 V\n"
LONG = (
    "part;quantity;value;unit;conditions;sweep;ic [A];vce [V];hfe;vbe [mV]\n"
    "T1;C_BE;6,8;nF;VBE=0 V, f=1 MHz;;;;;\nT1;;;;;gain;0,1;5;100;\nT1;;;;;gain;1;5;90;690\n"
    "T2;C_BE;6,9;nF;VBE=0 V, f=1 MHz;;;;;\nT2;;;;;gain;0,1;5;101;\nT2;;;;;gain;1;5;91;691\n"
)
ROWS = "T1;6,8;100;90;690\nT2;6,9;101;91;691\n"


def same(one, other):
    """Readings of two batches, without the rows they stood in."""
    assert one.part_names == other.part_names
    for name in ("part", "run", "sweep", "session", "ic", "ib", "vce", "vbe", "hfe", "case_temp", "pulsed", "use"):
        np.testing.assert_allclose(getattr(one.points, name), getattr(other.points, name), rtol=1e-12, err_msg=name)
    assert one.spots.conditions == other.spots.conditions
    np.testing.assert_allclose(one.spots.value, other.spots.value, rtol=1e-12)
    for name in ("part", "quantity", "session"):
        np.testing.assert_array_equal(getattr(one.spots, name), getattr(other.spots, name), err_msg=name)


def test_wide_and_long_form_give_the_same_readings(tmp_path):
    wide = imported(tmp_path, HEADER + ROWS, "wide.csv")
    assert wide.problems == ()
    same(wide, imported(tmp_path, LONG, "long.csv"))
    assert wide.points.row.tolist() == [2, 2, 3, 3]


def test_header_whose_conditions_were_cut_at_commas_is_put_together(tmp_path):
    text = (HEADER + ROWS.replace(",", ".")).replace(";", ",")
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    same(batch, imported(tmp_path, HEADER + ROWS, "wide.csv"))


def test_units_may_stand_behind_the_conditions_or_in_a_row_of_their_own(tmp_path):
    plain = imported(tmp_path, HEADER + ROWS)
    behind = HEADER.replace("C_BE [nF] @ VBE=0 V, f=1 MHz", "C_BE @ VBE=0 V, f=1 MHz [nF]")
    same(imported(tmp_path, behind + ROWS), plain)
    bare = HEADER.replace("C_BE [nF]", "C_BE").replace("VBE [mV]", "VBE")
    same(imported(tmp_path, bare + ";nF;;;mV\n" + ROWS), plain)
    in_cells = ROWS.replace("6,8", "6800 pF").replace("6,9", "6,9 nF").replace("690", "0,69 V").replace("691", "691 mV")
    same(imported(tmp_path, bare + in_cells), plain)


def test_saturation_columns_make_a_saturation_sweep(tmp_path):
    text = (
        "part;VCE(sat) [mV] @ IC=1 A, IB=0.1 A;VCE(sat) [mV] @ IC=4 A, IC/IB=10;VBE(sat) [V] @ IC=4 A, IC/IB=10;"
        "VBE(sat) [V] @ IC=8 A, IC/IB=10\nT1;50;130;0,91;1,06\n"
    )
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    points = batch.points
    assert points.sweep.tolist() == [Sweep.SATURATION] * 2
    np.testing.assert_allclose(points.ib, [0.1, 0.4])
    np.testing.assert_allclose(points.vce, [0.05, 0.13])
    np.testing.assert_allclose(points.vbe, [np.nan, 0.91])
    # VBE(sat) at a current at which nobody read VCE(sat) stays a reading of its own
    assert batch.spots.quantity.tolist() == ["vbe_sat"]
    assert batch.spots.conditions == ({"IC": 8.0, "IC_over_IB": 10.0},)


def test_one_gain_is_a_single_reading_and_two_are_a_sweep(tmp_path):
    one = imported(tmp_path, "part;hFE @ IC=1 A, VCE=5 V;C_BE [nF]\nT1;90;6\n")
    assert one.points.part.size == 0
    assert one.spots.quantity.tolist() == ["hfe", "c_be"]
    assert one.spots.conditions[0] == {"IC": 1.0, "VCE": 5.0}
    two = imported(tmp_path, "part;hFE @ IC=1 A, VCE=5 V;hFE @ IC=2 A, VCE=5 V\nT1;90;85\n")
    assert two.points.ic.tolist() == [1.0, 2.0]
    assert two.spots.part.size == 0


def test_base_currents_give_the_gain_and_output_columns_a_family(tmp_path):
    gain = imported(tmp_path, "part;IB [mA] @ IC=1 A, VCE=5 V;IB [mA] @ IC=2 A, VCE=5 V\nT1;10;22\n")
    np.testing.assert_allclose(gain.points.hfe, [100.0, 2.0 / 0.022])
    heads = [f"IC [A] @ IB={b} mA, VCE={v} V" for b in (5, 10) for v in (1, 2, 5)]
    family = imported(tmp_path, "part;" + ";".join(heads) + "\nT1;0,45;0,46;0,47;0,9;0,91;0,93\n")
    assert set(family.points.sweep.tolist()) == {Sweep.OUTPUT}
    assert family.points.ib.tolist() == [0.005] * 3 + [0.01] * 3


def test_two_collector_voltages_are_two_traces_whatever_the_order_of_the_columns(tmp_path):
    heads = [f"hFE @ IC={i} A, VCE={v} V" for i in (0.1, 1, 4) for v in (2, 5)]
    batch = imported(tmp_path, "part;" + ";".join(heads) + "\nT1;90;95;85;90;60;70\n")
    assert batch.points.run.tolist() == [0, 0, 0, 1, 1, 1]
    assert batch.points.vce.tolist() == [2.0] * 3 + [5.0] * 3


def test_row_columns_hold_for_every_reading_of_the_row(tmp_path):
    head = (
        "lot;part;session;control;case temp [degC];VCE [V];hFE @ IC=1 A;hFE @ IC=2 A, t=300 us;hFE @ IC=4 A, VCE=2 V\n"
    )
    batch = imported(tmp_path, head + "A;T1;mon;no;23,5;5;90;85;60\nA;C;mon;yes;24;5;91;86;61\n")
    assert batch.problems == ()
    np.testing.assert_allclose(batch.points.case_temp[:3], 273.15 + 23.5)
    assert batch.points.vce.tolist() == [5.0, 5.0, 2.0] * 2
    assert batch.points.pulsed.tolist() == [False, True, False] * 2
    assert batch.points.control.tolist() == [False] * 3 + [True] * 3
    assert batch.sessions == ("mon",)


def test_conditions_that_are_missing_come_from_the_kit(tmp_path):
    kit = Kit.model_validate(
        {
            "name": "bench",
            "instruments": [
                {"name": "meter", "reads": ["hfe"], "conditions": {"IC": 1.0, "VCE": 5.0}},
                {"name": "bridge", "reads": ["c_be"], "conditions": {"VEB": 0.0, "f": 1e6}},
            ],
        }
    )
    batch = imported(tmp_path, "part;hFE;C_BE [nF]\nT1;90;6,1\n", kit=kit)
    assert batch.problems == ()
    assert batch.spots.conditions == ({"IC": 1.0, "VCE": 5.0}, {"VEB": 0.0, "f": 1e6})


def test_free_columns_are_named_and_rows_not_yet_read_passed_over(tmp_path):
    batch = imported(tmp_path, "part;colour;C_BE [nF];me@home\nT1;red;6,1;x\nT2;red;;\nT3;blue;-;\n")
    assert batch.problems == ()
    assert batch.part_names == ("T1",)
    assert any("columns not used: colour, me@home" in notice for notice in batch.notices)
    assert any("2 row(s) hold no reading yet and were passed over: T2, T3" in notice for notice in batch.notices)


def test_a_temperature_filled_down_is_no_reading(tmp_path):
    batch = imported(tmp_path, "part;C_BE [nF];ambient [degC];VCE [V]\nT1;6,1;23;5\nT2;;23;5\n")
    assert batch.problems == ()
    assert batch.part_names == ("T1",)


def test_a_control_piece_may_stand_first_and_last(tmp_path):
    rows = "REF;yes;6,1;90;85\nT1;no;6,2;91;86\nT2;no;6,3;92;87\nREF;yes;6,2;90;85\n"
    head = "part;control;C_BE [nF] @ VEB=0 V;hFE @ IC=1 A, VCE=5 V;hFE @ IC=2 A, VCE=5 V\n"
    batch = imported(tmp_path, head + rows)
    assert batch.problems == ()
    assert batch.points.control.tolist() == [True] * 4 + [False] * 4
    assert batch.points.run.tolist() == [0, 0, 1, 1, 2, 2, 3, 3]


def test_words_units_and_mixed_decimals_in_one_column_are_each_told_or_read(tmp_path):
    cells = ["6,8", "6.9", "6800 pF", "6,8nF", "ok", "~6", "6 uF", "7 nV", "1,234", "OL", ""]
    rows = "".join(f"T{i};{cell};90\n" for i, cell in enumerate(cells))
    batch = imported(tmp_path, "part;C_BE [nF] @ VEB=0 V;hFE\n" + rows)
    np.testing.assert_allclose(batch.spots.value[batch.spots.quantity == "c_be"], [6.8e-9, 6.9e-9, 6.8e-9, 6.8e-9])
    told = {problem.code: problem.row for problem in batch.problems}
    assert told == {
        "NOT_A_NUMBER": 6,
        "BOUND_NOT_VALUE": 7,
        "IMPOSSIBLE_SIZE": 8,
        "UNKNOWN_UNIT": 9,
        "AMBIGUOUS_NUMBER": 10,
        "OVERRANGE": 11,
    }
    assert batch.n_parts == len(cells)


def test_an_empty_sheet_is_told(tmp_path):
    batch = imported(tmp_path, "part;C_BE [nF]\nT1;\nT2;\n")
    assert codes(batch) == ["NO_READINGS"]


@pytest.mark.parametrize("between", ["", "T2;6;100;90;690\n"])
def test_a_part_in_two_rows_is_told_once_and_not_used(tmp_path, between):
    batch = imported(tmp_path, HEADER + "T1;6,8;100;90;690\n" + between + "T1;2,1;50;40;700\n")
    assert codes(batch) == ["DUPLICATE_PART"]
    assert [batch.part_names[code] for code in batch.condition] == ["T1"]


def test_the_second_half_of_a_part_may_stand_in_a_row_of_its_own(tmp_path):
    batch = imported(tmp_path, HEADER + "T1;6,8;;;\nT1;;100;90;690\n")
    assert batch.problems == ()
    same(batch, imported(tmp_path, HEADER + "T1;6,8;100;90;690\n"))


def test_pnp_signs_of_header_and_cells_are_kept_beside_magnitudes(tmp_path):
    head = "part;hFE @ IC=-0.1 A, VCE=-5 V;hFE @ IC=-1 A, VCE=-5 V;VBE [V] @ IC=-1 A, VCE=-5 V\n"
    batch = imported(tmp_path, head + "T1;100;90;-0,69\n")
    assert batch.problems == ()
    assert batch.part_sign.tolist() == [-1]
    assert batch.points.ic.tolist() == [0.1, 1.0]
    assert batch.points.vbe[1] == 0.69


@pytest.mark.parametrize(
    ("column", "cell", "code", "what"),
    [
        ("C_BX [nF] @ VBE=0 V", "6", "UNKNOWN_QUANTITY", "no quantity that is known"),
        ("VCE [V] @ IC=1 A", "6", "UNKNOWN_QUANTITY", "no reading that has conditions"),
        ("C_BE [mF] @ VBE=0 V", "6", "AMBIGUOUS_UNIT", "millifarad"),
        ("C_BE [nV] @ VBE=0 V", "6", "UNKNOWN_UNIT", "'nV' is no unit"),
        ("C_BE [nF] @ VXE=0 V", "6", "UNKNOWN_CONDITION", "'VXE' is not known"),
        ("C_BE [nF] @ f=1 mhz", "6", "AMBIGUOUS_UNIT", "megahertz"),
        ("C_BE [nF] @ VEB=0 V, VEB=1 V", "6", "CONDITION_TWICE", "given twice"),
        ("C_BE @ VBE=0 V", "6", "NO_UNIT", "has no unit"),
        ("C_BE [nF] @ VBE=0 V", "< 6", "BOUND_NOT_VALUE", "is a bound"),
        ("C_BE [nF] @ VBE=0 V", "OL", "OVERRANGE", "over its range"),
        ("C_BE [nF] @ VBE=0 V", "6000000", "IMPOSSIBLE_SIZE", "impossible"),
        ("C_BE [nF] @ VBE=0 V", "fine", "NOT_A_NUMBER", "is not a number"),
        ("hFE @ IC=2 A, VCE=5 V", "-90", "NEGATIVE_VALUE", "cannot be negative"),
    ],
)
def test_a_bad_column_or_cell_is_named_and_the_rest_stands(tmp_path, column, cell, code, what):
    batch = imported(tmp_path, f"part;C_CB [pF] @ VCB=10 V;{column}\nT1;190;\nT2;191;{cell}\n")
    (problem,) = batch.problems
    assert (problem.code, problem.column) == (code, column)
    assert what in problem.what
    assert batch.spots.quantity.tolist() == ["c_cb", "c_cb"]


def test_an_ambiguous_figure_stops_its_column(tmp_path):
    batch = imported(tmp_path, 'part,"C_CB [pF] @ VCB=10 V"\nT1,"1,234"\nT2,190\n')
    assert codes(batch) == ["AMBIGUOUS_NUMBER"]
    assert batch.spots.part.size == 0


def test_the_same_reading_in_two_columns_is_not_chosen_between_silently(tmp_path):
    batch = imported(tmp_path, "part;C_BE [nF] @ VEB=0 V;C_BE [pF] @ VBE=0 V\nT1;6;7\n")
    assert codes(batch) == ["COLUMN_TWICE"]
    assert batch.problems[0].column == "C_BE [pF] @ VBE=0 V"


def test_a_column_map_reads_a_wide_file_with_names_of_its_own(tmp_path):
    text = 'format = "wide"\n[columns]\npart = "Nr"\n"C_BE @ VBE=0 V, f=1 MHz" = { column = "cap", unit = "nF" }\n'
    text += '"hFE @ IC=0.1 A, VCE=5 V" = "g1"\n"hFE @ IC=1 A, VCE=5 V" = "g2"\n'
    text += '"VBE [mV] @ IC=1 A, VCE=5 V" = "v"\n'
    path = write(tmp_path, "map.toml", text)
    batch = imported(tmp_path, "Nr;cap;g1;g2;v\n" + ROWS, column_map=path)
    assert batch.problems == ()
    same(batch, imported(tmp_path, HEADER + ROWS))


def test_the_map_saved_from_a_wide_file_reads_it_again(tmp_path):
    from partscreen.readings.columns.understanding import save_column_map

    path = write(tmp_path, "wide.csv", HEADER + ROWS)
    found = read_files([path])
    save_column_map(tmp_path / "map.toml", found.understanding[0])
    again = read_files([path], column_map=tmp_path / "map.toml")
    assert again.batch.problems == ()
    same(again.batch, found.batch)


def test_a_forward_bias_of_the_capacitance_is_not_taken_for_a_reverse_bias():
    for said, expected in (("VBE=0 V", {"VEB": 0.0}), ("VBE=-5 V", {"VEB": 5.0}), ("VBE=0.4 V", {"VBE": 0.4})):
        column, wrong, _ = wide_column(1, f"C_BE [nF] @ {said}")
        assert not wrong
        assert column.conditions == expected


def test_name_and_conditions_come_apart_at_the_first_sign():
    assert split_wide("C_BE [nF] @ VBE=0 V, f=1 MHz") == ("C_BE [nF]", "VBE=0 V, f=1 MHz")
    assert split_wide("C_BE @ VBE=0 V (nF)") == ("C_BE [nF]", "VBE=0 V")
    assert split_wide("hFE") == ("hFE", "")
