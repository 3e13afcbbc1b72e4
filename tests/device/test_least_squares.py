"""The batched least-squares core on problems with known answers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from partscreen.device.least_squares import minimise

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]


def test_linear_problem_with_a_prior_has_the_closed_form() -> None:
    rng = np.random.default_rng(1)
    design, y = rng.standard_normal((5, 4, 6)), rng.standard_normal((5, 4))
    precision, mean = np.diag(np.arange(1.0, 7.0)), rng.standard_normal(6)

    def model(x: Floats, rows: Ints) -> tuple[Floats, Floats]:
        return np.einsum("nmp,np->nm", design[rows], x) - y[rows], design[rows]

    found = minimise(model, np.zeros((5, 6)), prior_mean=mean, prior_precision=precision)
    for a, b, x, curvature in zip(design, y, found.x, found.curvature, strict=True):
        assert x == pytest.approx(np.linalg.solve(a.T @ a + precision, a.T @ b + precision @ mean))
        assert curvature == pytest.approx(a.T @ a + precision)
    assert found.converged.all()


def test_problems_leave_the_batch_when_done_and_do_not_touch_each_other() -> None:
    asked: list[int] = []

    def model(x: Floats, rows: Ints) -> tuple[Floats, Floats]:
        asked.append(rows.shape[0])
        hard = 10.0 ** rows[:, None].astype(float)  # a Rosenbrock valley, steeper from problem to problem
        residual = np.concatenate([1.0 - x[:, :1], hard * (x[:, 1:] - x[:, :1] ** 2)], axis=1)
        jacobian = np.zeros((rows.shape[0], 2, 2))
        jacobian[:, 0, 0] = -1.0
        jacobian[:, 1, 0], jacobian[:, 1, 1] = -2.0 * hard[:, 0] * x[:, 0], hard[:, 0]
        return residual, jacobian

    together = minimise(model, np.tile([-1.2, 1.0], (4, 1)))
    assert together.converged.all()
    assert together.x == pytest.approx(np.ones((4, 2)), abs=1e-8)
    assert asked[0] == 4
    assert asked[-1] < 4


def test_a_coordinate_nothing_depends_on_stays_where_it_is() -> None:
    def model(x: Floats, rows: Ints) -> tuple[Floats, Floats]:
        jacobian = np.zeros((x.shape[0], 1, 2))
        jacobian[:, 0, 0] = 1.0
        return x[:, :1] - 3.0, jacobian

    found = minimise(model, np.array([[0.0, 7.0]]))
    assert found.x == pytest.approx(np.array([[3.0, 7.0]]))


def test_an_unfinished_search_says_so() -> None:
    def model(x: Floats, rows: Ints) -> tuple[Floats, Floats]:
        return np.exp(-x), -np.exp(-x)[:, :, None]  # falls for ever

    found = minimise(model, np.array([[0.0]]), max_iterations=5)
    assert not found.converged[0]
    assert found.x[0, 0] > 0.0
