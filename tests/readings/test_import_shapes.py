"""The same readings, brought in many shapes, make the same batch."""

import datetime

import numpy as np
import pytest
from openpyxl import Workbook

from partscreen.readings.import_files import read_files
from partscreen.readings.tables import Sweep
from tests.readings.bench_files import ROWS, imported, lines, number, write

MILLI = (1e3, 1e3, 1.0, 1e3)
MILLI_HEADER = ("lot", "part", "Ic [mA]", "IB (mA)", "VCE/V", "VBE (mV)", "Tc (°C)")


def _text(some_lines):
    return "\n".join(some_lines) + "\n"


def _unit_row():
    first, *rest = lines(header=("lot", "part", "IC", "IB", "VCE", "VBE", "TC"), scales=MILLI)
    return _text([first, ",,mA,mA,V,mV,°C", *rest])


def _units_in_cells():
    out = ["lot;part;IC;IB;VCE;VBE;temp"]
    for lot, part, ic, ib, vce, vbe, temp in ROWS:
        cells = [
            f"{number(ic * 1e3, ',')} mA",
            f"{number(ib * 1e6, ',')} µA",
            f"{number(vce, ',')} V",
            f"{number(vbe, ',')}V",
        ]
        out.append(";".join([lot, part, *cells, f"{number(temp, ',')} °C"]))
    return _text(out)


def _repeated_header():
    head, *rest = lines()
    return _text([head, *rest[:4], "", head, *rest[4:]])


def _quoted_commas():
    head, *rest = lines(";", ",")
    return _text([head.replace(";", ","), *(",".join(f'"{cell}"' for cell in row.split(";")) for row in rest)])


def _other_order():
    out = ["vbe [V]\tpart\tcase_temp_c\tib_ua\tlot\tvce_v\tic_ma"]
    for lot, part, ic, ib, vce, vbe, temp in ROWS:
        cells = [
            number(vbe, "."),
            part,
            number(temp, "."),
            number(ib * 1e6, "."),
            lot,
            number(vce, "."),
            number(ic * 1e3, "."),
        ]
        out.append("\t".join(cells))
    return _text(out)


SHAPES = {
    "plain commas": _text(lines()),
    "semicolons and decimal commas": _text(lines(";", ",")),
    "tabs": _text(lines("\t")),
    "tabs and decimal commas": _text(lines("\t", ",")),
    "pipes": _text(lines("|")),
    "two spaces": _text(lines("   ")),
    "single spaces": _text(lines(" ", header=("lot", "part", "ic_a", "ib_a", "vce_v", "vbe_v", "temp_c"))),
    "byte-order mark": "\ufeff" + _text(lines()),
    "UTF-16": _text(lines(";", ",", MILLI_HEADER, MILLI)).encode("utf-16"),
    "UTF-16 without mark": _text(lines(";", ",", MILLI_HEADER, MILLI)).encode("utf-16-le"),
    "Latin-1": _text(lines(";", ",", MILLI_HEADER, MILLI)).encode("latin-1"),
    "milli units in headers": _text(lines(header=MILLI_HEADER, scales=MILLI)),
    "unit row": _unit_row(),
    "units in cells": _units_in_cells(),
    "preamble and comments": "Kegelbahn Nord\nroom 25 °C, new leads\n\n" + _text(lines()) + "# end of session\n",
    "header as comment": "# " + _text(lines()),
    "repeated header": _repeated_header(),
    "trailing delimiters": _text([line + ";;" for line in lines(";", ",")]),
    "quoted cells": _quoted_commas(),
    "Windows line ends": _text(lines()).replace("\n", "\r\n"),
    "blank lines": _text(lines()).replace("\n", "\n\n"),
    "other order and units": _other_order(),
    "negative PNP readings": _text(lines(sign=-1.0)),
    "unicode minus": _text(lines(";", ",", sign=-1.0)).replace("-", "−"),
}


