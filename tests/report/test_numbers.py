import math

import pytest

from partscreen.report.numbers import exact, figure, logged, loose, measured, odds, probability

NBSP = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("value", "unit", "printed"),
    [
        (0.0134, "A", "13.4 mA"),
        (1.2e-9, "F", "1.20 nF"),
        (0.9996, "A", "1.00 A"),  # not "1000 mA"
        (15.0, "A", "15.0 A"),
        (55.0, "1", "55.0"),
        (3e7, "Hz", "30.0 MHz"),
        (-0.002, "V", "−2.00 mV"),
        (0.0, "V", "0 V"),
        (299.4, "K", "299 K"),
        (0.83, "degC/W", "0.830 °C/W"),
        (None, "V", "not known"),
        (math.nan, "V", "not known"),
        (math.inf, "V", "unbounded"),
    ],
)
def test_a_figure_carries_an_engineering_prefix_and_three_digits(value, unit, printed):
    assert figure(value, unit).replace(NBSP, " ") == printed


@pytest.mark.parametrize(
    ("value", "std", "unit", "printed"),
    [
        (104.32, 1.55, "1", "104.3 ± 3.1"),
        (0.6121, 0.0115, "V", "612 ± 23 mV"),
        (1.9e-9, 4e-11, "F", "1.900 ± 0.080 nF"),
        (1234.0, 185.0, "1", "1230 ± 370"),
        (0.0, 0.001, "V", "0.0 ± 2.0 mV"),
        (1e-6, 1e-3, "A", "0.0 ± 2.0 mA"),  # nothing but uncertainty: no digit is claimed
        (66.4, None, "1", "66.4 (uncertainty not known)"),
        (None, 0.1, "V", "not known"),
    ],
)
def test_a_measured_value_has_the_digits_its_expanded_uncertainty_allows(value, std, unit, printed):
    assert measured(value, std, unit).replace(NBSP, " ") == printed


def test_a_printed_limit_is_not_rounded():
    assert exact(0.0305, "A").replace(NBSP, " ") == "30.5 mA"
    assert exact(55, "1") == "55"
    assert exact(1234567.0, "1") == "1234567"


def test_a_wide_parameter_is_told_as_a_factor_not_as_plus_minus():
    assert logged(math.log(3.1e-12), 0.3, "A").replace(NBSP, " ") == "3.1 pA, within a factor 1.8"
    assert logged(math.log(120.0), 0.01, "1") == "120.0 ± 2.4"


def test_a_probability_is_never_printed_as_certain():
    assert [probability(p) for p in (0.0, 0.0004, 0.005, 0.5, 0.9999, 1.0, None)] == [
        "below 0.001",
        "below 0.001",
        "0.005",
        "0.50",
        "above 0.999",
        "above 0.999",
        "not known",
    ]


def test_a_figure_of_unknown_unit_is_printed_as_it_is():
    assert [loose(v) for v in (None, True, 3, 0.02, -1.5, "base open")] == [
        "not known",
        "yes",
        "3",
        "0.02",
        "−1.5",
        "base open",
    ]


def test_evidence_is_told_in_odds_of_two_digits_and_in_the_right_direction():
    assert odds(math.log(312)) == (
        "The readings are about 310 times likelier if the part is substituted or unfit than if it is as marked."
    )
    assert odds(-math.log(6.04)) == (
        "The readings are about 6 times likelier if the part is as marked than if it is substituted or unfit."
    )
    assert odds(0.1) == "The readings are about as likely either way."
    assert "about 12,000 times" in odds(math.log(12_300))
    assert "more than a million times" in odds(900.0)
