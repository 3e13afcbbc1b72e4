"""Safe areas: what is drawn, what is derated by which rule, and what is never taken as safe."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.quantities import ZERO_CELSIUS
from partscreen.reference.models import ReferenceType
from partscreen.stage.heat import second_breakdown_factor, thermal_factor
from partscreen.stage.safe_area import FLAT, THERMAL, permitted, ratings_of, rules_of, transient_resistance
from tests.stage.stages import library

COLD, HOT = ZERO_CELSIUS + 25.0, ZERO_CELSIUS + 100.0


def invented(**soa_and_ratings):
    """An invented type: 100 V, 10 A, 100 W, 150 degC."""
    ratings = {"VCEO": 100, "IC": 10, "PC": 100, "TJ": 150} | soa_and_ratings.get("ratings", {})
    units = {"VCEO": "V", "IC": "A", "PC": "W", "TJ": "degC"}
    return ReferenceType.model_validate(
        {
            "device": {"type_number": "INVENTED", "polarity": "NPN"},
            "sources": [{"id": "S", "title": "invented sheet", "basis": "memory"}],
            "ratings": [{"symbol": k, "value": v, "unit": units[k], "source": "S"} for k, v in ratings.items()],
            "soa": [{"kind": kind, "points": points, "source": "S"} for kind, points in soa_and_ratings["soa"]],
            "curves": soa_and_ratings.get("curves", []),
        }
    )


DRAWN = [("dc", [[1, 10], [10, 10], [50, 2], [100, 0.25]])]


def current(kind, volts, case=COLD, pulse=None, start=None):
    return permitted(kind, pulse, volts, case, start).current


def test_at_25_degrees_the_corners_are_the_limit():
    volts, amperes = np.array(DRAWN[0][1]).T
    assert current(invented(soa=DRAWN), volts) == pytest.approx(amperes)


def test_between_corners_the_line_is_straight_on_logarithmic_axes():
    assert current(invented(soa=DRAWN), [np.sqrt(50 * 100)]) == pytest.approx([np.sqrt(2 * 0.25)])


def test_hot_each_stretch_is_derated_by_its_own_rule():
    found = permitted(invented(soa=DRAWN), None, [5.0, 40.0, 100.0], HOT)
    heat, breakdown = thermal_factor(HOT, ZERO_CELSIUS + 150), second_breakdown_factor(HOT)
    assert found.current == pytest.approx([min(10.0, 100 * heat / 5), 2.5 * heat, 0.25 * breakdown])
    assert breakdown > heat


def test_hot_the_thermal_limit_undercuts_second_breakdown_just_beyond_its_corner():
    heat, breakdown = thermal_factor(HOT, ZERO_CELSIUS + 150), second_breakdown_factor(HOT)
    (found,) = current(invented(soa=DRAWN), [55.0], HOT)
    drawn = float(np.exp(np.interp(np.log(55), np.log([50, 100]), np.log([2, 0.25]))))
    assert found == pytest.approx(100 * heat / 55)
    assert found < drawn * breakdown


def test_the_rated_dissipation_cuts_a_line_drawn_above_it():
    drawn_too_high = invented(soa=[("dc", [[1, 10], [20, 10], [100, 1]])])
    assert current(drawn_too_high, [20.0]) == pytest.approx([5.0])


def test_of_two_lines_the_lower_counts():
    kind = invented(soa=[*DRAWN, ("dc", [[1, 8], [10, 8], [50, 1.6], [100, 0.5]])])
    assert current(kind, [5.0, 100.0]) == pytest.approx([8.0, 0.25])


def test_beyond_the_drawn_end_nothing_is_known():
    assert np.isnan(current(invented(soa=DRAWN), [101.0])).all()


def test_without_a_line_of_that_length_nothing_is_known():
    assert np.isnan(current(invented(soa=DRAWN), [10.0], pulse=0.01)).all()


def test_below_the_first_printed_corner_its_power_holds_up_to_the_rated_current():
    corners = invented(soa=[(1.0, [[50, 1.5], [80, 0.5]])])
    assert current(corners, [50.0, 25.0, 5.0, 0.1], pulse=1.0) == pytest.approx([1.5, 3.0, 10.0, 10.0])


def test_a_lone_corner_does_not_cut_what_another_line_draws_at_lower_voltage():
    kind = invented(soa=[(1.0, [[1, 10], [10, 10], [50, 2], [100, 0.5]]), (1.0, [[80, 0.5]])])
    assert current(kind, [20.0], pulse=1.0) == pytest.approx([5.0])
    assert current(kind, [80.0], pulse=1.0) == pytest.approx([0.5])


def test_hot_a_pulse_line_without_thermal_stretch_loses_power_with_the_temperature_in_hand():
    kind = invented(soa=[(0.001, [[1, 10], [40, 10], [100, 1]])])
    heat = thermal_factor(HOT, ZERO_CELSIUS + 150)
    assert current(kind, [40.0], HOT, 0.001) == pytest.approx([400 * heat / 40])
    assert current(kind, [5.0], HOT, 0.001) == pytest.approx([10.0])


def test_every_second_breakdown_stretch_of_the_library_falls_faster_than_constant_power():
    """What lets a line be carried below its first corner at constant power."""
    stretches = 0
    for kind in library():
        for line in kind.soa:
            corners = np.asarray(line.points)
            for i, rule in enumerate(rules_of(corners)):
                if rule == 2 and len(corners) > 1:
                    stretches += 1
                    assert corners[i + 1].prod() < corners[i].prod()
    assert stretches > 60


def test_reading_errors_seldom_turn_a_thermal_stretch_into_another():
    """False alarms of FLAT and THERMAL: constant power over an octave or more, corners read to 5 % (the worst of the
    library is 6 %)."""
    rng = np.random.default_rng(11)
    wrong = 0
    for _ in range(4000):
        low = rng.uniform(5, 30)
        corners = np.array([[low, 100 / low], [(high := low * rng.uniform(2, 6)), 100 / high]])
        wrong += int(rules_of(corners * np.exp(rng.normal(0, 0.025, (2, 2))))[0] != 1)
    assert wrong / 4000 < 0.02


def test_reading_errors_seldom_turn_the_current_limit_into_another():
    rng = np.random.default_rng(12)
    wrong = 0
    for _ in range(4000):
        corners = np.array([[1.0, 15.0], [rng.uniform(4, 40), 15.0]]) * np.exp(rng.normal(0, 0.025, (2, 2)))
        wrong += int(rules_of(corners)[0] != 0)
    assert wrong / 4000 < 0.02
    assert THERMAL < FLAT


def test_transient_figure_limits_a_pulse_line_that_promises_more():
    figure = {"quantity": "ZTHJC", "x": "t", "unit": "degC/W", "points": [[0.001, 0.2], [0.1, 1.0]], "source": "S"}
    kind = invented(soa=[(0.1, [[1, 10], [50, 10], [100, 2]])], curves=[figure])
    assert transient_resistance(kind, 0.1) == pytest.approx(1.0)
    assert transient_resistance(kind, 1.0) is None
    assert current(kind, [50.0], pulse=0.1) == pytest.approx([125.0 / 50.0])
    assert current(kind, [50.0], HOT, 0.1, HOT + 20) == pytest.approx([30.0 / 50.0])


def test_no_printed_thermal_resistance_is_worked_out_from_power_and_temperature():
    ratings = ratings_of(invented(soa=DRAWN))
    assert ratings.rth_derived
    assert ratings.rth_jc == pytest.approx(1.25)


def test_where_editions_differ_the_lowest_rating_counts():
    kind = library().type("BDV65B")
    assert ratings_of(kind).ic == min(r.value for r in kind.ratings_of("IC")) < kind.rating("IC")