def _assert_as_written(batch):
    assert batch.problems == ()
    assert batch.part_names == ("1", "2", "7")
    assert [lot.name for lot in batch.lots] == ["A1", "B2"]
    assert batch.part_lot.tolist() == [0, 0, 1]
    points = batch.points
    assert points.part.tolist() == [0, 0, 0, 1, 1, 1, 2, 2, 2]
    assert points.run.tolist() == [0, 0, 0, 1, 1, 1, 2, 2, 2]
    assert set(points.sweep.tolist()) == {Sweep.GAIN}
    for column, name in ((2, "ic"), (3, "ib"), (4, "vce"), (5, "vbe")):
        np.testing.assert_allclose(getattr(points, name), [row[column] for row in ROWS], rtol=1e-9, err_msg=name)
    np.testing.assert_allclose(points.case_temp, 25.5 + 273.15, rtol=1e-12)
    np.testing.assert_allclose(points.hfe, [row[2] / row[3] for row in ROWS], rtol=1e-9)
    assert points.use.all()
    assert not points.pulsed.any()
    assert not points.control.any()


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_gives_the_same_batch(tmp_path, shape):
    _assert_as_written(imported(tmp_path, SHAPES[shape]))


def test_workbook_gives_the_same_batch_from_two_sheets(tmp_path):
    book = Workbook()
    notes = book.active
    notes.title = "Notes"
    notes.append(["bought in spring"])
    for lot in ("A1", "B2"):
        sheet = book.create_sheet(lot)
        sheet.append(["readings of the bag"])
        sheet.append(["lot", "part", "Ic [mA]", "IB [A]", "VCE [V]", "VBE [V]", "Tc [degC]"])
        for row in ROWS:
            if row[0] == lot:
                sheet.append([row[0], int(row[1]), row[2] * 1e3, *row[3:]])
    path = tmp_path / "bag.xlsx"
    book.save(path)
    found = read_files([path])
    _assert_as_written(found.batch)
    assert [(one.sheet, one.rows) for one in found.understanding] == [("A1", 6), ("B2", 3)]
    assert found.batch.points.row.tolist() == [3, 4, 5, 6, 7, 8, 3, 4, 5]


def test_workbook_is_known_by_content_when_its_name_says_csv(tmp_path):
    book = Workbook()
    for line in lines():
        book.active.append(line.split(","))
    path = tmp_path / "bag.csv"
    book.save(path)
    _assert_as_written(read_files([path]).batch)


def test_typed_text_in_a_workbook_is_not_settled_by_stored_numbers(tmp_path):
    book = Workbook()
    book.active.append(["part", "hfe", "vce [V]", "ic [A]"])
    book.active.append(["1", "1,234", 5.5, 0.25])
    path = tmp_path / "bag.xlsx"
    book.save(path)
    batch = read_files([path]).batch
    assert [problem.code for problem in batch.problems] == ["AMBIGUOUS_NUMBER"]
    assert batch.problems[0].column == "Sheet!B (hfe)"


def test_rows_are_numbered_as_in_the_file(tmp_path):
    batch = imported(tmp_path, "title\n\npart,ic [A],hfe\n,A,\n# remark\n1,1,80\n\n1,2,70\n")
    assert batch.points.row.tolist() == [6, 8]


def test_reversed_sweep_keeps_the_order_in_which_it_was_read(tmp_path):
    batch = imported(tmp_path, "part,ic [A],hfe\n1,2,70\n1,1,80\n1,0.5,85\n")
    assert batch.points.ic.tolist() == [2.0, 1.0, 0.5]


def test_rows_sorted_by_current_are_one_sweep_of_each_part(tmp_path):
    rows = [f"P{part},{ic},{80 + part}" for ic in (0.1, 0.2, 0.4) for part in (1, 2, 3)]
    batch = imported(tmp_path, "part,ic [A],hfe\n" + "\n".join(rows))
    assert batch.problems == ()
    assert batch.points.ic.tolist() == [0.1, 0.2, 0.4] * 3
    assert len(set(batch.points.run.tolist())) == 3


def test_sign_of_the_readings_is_kept_beside_magnitudes(tmp_path):
    signed = imported(tmp_path, "part,ic [A],ib [mA]\n1,-1,-10\n1,-2,-21\n2,1,10\n")
    assert signed.part_sign.tolist() == [-1, 1]
    assert signed.points.ic.tolist() == [1.0, 2.0, 1.0]


