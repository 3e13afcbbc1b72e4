"""Die edges of opened pieces as one more reading."""

import numpy as np
import pytest

from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.evidence.reach import Area
from partscreen.screening.without_power.die_edges import SAME_MASK, DieAreas, die_areas, reference_area, weigh_edges
from tests.screening.bench import batch, spots

NONE = np.zeros(0, dtype=np.int64)


def areas(*mm2, std=0.02):
    value = np.array(mm2, dtype=float)
    return DieAreas(np.log(1e-6 * value), np.where(np.isfinite(value), std, np.nan), NONE)


def weighed(n, marked=0.6, modes=(("as marked", "marked", 0.9), ("die area 0.6 of the type's", "die", 0.1))):
    """A lot whose readings left it open what each part is."""
    names = ("as marked", "die area 0.6 of the type's", "base-emitter leak 3 times the lot's", "die of OTHER")
    rest = (1 - marked) / 3
    probability = np.tile([marked, rest, rest, rest], (n, 1))
    evidence = np.full(n, np.log((1 - marked) / marked))
    return Weighed(
        evidence, np.zeros((n, 5)), names, ("marked", "die", "unfit", "type"), probability, np.zeros((n, 20)),
        np.zeros((n, 20, 20)), modes, (0.1, 0.0, 0.3),
    )  # fmt: skip


def loose_area(n):
    return Area(np.zeros(n), np.full(n, 0.4))


def test_both_edges_give_the_area_and_its_uncertainty_and_one_edge_is_not_guessed_into_an_area():
    rows = [
        (0, "die_edge_x", 4e-3, {}, 0.01), (0, "die_edge_y", 3e-3, {}, 0.02),
        (1, "die_edge_x", 4e-3, {}),
        (2, "die_edge_x", 4e-3, {}, 0.01), (2, "die_edge_x", 4.2e-3, {}, 0.01), (2, "die_edge_y", 3e-3, {}, 0.01),
    ]  # fmt: skip
    found = die_areas(batch(4, spot_table=spots(rows)), np.arange(4))
    assert found.ln_area[0] == pytest.approx(np.log(12e-6))
    assert found.std[0] == pytest.approx(np.hypot(0.01, 0.02))
    assert found.ln_area[2] == pytest.approx(np.log(4.1e-3 * 3e-3))
    assert np.isnan(found.ln_area[[1, 3]]).all()
    assert found.one_edge.tolist() == [1]


def test_known_good_dies_are_the_reference_before_a_printed_area():
    known = areas(12.0, 12.0)
    ln_area, std = reference_area(known, (np.log(20e-6), 0.1))
    assert ln_area == pytest.approx(np.log(12e-6))
    assert std == pytest.approx(np.hypot(0.02, SAME_MASK) / np.sqrt(2))
    nothing = areas(np.nan)
    assert reference_area(nothing, (np.log(20e-6), 0.1)) == (np.log(20e-6), 0.1)
    assert reference_area(nothing) is None


def test_a_small_die_seen_speaks_against_the_marking_and_the_same_die_for_it():
    before, reference = weighed(3), (np.log(12e-6), 0.02)
    found = weigh_edges(before, loose_area(3), areas(12.0 * 0.6, 12.0, np.nan), reference)
    assert found.term[0] > 20
    assert found.probability[0].argmax() == 1
    assert found.term[1] < -0.5
    assert found.probability[1, 0] > 0.7
    assert found.term[2] == 0.0
    assert found.probability[2] == pytest.approx(before.probability[2])
    assert found.evidence == pytest.approx(before.evidence + found.term)
    assert found.probability.sum(axis=1) == pytest.approx(1.0)
    assert np.exp(found.area.ln[0]) == pytest.approx(0.6, abs=0.01)
    assert found.area.sd[0] < 0.05 < found.area.sd[2]


def test_evidence_of_the_edges_is_the_ratio_of_the_densities_by_hand():
    before = weighed(1)
    found = weigh_edges(before, loose_area(1), areas(12.0 * 0.9), (np.log(12e-6), 0.02))

    def density(mean, sd):
        sd = np.hypot(np.hypot(0.02, 0.02), sd)
        return np.exp(-0.5 * ((np.log(0.9) - mean) / sd) ** 2) / sd

    p = before.probability[0]
    against = (
        p[1] * density(np.log(0.6), np.hypot(0.12, SAME_MASK)) + p[2] * density(0, SAME_MASK) + p[3] * density(0, 0.7)
    )
    expected = np.log(against / (p[0] * density(0, SAME_MASK))) - np.log((1 - p[0]) / p[0])
    assert found.term[0] == pytest.approx(expected)


def test_a_fault_is_no_other_die_and_is_not_cleared_by_the_edges():
    found = weigh_edges(weighed(1), loose_area(1), areas(12.0), (np.log(12e-6), 0.02))
    ratio = found.probability[0, 2] / found.probability[0, 0]
    assert ratio == pytest.approx(weighed(1).probability[0, 2] / weighed(1).probability[0, 0])


def test_opened_pieces_speak_of_the_whole_lot_only_where_a_reference_is_known():
    opened = areas(7.2, 7.2, np.nan, np.nan)
    with_reference = weigh_edges(weighed(4), loose_area(4), opened, (np.log(12e-6), 0.02))
    assert with_reference.main_unfit > 0.99
    within = weigh_edges(weighed(4), loose_area(4), opened, None)
    assert within.modes == weighed(4).modes
    assert (within.term[:2] < 0).all()


def test_a_stranger_among_the_opened_pieces_of_a_lot_is_told_by_the_others():
    found = weigh_edges(weighed(5), loose_area(5), areas(12.0, 12.1, 11.9, 7.2, np.nan), None)
    assert found.term[3] > 10
    assert (found.term[:3] < 0).all()


def test_one_opened_piece_without_a_reference_says_nothing():
    assert weigh_edges(weighed(2), loose_area(2), areas(12.0, np.nan), None) is None
    assert weigh_edges(weighed(2), loose_area(2), areas(np.nan, np.nan), (np.log(12e-6), 0.02)) is None


def test_good_dies_seen_seldom_get_evidence_against_them():
    rng = np.random.default_rng(1)
    true = np.log(12e-6) + SAME_MASK * rng.normal(size=2000)
    read = DieAreas(true + 0.03 * rng.normal(size=2000), np.full(2000, 0.03), NONE)
    found = weigh_edges(weighed(2000, marked=0.9), loose_area(2000), read, (np.log(12e-6), 0.02))
    assert np.mean(found.evidence > 0) <= 0.005
    assert np.mean(found.term > 0) <= 0.05
