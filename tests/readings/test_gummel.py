"""The slope of a Gummel run: exact on an exponential, and as uncertain as repeated draws say."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device.temperature import thermal_voltage
from partscreen.readings.gummel import gummel_slope


@pytest.mark.parametrize(("nf", "celsius"), [(1.0, 25.0), (1.03, 27.0), (0.97, 77.0)])
def test_an_exponential_gives_its_own_slope(nf, celsius):
    temp = celsius + 273.15
    vbe = np.linspace(0.3, 0.75, 60)
    ic = 1e-14 * np.exp(vbe / (nf * thermal_voltage(temp)))
    slope = gummel_slope(ic, vbe, temp)
    assert slope.nf == pytest.approx(nf, rel=1e-9)
    assert slope.mv_per_decade == pytest.approx(1e3 * nf * float(thermal_voltage(temp)) * np.log(10.0))


def test_sixty_millivolts_per_decade():
    # Check values, section 2.4: VT ln 10 is 54.199, 59.159, 69.477 mV at 0, 25 and 77 degC.
    for celsius, millivolts in ((0.0, 54.199), (25.0, 59.159), (77.0, 69.477)):
        vbe = np.linspace(0.4, 0.7, 30)
        temp = celsius + 273.15
        ic = 1e-15 * np.exp(vbe / thermal_voltage(temp))
        found = gummel_slope(ic, vbe, temp, ic_low=0.0, ic_high=np.inf)
        assert found.mv_per_decade == pytest.approx(millivolts, abs=2e-3)


def test_the_uncertainty_of_the_slope_agrees_with_simulation():
    rng = np.random.default_rng(61)
    ic = np.geomspace(1.1e-6, 0.9e-4, 20)
    clean = 0.6 + float(thermal_voltage(298.15)) * np.log(ic / 1e-5)
    found = [gummel_slope(ic, clean + 1e-3 * rng.standard_normal(20), 298.15) for _ in range(2000)]
    scatter = np.std([one.mv_per_decade for one in found])
    assert np.sqrt(np.mean([one.mv_per_decade_std**2 for one in found])) == pytest.approx(scatter, rel=0.05)


def test_temperature_enters_the_emission_coefficient():
    vbe = np.linspace(0.4, 0.7, 30)
    ic = 1e-15 * np.exp(vbe / thermal_voltage(298.15))
    slope = gummel_slope(ic, vbe, 298.15, temp_std=5.0, ic_low=0.0, ic_high=np.inf)
    assert slope.nf_std == pytest.approx(5.0 / 298.15, rel=1e-3)


def test_two_points_give_no_slope():
    slope = gummel_slope(np.array([1e-5, 2e-5, np.nan]), np.array([0.6, 0.62, 0.64]), 298.15)
    assert np.isnan(slope.nf)
    assert slope.n_points == 2
