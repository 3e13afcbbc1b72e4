"""Which pieces of a lot to test: numbers drawn by lot, so that nobody picks, and repeatable from their seed."""

from __future__ import annotations

import numpy as np

MOST_PIECES = 10_000_000


def draw_pieces(n_lot: int, n_sample: int, seed: int) -> list[int]:
    """Numbers 1 to `n_lot` of `n_sample` different pieces, each as likely as any other, in rising order.

    Parameters
    ----------
    seed : 0 or above; the same seed draws the same pieces

    Raises
    ------
    ValueError
        More pieces are to be drawn than the lot holds, a number is below 1, or the seed below 0.
    """
    if not 1 <= n_lot <= MOST_PIECES:
        raise ValueError(f"a lot of {n_lot} pieces cannot be; 1 to {MOST_PIECES} are expected")
    if not 1 <= n_sample <= n_lot:
        raise ValueError(f"{n_sample} pieces cannot be drawn from {n_lot}")
    if seed < 0:
        raise ValueError(f"the seed is {seed}; a whole number from 0 on is expected")
    drawn = np.random.default_rng(seed).choice(n_lot, n_sample, replace=False)
    return sorted(int(n) + 1 for n in drawn)


def new_seed() -> int:
    """A seed nobody chose, short enough to be written down."""
    return int(np.random.SeedSequence().generate_state(1)[0])
