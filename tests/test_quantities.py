"""Units are parsed once, at the door, and a unit that does not fit is refused."""

import pytest

from partscreen.quantities import find_quantity, unit_factor


@pytest.mark.parametrize(
    ("unit", "si", "factor", "offset"),
    [
        ("mA", "A", 1e-3, 0.0),
        ("µA", "A", 1e-6, 0.0),
        ("nF", "F", 1e-9, 0.0),
        ("°C", "K", 1.0, 273.15),
        ("kohm", "ohm", 1e3, 0.0),
        ("", "1", 1.0, 0.0),
    ],
)
def test_unit_factor_turns_bench_units_into_si(unit, si, factor, offset):
    got = unit_factor(unit, si)
    assert got == pytest.approx((factor, offset), rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("unit", "si"), [("mA", "V"), ("furlongs", "A"), ("pf", "F"), ("[]", "A"), ("nF**0", "F"), ("1/nF**0", "F")]
)
def test_unit_that_does_not_fit_is_refused(unit, si):
    with pytest.raises(ValueError, match="cannot be read"):
        unit_factor(unit, si)


@pytest.mark.parametrize(
    ("printed", "key"),
    [("VCE(sat)", "vce_sat"), ("Cob", "c_cb"), ("C_BE", "c_be"), ("hFE", "hfe"), ("V(BR)CEO", "v_br_ceo")],
)
def test_printed_names_find_their_quantity(printed, key):
    found = find_quantity(printed)
    assert found is not None
    assert found.key == key
