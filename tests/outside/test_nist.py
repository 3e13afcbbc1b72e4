"""The least-squares core against certified nonlinear regressions.

Source: NIST Information Technology Laboratory, Statistical Reference Datasets (StRD), Nonlinear Regression; figures
from `check_values.md`, section 1, read there when the tests run. LRE = -log10(|found - certified| / |certified|).

Of the 27 sets the core is run on the seven whose data are among the collected facts: Misra1a, Thurber, Eckerle4,
MGH09, Rat43, MGH10, Roszman1. The other twenty (Misra1b, Misra1c, Misra1d, Chwirut1, Chwirut2, Lanczos1, Lanczos2,
Lanczos3, Gauss1, Gauss2, Gauss3, DanWood, Kirby2, Hahn1, Nelson, MGH17, ENSO, BoxBOD, Rat42, Bennett5) are left out
for one reason: their data are not among those facts. None of them is beyond what the core can express (an explicit
model with residuals and a Jacobian).
"""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from partscreen.device.least_squares import minimise
from tests.facts import FACTS, needs_facts

Floats = npt.NDArray[np.float64]
pytestmark = needs_facts


def misra1a(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    decay = np.exp(-b[1] * x)
    return b[0] * (1.0 - decay), [1.0 - decay, b[0] * x * decay]


def thurber(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    top = b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3
    bottom = 1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3
    return top / bottom, [x**i / bottom for i in range(4)] + [-top * x**i / bottom**2 for i in (1, 2, 3)]


def eckerle4(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    z = (x - b[2]) / b[1]
    bell = np.exp(-0.5 * z * z)
    value = b[0] / b[1] * bell
    return value, [bell / b[1], value * (z * z - 1.0) / b[1], value * z / b[1]]


def mgh09(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    top, bottom = x * x + b[1] * x, x * x + x * b[2] + b[3]
    return b[0] * top / bottom, [top / bottom, b[0] * x / bottom, -b[0] * top * x / bottom**2, -b[0] * top / bottom**2]


def rat43(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    growth = np.exp(b[1] - b[2] * x)
    base = 1.0 + growth
    value = b[0] * base ** (-1.0 / b[3])
    slope = -value * growth / (b[3] * base)
    return value, [value / b[0], slope, -x * slope, value * np.log(base) / b[3] ** 2]


def mgh10(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    shape = np.exp(b[1] / (x + b[2]))
    return b[0] * shape, [shape, b[0] * shape / (x + b[2]), -b[0] * shape * b[1] / (x + b[2]) ** 2]


def roszman1(b: Floats, x: Floats) -> tuple[Floats, list[Floats]]:
    z = b[2] / (x - b[3])
    rate = -1.0 / (np.pi * (1.0 + z * z))
    return b[0] - b[1] * x - np.arctan(z) / np.pi, [np.ones_like(x), -x, rate / (x - b[3]), rate * z / (x - b[3])]


MODELS: dict[str, Callable[[Floats, Floats], tuple[Floats, list[Floats]]]] = {
    "Misra1a": misra1a, "Thurber": thurber, "Eckerle4": eckerle4, "MGH09": mgh09, "Rat43": rat43, "MGH10": mgh10,
    "Roszman1": roszman1,
}  # fmt: skip


def certified(name: str) -> tuple[Floats, Floats, Floats, Floats]:
    """(parameters x [start 1, start 2, value, standard deviation]), x, y, and the residual sum of squares."""
    text = (FACTS / "check_values.md").read_text(encoding="utf-8")
    section = text.split(f"#### {name} ", 1)[1].split("####", 1)[0].split("\n## ", 1)[0]
    rows = re.findall(r"^\| b\d \| (\S+) \| (\S+) \| (\S+) \| (\S+) \|", section, flags=re.M)
    pairs = re.findall(r"\((-?[\d.E+-]+), (-?[\d.E+-]+)\)", section.split("Data as (x, y) pairs:", 1)[1])
    rss = re.search(r"residual sum of squares ([\d.E+-]+);", section)
    assert rss is not None
    data = np.array(pairs, dtype=float)
    return np.array(rows, dtype=float), data[:, 0], data[:, 1], np.array(float(rss.group(1)))


def lre(found: Floats, true: Floats) -> Floats:
    return -np.log10(np.maximum(np.abs(found - true) / np.abs(true), 1e-16))


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("start", [0, 1])
def test_core_reaches_the_certified_regression(name: str, start: int) -> None:
    table, x, y, rss = certified(name)
    n_readings, n_parameters = x.shape[0], table.shape[0]
    function = MODELS[name]

    def model(coordinates: Floats, rows: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
        values = [function(b, x) for b in coordinates]
        return np.array([v - y for v, _ in values]), np.array([np.stack(d, axis=1) for _, d in values])

    found = minimise(model, table[None, :, start], accelerate=True, max_iterations=3000)
    assert found.converged[0]
    assert found.x.shape == (1, n_parameters)
    assert np.min(lre(found.x[0], table[:, 2])) >= 6.0
    assert np.min(lre(2.0 * found.cost, rss)) >= 6.0
    variance = 2.0 * found.cost[0] / (n_readings - n_parameters)
    unit = np.sqrt(np.diag(found.curvature[0]))
    scaled = np.linalg.inv(found.curvature[0] / np.outer(unit, unit))
    assert np.min(lre(np.sqrt(variance * np.diag(scaled)) / unit, table[:, 3])) >= 4.0


def test_core_minimises_problems_of_one_batch_independently() -> None:
    table, x, y, _ = certified("Rat43")

    def model(coordinates: Floats, rows: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
        values = [rat43(b, x) for b in coordinates]
        residual = np.array([v - y for v, _ in values])
        residual[rows == 1] = np.nan  # the second problem cannot be formed at all
        return residual, np.array([np.stack(d, axis=1) for _, d in values])

    found = minimise(model, table[:, [0, 0, 1]].T.copy(), accelerate=True)
    assert list(found.converged) == [True, False, True]
    assert np.array_equal(found.x[1], table[:, 0])
    assert np.min(lre(found.x[0], table[:, 2])) >= 6.0
    assert np.min(lre(found.x[2], table[:, 2])) >= 6.0