def test_small_reversed_currents_stay_negative_for_the_offset_check(tmp_path):
    batch = imported(tmp_path, "part,ic [A],ib [mA],vbe [V]\n1,0.00001,-0.01,-0.3\n1,-0.1,-1,-0.6\n1,-1,-10,-0.7\n")
    np.testing.assert_allclose(batch.points.ic, [-1e-5, 0.1, 1.0])
    assert batch.points.use.all()
    assert batch.part_sign.tolist() == [-1]


def test_large_reversed_readings_are_kept_but_not_used(tmp_path):
    batch = imported(tmp_path, "part,ic [A],ib [mA],vbe [V]\n1,-0.5,-5,-0.68\n1,0.6,6,0.6\n1,1,10,0.7\n")
    assert batch.points.use.tolist() == [False, True, True]
    assert [note.code for note in batch.quality[0]] == ["SIGN_MIXED"]
    assert batch.quality[0][0].figures["rows"] == 1


def test_a_second_trace_at_another_bias_is_its_own_run(tmp_path):
    rows = [f"1,{ic},{80 - ic},{vce}" for vce in (2, 5) for ic in (0.1, 1, 2, 4)]
    batch = imported(tmp_path, "part,ic [A],hfe,vce [V]\n" + "\n".join(rows))
    assert batch.problems == ()
    assert batch.points.run.tolist() == [0] * 4 + [1] * 4


def test_up_and_down_is_one_run(tmp_path):
    rows = [f"1,{ic},{80 - ic},5" for ic in (0.1, 1, 2, 4, 2, 1, 0.1)]
    batch = imported(tmp_path, "part,ic [A],hfe,vce [V]\n" + "\n".join(rows))
    assert batch.points.run.tolist() == [0] * 7
    assert batch.points.ic.tolist() == [0.1, 1, 2, 4, 2, 1, 0.1]


def test_sweep_and_spot_rows_share_a_file(tmp_path):
    text = (
        "lot;part;quantity;value;unit;conditions;ic [A];ib [mA];vce [V]\n"
        "A;1;C_CB;118,5;pF;VCB=10 V, f=1 MHz, base=open;;;\n"
        "A;1;;;;;1,0;10,5;5\n"
        "A;1;;;;;2,0;21;5\n"
        "A;1;C_BE;4,8 nF;;;;;\n"
    )
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    assert batch.spots.quantity.tolist() == ["c_cb", "c_be"]
    np.testing.assert_allclose(batch.spots.value, [118.5e-12, 4.8e-9], rtol=1e-12)
    assert batch.spots.conditions == ({"VCB": 10.0, "f": 1e6, "base": "open"}, {})
    assert batch.spots.row.tolist() == [2, 5]
    assert batch.points.ic.tolist() == [1.0, 2.0]


def test_gain_and_saturation_in_one_row_become_two_readings(tmp_path):
    batch = imported(tmp_path, "part,ic [A],hfe,vce [V],vbe [V],vce_sat [mV]\n1,1,80,5,0.7,210\n")
    points = batch.points
    assert points.sweep.tolist() == [Sweep.GAIN, Sweep.SATURATION]
    assert points.vce.tolist() == [5.0, 0.21]
    assert np.isnan(points.hfe[1])
    assert np.isnan(points.vbe[1])


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("part,ic [A],ib [mA],vce [V]\n" + "".join(f"1,{i / 10},{i},4\n" for i in range(1, 8)), Sweep.GAIN),
        ("part,ib [mA],ic [A],vce [V]\n" + "".join(f"1,{i},{i * 0.08},4\n" for i in range(1, 8)), Sweep.GAIN),
        ("part,ic [A],hfe\n1,1,80\n", Sweep.GAIN),
        ("part,ic [A],vce_sat [V]\n1,1,0.2\n1,2,0.3\n", Sweep.SATURATION),
        ("part,ic [A],ib [A],vce [V]\n1,1,0.1,0.2\n1,2,0.2,0.3\n1,4,0.4,0.6\n", Sweep.SATURATION),
        (
            "part,ib [mA],vce [V],ic [A]\n"
            + "".join(f"1,{b},{v},{b * 0.08 + v / 1e3}\n" for b in (1, 2, 3) for v in range(1, 9)),
            Sweep.OUTPUT,
        ),
        (
            "part,vbe [V],ic [A],ib [A],vce [V]\n"
            + "".join(f"1,{0.5 + 0.02 * i:.2f},{1e-6 * 2.17**i:.5g},{1e-8 * 2.1**i:.5g},5\n" for i in range(8)),
            Sweep.GUMMEL,
        ),
    ],
)
def test_kind_of_sweep_is_told_from_what_was_stepped(tmp_path, text, kind):
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    assert set(batch.points.sweep.tolist()) == {kind}


