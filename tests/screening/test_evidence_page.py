"""docs/evidence.md names the assumptions; the engine holds the same ones."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from partscreen.device.parameters import INDEX
from partscreen.screening.disposition import (
    DEFAULT_COST,
    FAULT_PROBABILITY,
    FAULTS,
    HOLD_COST,
    REJECT_EVIDENCE,
    WRONG_REJECT_COST,
    Rule,
)
from partscreen.screening.evidence.hypotheses import AREAS, BONDS, GRADES, HIGH_GAINS, LEAKS, LOW_GAINS, families
from partscreen.screening.evidence.lot import ALIKE, CONCENTRATION, MARKED_SHARE, SAME_AREA, share_priors
from partscreen.screening.evidence.quadratic import Information, integrate
from partscreen.screening.evidence.reach import LN_PRICE, NINE_IN_TEN
from partscreen.screening.evidence.spreads import SHARES, main_spreads
from partscreen.screening.evidence.weigh_lots import KNOWN_GOOD_SHARE
from partscreen.screening.limits.conformance import DEFAULT_RISK
from partscreen.screening.limits.judge import REJECT_BELOW
from tests.screening.known_type import KNOWN

PAGE = (Path(__file__).parents[2] / "docs" / "evidence.md").read_text(encoding="utf-8")


def alternatives():
    """Made anew in each test: mutation testing chooses tests by the lines they run."""
    return families(KNOWN.within, KNOWN.device_between)


def row(begins: str) -> list[float]:
    """Numbers of a row of a table, without those of its first column."""
    (line,) = (line for line in PAGE.splitlines() if line.startswith(f"| {begins} |"))
    return [float(number) for number in re.findall(r"\d+\.?\d*", line.split("|", 2)[2])]


def test_alternatives_looked_for_are_those_the_page_names():
    assert row("die of another area") == list(AREAS)
    assert row("leaking or worn base-emitter junction") == list(LEAKS)
    assert row("damaged bond") == list(BONDS)
    assert row("low or high gain") == [*sorted(-g for g in LOW_GAINS), *HIGH_GAINS]
    assert [g.shifts.shape[0] for g in alternatives() if g.theme == "area"] == [len(AREAS)] * 2


def test_steps_of_each_alternative_lie_so_near_that_none_falls_between_them():
    assert alternatives()
    for steps, widest in ((np.log(AREAS), 0.47), (LOW_GAINS, 0.2), (HIGH_GAINS, 0.3), (LEAKS, 1.5), (GRADES, 0.4)):
        gaps = [b - a for a, b in pairwise(steps)]
        assert all(0.0 < gap < widest for gap in gaps)
    assert all(abs(np.log(area)) >= SAME_AREA for area in AREAS)  # none that is the type's own
    assert (0.3, 0.7) < GRADES < (0.4, 0.8)


@pytest.mark.parametrize(
    ("theme", "number", "added"),
    [
        # Standard deviations about a hypothesis beyond those of sound parts (assumptions).
        ("low gain", 0, {"bf": 0.08}), ("high gain", 0, {"bf": 0.08}), ("leak", 0, {"leak": 0.4}),
        ("leak", 1, {"leak": 0.4, "ne": 0.35}), ("bond", 0, {"re": 0.4, "rc": 0.3}),
        ("voltage grade", 0, {"rc": 0.2, "vaf": 0.3, "cjc": 0.1}),
    ],
)  # fmt: skip
def test_a_faulty_part_may_differ_more_than_a_sound_one_only_in_what_its_fault_is_in(theme, number, added):
    group = [g for g in alternatives() if g.theme == theme][number]
    wanted = KNOWN.within.copy()
    for name, sd in added.items():
        wanted[INDEX[name], INDEX[name]] += sd**2
    assert group.spread == pytest.approx(wanted)


def test_dies_of_another_process_may_lie_as_far_off_as_two_lots_do_and_strangers_furthest():
    same, other = (g for g in alternatives() if g.theme == "area")
    assert same.spread - KNOWN.within == pytest.approx(0.5 * KNOWN.device_between)
    assert other.spread - KNOWN.within == pytest.approx(2.0 * KNOWN.device_between)  # the difference of two lots
    (stranger,) = (g for g in alternatives() if g.theme == "unlike")
    assert stranger.spread == pytest.approx(9.0 * KNOWN.within + KNOWN.device_between)
    assert all(
        np.trace(stranger.spread) > np.trace(g.spread) for g in alternatives() if g.theme not in ("unlike", "area")
    )


def test_another_die_is_the_likeliest_of_what_may_be_wrong_and_a_high_gain_the_least():
    weight = {}
    for group in alternatives():
        weight[group.theme] = weight.get(group.theme, 0.0) + float(np.exp(group.ln_weights).sum())
        assert np.ptp(group.ln_weights) == 0.0  # each step of an alternative as likely as the others
    assert max(weight, key=weight.get) == "area"
    assert min(weight, key=weight.get) == "high gain"
    assert weight == pytest.approx(
        {"area": 0.35, "low gain": 0.15, "high gain": 0.02, "leak": 0.12, "bond": 0.05, "voltage grade": 0.05,
         "unlike": 0.06}
    )  # fmt: skip


def test_costs_and_borders_of_a_disposition_are_those_the_page_names():
    (costs,) = (line for line in PAGE.splitlines() if line.startswith("Costs are counted in parts thrown away."))
    assert [float(x) for x in re.findall(r"\d+\.?\d*", costs)] == [DEFAULT_COST, HOLD_COST, WRONG_REJECT_COST]
    least = Rule(0.6).least_probability
    assert row("reject") == pytest.approx([REJECT_BELOW, REJECT_EVIDENCE, least, FAULT_PROBABILITY])
    assert row("accept") == [0.0, 0.6, HOLD_COST]
    assert Rule(0.6, cost=40.0).most_probability == pytest.approx(HOLD_COST / 40.0)
    assert "where only a gain or a leak inside the limits leads" in PAGE
    assert FAULTS == ("gain", "base-emitter leak")
    assert row("risk of 0.02")[0] == 540.3  # the source
    assert f"| risk of {DEFAULT_RISK:g} |" in PAGE


def test_prior_of_a_lots_share_and_the_price_of_many_alternatives_are_those_the_page_names():
    assert "Beta(k s, k (1 - s)) with k = 1 and s the prior share (0.1)" in PAGE
    assert CONCENTRATION == 1.0
    assert f"P = {LN_PRICE:g} is what an alternative pays" in PAGE
    assert pytest.approx(norm.ppf(0.9)) == NINE_IN_TEN
    assert "D^2/2 - 1.28 D = P" in PAGE
    bad_lot, good, _ = share_priors(0.1)
    assert 0.05 < bad_lot < 0.1  # most of the bad share is in bad lots
    assert good.a / (good.a + good.b) < 0.05


def test_shares_that_are_assumed_are_shares():
    usual, several = main_spreads(KNOWN)
    assert sum(SHARES) == pytest.approx(1.0)
    assert several - usual == pytest.approx(0.5 * KNOWN.device_between)
    assert SHARES[0] > 0.5  # most lots are one lot
    assert MARKED_SHARE == 0.5  # of the rest of an unfit lot nothing is known
    assert 1.0 < ALIKE < 10.0  # a few parts of a lot tell what the next bad one will be
    assert KNOWN_GOOD_SHARE.a / (KNOWN_GOOD_SHARE.a + KNOWN_GOOD_SHARE.b) == pytest.approx(0.01)


def test_a_spread_that_is_nothing_in_some_direction_is_integrated_like_one_that_is_hardly_anything():
    rng = np.random.default_rng(2)
    q, n = 4, 3
    root = rng.normal(size=(n, q, q))
    info = Information(root @ root.transpose(0, 2, 1), rng.normal(size=(n, q)), rng.normal(size=n), np.zeros(q))
    flat = np.diag([0.5, 0.2, 0.0, 0.0])
    hardly = flat + 1e-11 * np.eye(q)
    centres = rng.normal(size=(5, q))
    assert integrate(info, flat).at(centres) == pytest.approx(integrate(info, hardly).at(centres), rel=1e-6)
