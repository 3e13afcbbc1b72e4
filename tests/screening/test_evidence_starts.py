"""Where the search for a lot's centre begins: at the parts whose own centre makes the whole lot likeliest."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from partscreen.screening.evidence.lot import Mode, _searched
from partscreen.screening.evidence.quadratic import Quadratic


def starts(parts, types, prior_variance):
    """Parts read directly, each coordinate with variance 1, in a lot whose centre is N(0, prior_variance)."""
    n, q = parts.shape
    constant = -0.5 * (parts**2).sum(axis=1) - 0.5 * q * np.log(2 * np.pi)
    main = Quadratic(constant, parts, np.tile(np.eye(q), (n, 1, 1)), np.zeros(q))
    mode = Mode("m", "marked", np.zeros(q), prior_variance * np.eye(q), 0.0)
    return mode, _searched(mode, np.eye(q) / prior_variance, main, types)


@pytest.mark.parametrize("prior_variance", [0.3, 1.0, 4.0])
def test_starts_are_the_parts_centres_that_make_the_lot_likeliest(prior_variance):
    rng = np.random.default_rng(5)
    for _ in range(40):
        parts = rng.normal(0.0, 2.0, (7, 2))
        types = rng.normal(-4.0, 2.0, 7)
        mode, (first, *found) = starts(parts, types, prior_variance)
        assert first is mode.mean
        # One part says N(part, 1) of the centre, before it N(0, v): the centre lies v / (v + 1) of the way to it.
        centres = parts * prior_variance / (prior_variance + 1.0)
        prior = multivariate_normal(np.zeros(2), prior_variance * np.eye(2)).logpdf(centres)
        # Three in four parts belong to the lot, the others are of another type (assumption of the search).
        belongs = norm.pdf(parts[None, :, :] - centres[:, None, :]).prod(axis=2)
        score = np.log(0.75 * belongs + 0.25 * np.exp(types)).sum(axis=1) + prior
        best = np.argsort(-score)[:2]
        assert np.stack(found) == pytest.approx(centres[best])


def test_a_large_lot_is_searched_from_parts_taken_from_end_to_end():
    parts = np.linspace(-1.0, 1.0, 400)[:, None] * np.ones((1, 2))
    _, (_, *found) = starts(parts, np.full(400, -50.0), 1.0)
    # The middle explains an even row of parts best; the chosen ones lie forty steps apart.
    assert np.abs(found).max() < 0.06