def test_base_current_and_gain_alone_give_no_collector_current_out_of_thin_air(tmp_path):
    batch = imported(tmp_path, "part,hfe\n1,80\n2,90\n")
    assert np.isnan(batch.points.ic).all()
    assert batch.points.hfe.tolist() == [80.0, 90.0]


def test_given_gain_that_disagrees_with_the_currents_is_told_and_the_currents_win(tmp_path):
    batch = imported(tmp_path, "part,ic [A],ib [A],hfe\n1,1.000,0.01000,100\n1,2.000,0.02000,120\n")
    np.testing.assert_allclose(batch.points.hfe, [100.0, 100.0])
    assert any("HFE_DISAGREES in row 3: hFE is given as 120, IC/IB makes 100" in notice for notice in batch.notices)
    assert [note.code for note in batch.quality[0]] == ["HFE_DISAGREES"]


def test_gain_from_currents_of_few_digits_does_not_overrule_the_given_one(tmp_path):
    batch = imported(tmp_path, "part,ic [A],ib [A],hfe\n1,1.0,0.01,92\n")
    assert batch.points.hfe.tolist() == [92.0]
    assert not batch.quality


def test_pulse_control_session_run_and_time_are_read(tmp_path):
    text = (
        "part,session,run,ic [A],hfe,pulse,control,time\n"
        "1,mon,1,1,80,300 us,yes,09:00:00\n1,mon,1,2,70,yes,yes,09:00:30\n2,mon,1,1,81,no,no,9:01\n1,tue,2,1,82,50 ms,1,09:02:00\n"  # noqa: E501
    )
    batch = imported(tmp_path, text)
    assert batch.problems == ()
    assert batch.sessions == ("mon", "tue")
    assert batch.points.part.tolist() == [0, 0, 0, 1]
    assert batch.points.run.tolist() == [0, 0, 1, 2]
    assert batch.points.pulsed.tolist() == [True, True, False, False]
    assert batch.points.control.tolist() == [True, True, True, False]
    assert batch.points.time.tolist() == [0.0, 30.0, 120.0, 60.0]


def test_several_files_make_one_batch_and_rows_name_their_file(tmp_path):
    one = write(tmp_path, "oak.csv", "part,ic [A],hfe\n1,1,80\n")
    two = write(tmp_path, "elm.csv", "part,ic [A],hfe\n1,1,90\n")
    batch = read_files([one, two], type_name="2SC5200").batch
    assert [(lot.name, lot.type) for lot in batch.lots] == [("oak", "2SC5200"), ("elm", "2SC5200")]
    assert batch.points.file.tolist() == [0, 1]
    assert batch.sessions == ("oak.csv", "elm.csv")
    assert [one.rows for one in batch.inputs] == [1, 1]
    assert all(one.sha256 is not None and len(one.sha256) == 64 for one in batch.inputs)


def test_uncertainties_wait_for_the_kit(tmp_path):
    batch = imported(tmp_path, "part,ic [A],hfe\n1,1,80\n")
    for name in ("ic_std", "hfe_std", "vbe_std", "vce_std"):
        assert np.isnan(getattr(batch.points, name)).all()


def test_forced_currents_with_evenly_spaced_vbe_are_no_gummel_run(tmp_path):
    rows = [f"1,{ic},{80 - i},{0.6 + 0.02 * i:.2f},5" for i, ic in enumerate((0.1, 0.2, 0.5, 1, 2, 4, 8))]
    batch = imported(tmp_path, "part,ic [A],hfe,vbe [V],vce [V]\n" + "\n".join(rows))
    assert set(batch.points.sweep.tolist()) == {Sweep.GAIN}


