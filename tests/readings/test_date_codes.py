"""Date codes of single parts."""

import numpy as np
import pytest

from partscreen.readings.import_files import import_files
from partscreen.readings.rows.date_codes import codes_of_sheet, plain_code
from partscreen.readings.some_parts import take_parts
from partscreen.readings.tables import Lot

ROWS = """lot,part,date_code,quantity,value,unit,conditions
A1,T1,9914,C_BE,5,nF,VEB=0 V
A1,T1,,C_CB,200,pF,VCB=10 V
A1,T2, 02 31a ,C_BE,5.1,nF,VEB=0 V
A1,T3,,C_BE,5.2,nF,VEB=0 V
"""


def read(tmp_path, text, **more):
    path = tmp_path / "bag.csv"
    path.write_text(text, encoding="utf-8")
    return import_files([path], **more)


def test_a_column_gives_every_part_its_code(tmp_path):
    found = read(tmp_path, ROWS)
    assert found.date_codes == {0: "9914", 1: "02 31A"}
    assert not found.problems
    assert not [notice for notice in found.notices if "not used" in notice]


def test_two_codes_on_one_part_are_told_and_the_first_is_taken(tmp_path):
    found = read(tmp_path, ROWS.replace("A1,T1,,C_CB", "A1,T1,0231,C_CB"))
    (problem,) = found.problems
    assert (problem.code, problem.part, problem.row) == ("DATE_CODE_TWICE", "T1", 3)
    assert found.date_codes[0] == "9914"


def test_the_lot_sheet_may_tell_codes_by_part_and_the_rows_come_first(tmp_path):
    lot = Lot("A1", extra={"code_on_parts": "0402=T2, T3; 9911=T1; 0501=T9"})
    found = read(tmp_path, ROWS, default_lots=[lot])
    assert found.date_codes == {0: "9914", 1: "02 31A", 2: "0402"}
    assert [notice for notice in found.notices if "T9" in notice]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("9914", []),
        ("", []),
        ("9914=T1-T3", [("T1", "9914"), ("T2", "9914"), ("T3", "9914")]),
        ("99 14 = T08-T10 ; 02x=B", [("T08", "99 14"), ("T09", "99 14"), ("T10", "99 14"), ("B", "02X")]),
    ],
)
def test_entries_of_the_sheet_name_parts_and_ranges(text, told):
    assert list(codes_of_sheet(Lot("A1", extra={"code_on_parts": text}))) == told


def test_a_code_is_compared_without_outer_and_double_spaces_and_in_capitals():
    assert plain_code("  w 9914\tx ") == "W 9914 X"


def test_codes_follow_their_parts_when_some_are_taken_out(tmp_path):
    found = read(tmp_path, ROWS)
    left = take_parts(found, found.part_lot == 0)
    assert left.date_codes == found.date_codes
    keep = [name != "T1" for name in found.part_names]
    assert take_parts(found, np.array(keep)).date_codes == {0: "02 31A"}
