"""Numbers of pieces drawn by lot."""

import numpy as np
import pytest
from scipy.stats import chisquare
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.lots.draw import draw_pieces, new_seed


def test_drawn_pieces_are_different_in_range_in_rising_order_and_repeat_with_their_seed():
    drawn = draw_pieces(500, 60, 11)
    assert len(drawn) == len(set(drawn)) == 60
    assert drawn == sorted(drawn)
    assert set(drawn) <= set(range(1, 501))
    assert drawn == draw_pieces(500, 60, 11) != draw_pieces(500, 60, 12)
    assert draw_pieces(7, 7, 0) == [1, 2, 3, 4, 5, 6, 7]


def test_every_piece_is_drawn_equally_often():
    counts = np.zeros(20)
    for seed in range(4000):
        counts[np.array(draw_pieces(20, 5, seed)) - 1] += 1
    # Without replacement the counts are less scattered than multinomial ones, by (20 - 5) / 19.
    statistic = chisquare(counts).statistic / (15 / 19)
    assert 6.8 < statistic < 36.2  # 0.5 % and 99 % points of chi-square with 19 degrees of freedom


@pytest.mark.parametrize(("lot", "sample", "seed"), [(0, 1, 0), (5, 6, 0), (5, 0, 0), (5, 2, -1)])
def test_what_cannot_be_drawn_is_refused(lot, sample, seed):
    with pytest.raises(ValueError, match=r"expected|cannot be drawn"):
        draw_pieces(lot, sample, seed)


def test_a_new_seed_can_be_typed_again():
    assert 0 <= new_seed() < 2**32


def test_plan_draws_the_pieces_of_its_sample_and_says_the_seed():
    done = CliRunner().invoke(app, ["plan", "--lot-size", "50", "--sample", "8", "--draw", "--seed", "3"])
    assert done.exit_code == 0
    numbers = ", ".join(map(str, draw_pieces(50, 8, 3)))
    assert f"(--seed 3): {numbers}." in done.stdout


@pytest.mark.parametrize(
    "more", [["--draw"], ["--lot-size", "50", "--seed", "3"], ["--lot-size", "50", "--draw", "--seed", "-1"]]
)
def test_plan_says_what_a_drawing_needs(more):
    done = CliRunner().invoke(app, ["plan", *more])
    assert done.exit_code == 2
    assert "--draw" in done.output or "--seed" in done.output