def test_base_current_and_gain_state_the_collector_current(tmp_path):
    batch = imported(tmp_path, "part,ib [mA],hfe\n1,10,80\n1,20,75\n")
    np.testing.assert_allclose(batch.points.ic, [0.8, 1.5])
    assert any("IC worked out as hFE x IB in 2 row(s)" in notice for notice in batch.notices)


def test_cells_over_several_lines_keep_the_row_numbers_of_the_file(tmp_path):
    batch = imported(tmp_path, 'part,ic [A],hfe,remark\n1,1,80,"first\nsecond line"\n2,1,81,fine\n')
    assert batch.problems == ()
    assert batch.points.row.tolist() == [2, 4]


def test_files_of_one_name_in_two_folders_are_told_apart(tmp_path):
    paths = []
    for folder, gain in (("monday", 80), ("tuesday", 81)):
        (tmp_path / folder).mkdir()
        paths.append(write(tmp_path / folder, "bag.csv", f"part,ic [A],hfe\n1,1,{gain}\n"))
    batch = read_files(paths).batch
    assert [one.file for one in batch.inputs] == ["monday/bag.csv", "tuesday/bag.csv"]
    assert batch.sessions == ("monday/bag.csv", "tuesday/bag.csv")
    assert batch.n_parts == 1
    assert batch.points.run.tolist() == [0, 1]
    assert "2 files are named bag.csv: without a lot column they are one lot, bag" in batch.notices


def test_text_without_quotes_is_cut_exactly_as_text_with_them(tmp_path):
    head, *rest = lines()
    mixed = [head, *rest[:2], "", "# remark, with, commas", head, *rest[2:], "   "]
    plain = read_files([write(tmp_path, "bag.csv", "\n".join(mixed) + "\n")])
    quoted = read_files([write(tmp_path, "bag.csv", "\n".join(row.replace("A1", '"A1"', 1) for row in mixed) + "\n")])
    for name in ("part", "run", "sweep", "ic", "ib", "vce", "vbe", "hfe", "row"):
        assert np.array_equal(getattr(plain.batch.points, name), getattr(quoted.batch.points, name)), name
    assert plain.understanding[0].ignored == quoted.understanding[0].ignored
    assert plain.understanding[0].ignored == [
        "1 comment line(s), the first in row 5",
        "1 repeated header or unit row(s), the first in row 6",
    ]


@pytest.mark.parametrize("quote", ["", '"'])
def test_parts_called_number_sign_are_no_comments(tmp_path, quote):
    text = f"part,ic [A],hfe\n{quote}#1{quote},0.5,80\n#2,0.5,81\n# end of session\n#3,1,82\n"
    batch = imported(tmp_path, text)
    assert batch.part_names == ("#1", "#2", "#3")
    assert batch.notices == ("bag.csv: left out 1 comment line(s), the first in row 4",)


def test_another_script_is_decoded_and_said(tmp_path):
    text = "лот;деталь;part;ic [A];hfe\nПартия первая, склад Ольхи;транзистор новый;P1;0,5;80\n" * 1
    found = read_files(
        [write(tmp_path, "bag.csv", (text + "Партия первая;транзистор старый;P2;0,5;81\n").encode("cp1251"))]
    )
    assert found.batch.problems == ()
    assert found.batch.part_names == ("P1", "P2")
    assert found.understanding[0].encoding not in ("UTF-8", "plain ASCII", "Windows-1252 (Latin-1)")


def test_a_number_the_spreadsheet_turned_into_a_date_is_named(tmp_path):
    book = Workbook()
    book.active.append(["part", "ic [A]", "hfe"])
    book.active.append(["1", datetime.date(2026, 8, 4), 80])
    book.active.append(["2", 4.8, 80])
    book.save(tmp_path / "bag.xlsx")
    batch = read_files([tmp_path / "bag.xlsx"]).batch
    assert [(p.code, p.row, p.column) for p in batch.problems] == [("DATE_NOT_NUMBER", 2, "Sheet!B (ic [A])")]
    assert "turned" in batch.problems[0].what
