"""What is no bipolar transistor is told, by the lot sheet or by a number that leaves one reading only."""

import pytest

from partscreen.reference.library import Library
from partscreen.reference.not_covered import not_covered


@pytest.mark.parametrize("kind", ["mosfet", "MOSFET", "JFET", "IC", "regulator", "zener", "triac", "IGBT", "relay"])
def test_the_kind_of_the_lot_sheet_decides(kind):
    assert not_covered("X-100", kind)


@pytest.mark.parametrize("kind", ["bipolar", "NPN", "transistor"])
def test_a_lot_said_to_be_bipolar_is_covered_whatever_its_number(kind):
    assert not_covered("2SK999", kind) is None


@pytest.mark.parametrize("number", ["2SK999", "2sj99", "2SK 999", "IRF999", "IRFP999", "TDA9999", "LM999", "1N999"])
def test_numbers_of_other_devices_are_known_by_their_beginning(number):
    assert "memory" in not_covered(number)


def test_no_type_of_the_library_would_be_left_out_by_its_number():
    library = Library.load()
    assert [name for name in library.names if not_covered(name)] == []
    assert [name for name in library.names if not_covered(name.removeprefix("2S"))] == []


@pytest.mark.parametrize("number", [None, "", "X100", "K999", "C5200", "LOT12"])
def test_nothing_is_guessed_of_other_numbers(number):
    assert not_covered(number) is None
