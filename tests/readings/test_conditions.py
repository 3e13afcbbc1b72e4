"""Single readings and conditions as people write them; units with one reading only."""

import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.columns.conditions import parse_conditions, parse_reading
from partscreen.readings.columns.recognise import recognise
from partscreen.readings.columns.units import DoubtfulUnit, read_unit


@pytest.mark.parametrize(
    ("text", "quantity", "value", "conditions"),
    [
        ("C_CB=118 pF @ VCB=10 V, f=1 MHz", "c_cb", 118e-12, {"VCB": 10.0, "f": 1e6}),
        ("C_BE = 4,8 nF", "c_be", 4.8e-9, {}),
        ("hFE=85 @ IC=1 A, VCE=5 V", "hfe", 85.0, {"IC": 1.0, "VCE": 5.0}),
        ("VCE(sat)=210mV @ IC=5 A; IB=0,5 A", "vce_sat", 0.21, {"IC": 5.0, "IB": 0.5}),
        ("V(BR)CEO=260 V @ IC=10 mA, base=open", "v_br_ceo", 260.0, {"IC": 0.01, "base": "open"}),
        ("ICBO=-3 µA @ VCB=-150 V", "icbo", 3e-6, {"VCB": 150.0}),
        ("vbe=0.653 @ IC=58 mA VCE=5 V TC=25 degC", "vbe", 0.653, {"IC": 0.058, "VCE": 5.0, "TC": 298.15}),
        ("dwell=60 s @ V=60 V, I=1 A, heat sink=large", "dwell", 60.0, {"V": 60.0, "I": 1.0, "heat_sink": "large"}),
        ("die edge x=3.3 mm", "die_edge_x", 3.3e-3, {}),
    ],
)
def test_a_reading_on_one_line(text, quantity, value, conditions):
    read = parse_reading(text)
    assert read.quantity == quantity
    assert read.value == pytest.approx(value, rel=1e-12)
    assert read.conditions == pytest.approx(conditions)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("hFF=80", "UNKNOWN_QUANTITY"),
        ("IC=5 A", "UNKNOWN_QUANTITY"),
        ("C_BE", "UNKNOWN_QUANTITY"),
        ("C_BE=", "NO_VALUE"),
        ("C_BE=4.8", "NO_UNIT"),
        ("C_BE=4.8 V", "UNKNOWN_UNIT"),
        ("C_BE=4.8 mF", "AMBIGUOUS_UNIT"),
        ("hFE=1,234", "AMBIGUOUS_NUMBER"),
        ("hFE=-80", "NEGATIVE_VALUE"),
        ("hFE=nan", "NOT_A_NUMBER"),
        ("V(BR)CEO=260 kV", "IMPOSSIBLE_SIZE"),
        ("hFE=80 @ f=1", "NO_UNIT"),
        ("hFE=80 @ IC=1 A, IC=2 A", "CONDITION_TWICE"),
    ],
)
def test_a_reading_that_cannot_be_used_says_why(text, code):
    with pytest.raises(UnusableInput) as caught:
        parse_reading(text)
    assert [problem.code for problem in caught.value.problems] == [code]


def test_every_problem_of_a_line_is_told_at_once():
    with pytest.raises(UnusableInput) as caught:
        parse_reading("C_BE=4.8 @ VXB=3 V, f=1 mhz")
    assert [problem.code for problem in caught.value.problems] == ["NO_UNIT", "UNKNOWN_CONDITION", "AMBIGUOUS_UNIT"]


def test_words_without_a_name_are_kept_as_a_note():
    assert parse_conditions("VCB=10 V; ordinary meter") == ({"VCB": 10.0, "note": "ordinary meter"}, [], [])


@pytest.mark.parametrize(
    ("unit", "si", "factor"),
    [
        ("mA", "A", 1e-3), ("ma", "A", 1e-3), ("µA", "A", 1e-6),
        ("UA", "A", 1e-6), ("[mA]", "A", 1e-3), ("PF", "F", 1e-12),
        ("nfd", "F", 1e-9), ("mV", "V", 1e-3), ("mv", "V", 1e-3),
        ("kHz", "Hz", 1e3), ("KHZ", "Hz", 1e3), ("MHZ", "Hz", 1e6),
        ("Ω", "ohm", 1.0), ("Mohm", "ohm", 1e6), ("mohm", "ohm", 1e-3),
        ("us", "s", 1e-6), ("mm", "m", 1e-3), ("%", "1", 0.01),
        ("milliamps", "A", 1e-3), ("°C", "K", 1.0),
    ],
)  # fmt: skip
def test_units_with_one_reading_are_read(unit, si, factor):
    assert read_unit(unit, si).factor == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(
    ("unit", "si"), [("MA", "A"), ("MV", "V"), ("mF", "F"), ("MF", "F"), ("mhz", "Hz"), ("MOHM", "ohm"), ("MS", "s")]
)
def test_units_with_two_readings_are_refused(unit, si):
    with pytest.raises(DoubtfulUnit) as caught:
        read_unit(unit, si)
    assert len(caught.value.readings) == 2


@pytest.mark.parametrize(
    ("header", "role", "unit"),
    [
        ("Ic [mA]", "ic", "mA"), ("ic_a", "ic", "A"),
        ("VCE(sat)/mV", "vce_sat", "mV"), ("VCE(sat)", "vce_sat", None), ("hFE", "hfe", None),
        ("vce_sat", "vce_sat", None), ("VCE (V)", "vce", "V"),
        ("Tc (°C)", "case_temp", "degC"), ("temp_c", "case_temp", "degC"),
        ("t/s", "time", "s"), ("IC in mA", "ic", "mA"),
        ("VBE, mV", "vbe", "mV"), ("Part no.", "part", None), ("#", "part", None),
        ("specimen", "part", None), ("Pulse [us]", "pulse", "us"), ("beta", "hfe", None),
    ],
)  # fmt: skip
def test_headers_are_recognised_with_their_unit(header, role, unit):
    found = recognise(header)
    assert found is not None
    assert found.doubt is None
    assert (found.role, found.unit.name if found.unit else None) == (role, unit)


@pytest.mark.parametrize("header", ["t", "b", "note", "type_number", "Ic max", "", "12"])
def test_headers_that_may_mean_anything_are_not_guessed(header):
    assert recognise(header) is None
