"""Types that the library does not hold: judged against known-good parts alone, or within their lot.

Parts come from the engine's own device model: these figures measure the statistics.
"""

import numpy as np
import pytest

from partscreen.device.observations import take_observations
from partscreen.screening.evidence.weigh_lots import knowledge_from, learn_from_known_good, weigh_observations
from partscreen.screening.lot.alike import assumed_population, compare, top_current
from tests.screening.simulated_parts import base_theta, draw, read, smaller, spread

WITHIN, BETWEEN, EDITION = (spread(kind) for kind in ("within", "between", "edition"))


def weigh(seed, area=1.0, known_good=2, n=8, **how):
    """A lot of an unknown type, all of it of `area`, after known-good parts of another lot of the type."""
    rng = np.random.default_rng(seed)
    kind = base_theta() + draw(rng, EDITION, 1)
    good = kind + draw(rng, BETWEEN, 1) + draw(rng, WITHIN, known_good)
    lot = smaller(kind + draw(rng, BETWEEN, 1) + draw(rng, WITHIN, n), area)
    observations = read(np.concatenate((good, lot)), rng, **how)
    top = top_current(observations)
    capacitance = ("c_cb", float(observations.cap[0, 1])) if observations.cap.shape[1] else None
    assumed = assumed_population("NPN", top, capacitance=capacitance)
    known = knowledge_from(
        assumed.centre, assumed.centre_covariance, assumed.between, assumed.within, temperature_std=0.5,
        gain_std=0.005, lead_std=1e-3,
    )  # fmt: skip
    if known_good:
        lots = [(take_observations(observations, np.arange(known_good)), True, None)]
        known = learn_from_known_good(known, lots, assumed.constants).known
    mine = take_observations(observations, np.arange(known_good, known_good + n))
    return weigh_observations(mine, assumed.constants, known), assumed


def words(seeds, **how):
    out = []
    for seed in seeds:
        found, assumed = weigh(seed, **how)
        n, good = found.weighed.evidence.size, how.get("known_good", 2)
        out += [
            compare(found, i, known_good_parts=good, known_good_lots=int(good > 0), basis=assumed.basis).word
            for i in range(n)
        ]
    return np.array(out)


@pytest.mark.parametrize(
    "how", [{}, {"points": 0, "saturation": 0}], ids=["1 A and both capacitances", "capacitances alone"]
)
def test_two_known_good_parts_tell_lots_of_the_type_from_lots_of_a_die_of_half_the_area(how):
    good, small = words(range(4), **how), words(range(4), area=0.5, **how)
    assert np.mean(good == "unlike") <= 0.05
    assert np.mean(good == "alike") >= 0.8
    assert np.mean(small == "unlike") >= 0.95


def test_a_single_part_is_judged_against_two_known_good_ones():
    assert np.mean(words(range(20, 26), n=1) == "unlike") <= 0.1
    assert np.mean(words(range(20, 26), n=1, area=0.5) == "unlike") >= 0.9


def test_without_known_good_parts_a_lot_wholly_of_another_die_looks_the_same_and_that_is_said():
    found, assumed = weigh(3, area=0.5, known_good=0)
    assert found.reach_absolute.max() < 0.1
    assert found.reach.min() > 0.6
    whole, _ = weigh(3, area=1.0, known_good=0)
    # Nothing speaks against the parts of either lot, and about as much for them.
    assert found.weighed.evidence.max() < 3
    assert np.median(found.weighed.evidence) == pytest.approx(np.median(whole.weighed.evidence), abs=1.0)
    said = compare(found, 0, known_good_parts=0, known_good_lots=0, basis=assumed.basis)
    assert said.reason.code == "WITHIN_LOT_ONLY"
    assert "would look the same" in said.reason.sentence


def test_from_the_prior_alone_nothing_is_claimed():
    for how in ({"points": 0, "saturation": 0}, {"points": 1, "saturation": 0, "capacitance": False}):
        found, _ = weigh(4, known_good=0, n=1, **how)
        assert abs(found.weighed.evidence[0]) < 0.5
        assert found.weighed.probability_unfit[0] == pytest.approx(0.1, abs=0.05)


@pytest.mark.parametrize(
    ("parts", "lots", "said"),
    [
        (1, 1, "One part says where"),
        (2, 1, "Two parts say where the type lies and nothing of how far its parts differ"),
        (6, 1, "nothing of how far lots differ"),
        (6, 2, "could have been missed"),
    ],
)
def test_it_is_said_how_little_few_known_good_parts_are(parts, lots, said):
    found, assumed = weigh(5)
    one = compare(found, 0, known_good_parts=parts, known_good_lots=lots, basis=assumed.basis)
    assert said in one.reason.sentence
    assert f"{parts} known-good part" in one.reason.sentence
    assert "nothing is claimed of a data sheet" in one.reason.sentence
    assert "rated current guessed" in one.reason.figures["rests_on"]


def test_the_guess_of_the_rated_current_is_wide_and_moves_with_what_was_read():
    small, large = assumed_population("NPN", 0.2), assumed_population("NPN", 5.0)
    assert large.ic_rated == pytest.approx(25 * small.ic_rated)
    assert large.constants.ic_rated == large.ic_rated
    sd = np.sqrt(np.diag(small.centre_covariance))
    assert (sd > np.sqrt(np.diag(small.between + small.within))).all()
    assert np.linalg.eigvalsh(small.centre_covariance).min() > 0
    by_capacitance = assumed_population("PNP", None, capacitance=("c_cb", 300e-12))
    assert 1 < by_capacitance.ic_rated < 30
    assert by_capacitance.constants.polarity == "PNP"


def test_top_current_is_that_of_readings_and_none_where_no_current_was_read():
    rng = np.random.default_rng(6)
    assert top_current(read(base_theta()[None], rng, top=2.0)) == pytest.approx(2.0)
    assert top_current(read(base_theta()[None], rng, points=0, saturation=0)) is None


def test_what_nothing_sets_the_scale_of_is_refused_in_words():
    with pytest.raises(ValueError, match="nothing sets the scale"):
        assumed_population("NPN", None)
    with pytest.raises(ValueError, match="say NPN or PNP"):
        assumed_population("", 1.0)
