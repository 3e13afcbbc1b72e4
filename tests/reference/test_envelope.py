"""The band of a type over collector current."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.reference.envelope import envelope, population_band, read
from partscreen.reference.library import Library
from partscreen.reference.limits import limits
from partscreen.reference.population import Population, population_for

GRID = np.geomspace(0.01, 15.0, 25)


@pytest.fixture(scope="module")
def library() -> Library:
    return Library.load()


def band(library: Library, name: str, quantity, **options):
    of = library.find(name).type
    return envelope(of, population_for(of), quantity, GRID, **options)


@pytest.mark.parametrize("quantity", ["hfe", "vbe", "vce_sat"])
@pytest.mark.parametrize("name", ["2SC5200", "2SA1943", "MJL21193", "MJL3281A", "2N3055"])
def test_the_band_encloses_the_centre_and_marks_every_point(library, name, quantity):
    of = library.find(name).type
    found = band(library, name, quantity)
    assert np.all(np.diff(found.ic) > 0)
    assert len(found.origin) == len(found.ic) == len(found.low) == len(found.high) == len(found.typical)
    assert set(found.origin) <= {"limit", "typical curve", "population"}
    low, middle, high = population_band(population_for(of), quantity, found.ic)
    known = np.isfinite(low) & np.isfinite(middle) & np.isfinite(high)
    assert known.any()
    assert np.all(low[known] <= middle[known])
    assert np.all(middle[known] <= high[known])
    assert np.all(low[known] >= 0)


def test_at_a_printed_limit_the_band_is_the_limit(library):
    """MJL21194: hFE 25 to 75 at 8 A, at least 8 at 16 A (onsemi MJL21193/D, sources in the file of the type)."""
    of = library.find("MJL21194").type
    printed = {(r.conditions["IC"], r.side): r.value for r in limits(of) if r.is_limit and r.symbol == "hFE"}
    found = band(library, "MJL21194", "hfe")
    at = int(np.argmin(np.abs(found.ic - 8.0)))
    assert found.ic[at] == 8.0
    assert found.origin[at] == "limit"
    assert (found.low[at], found.high[at]) == (printed[8.0, "min"], printed[8.0, "max"])


def test_limits_are_joined_only_where_they_are_near(library):
    found = band(library, "MJL21194", "hfe")
    away = found.ic < 5.0  # limits stand at 8 and 16 A only
    assert all(origin != "limit" for origin, is_away in zip(found.origin, away, strict=True) if is_away)


def test_a_gain_group_takes_its_own_band(library):
    of = library.find("2SC5200").type
    population = population_for(of)
    at = {}
    for group in of.gain_groups:
        found = envelope(of, population, "hfe", GRID, gain_group=group)
        i = int(np.flatnonzero(np.array(found.ic) == 1.0)[0])
        at[group] = (found.low[i], found.high[i])
    assert at["R"][0] < at["O"][0]
    assert at["R"][1] < at["O"][1]


def test_where_a_curve_is_drawn_it_is_the_typical_line(library):
    of = library.find("2SC5200").type
    curve = next(c for c in of.curves if c.quantity == "hFE" and c.temperature_c == 25.0 and c.x == "IC")
    ic, value = curve.points[0]
    found = envelope(of, population_for(of), "hfe", np.array([0.05, ic, 0.7]))
    i = int(np.argmin(np.abs(found.ic - ic)))
    assert found.typical[i] == pytest.approx(value)
    assert found.origin[i] == "typical curve"
    assert found.origin[0] == "population"  # the curve starts at half an ampere


def test_hot_parts_are_not_held_against_cold_curves(library):
    found = band(library, "2SC5200", "hfe", temp=398.15)
    assert "limit" not in found.origin
    drawn_hot = {"typical curve", "population"}
    assert set(found.origin) <= drawn_hot


def test_a_darlington_has_limits_and_drawn_curves_only(library):
    of = library.find("TIP147").type
    found = envelope(of, None, "hfe", GRID, vce=4.0)
    open_ = np.array([origin == "population" for origin in found.origin])
    assert open_.any()
    assert np.isnan(found.low[open_]).all()
    assert "limit" in found.origin


def test_the_band_is_the_same_on_every_run(library):
    first, second = (band(library, "2SA1943", "vbe") for _ in range(2))
    assert np.array_equal(first.high, second.high, equal_nan=True)


def test_readings_of_a_part_that_cannot_be_there_are_nan_and_open_the_band():
    library = Library.load()
    population = population_for(library.find("MJE340").type)
    assert isinstance(population, Population)
    prior = population.part_prior()
    values = read(population, prior.mean[None], "hfe", np.array([0.01, 500.0]))
    assert np.isfinite(values[0, 0])
    assert np.isnan(values[0, 1])
    low, _, high = population_band(population, "vbe", np.array([500.0]))
    assert np.isnan(low[0])
    assert np.isnan(high[0])
