"""Several date codes in a bag: weighed with the wider spread, told by sub-lots."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import beta

from partscreen.readings.tables import Lot
from partscreen.results import LotResult, PartResult, Reason
from partscreen.screening.evidence.lot import share_priors
from partscreen.screening.lot.sub_lots import NO_CODE, _groups, share_of, with_mixed_marked, with_sub_lots
from partscreen.screening.screen import screen_batch
from partscreen.screening.weighing import MIXED
from tests.screening.bench import batch
from tests.screening.coded_bags import LIBRARY, bag, counts, screened


def part(name="1", evidence=-4.0, disposition="accept", code="AS_MARKED"):
    return PartResult(
        part=name, status="judged", disposition=disposition, evidence=evidence,
        reasons=[Reason(code=code, sentence="told")],
    )  # fmt: skip


def test_codes_of_five_parts_or_more_stand_alone_and_small_ones_are_told_together():
    assert _groups(Counter({"A": 9})) == []
    assert _groups(Counter({"A": 5, "B": 12})) == [("B",), ("A",)]
    assert _groups(Counter({"A": 5, "B": 4, "C": 1, NO_CODE: 8})) == [("A",), ("B", "C", NO_CODE)]
    assert _groups(Counter({"A": 1, "B": 2})) == [("A", "B")]


def test_only_a_lot_of_several_codes_is_marked_as_mixed():
    made = batch(4, lots=(Lot("L"), Lot("M")), part_lot=[0, 0, 1, 1], date_codes={0: "9914", 1: "9914", 2: "0231"})
    first, second = with_mixed_marked(made).lots
    assert MIXED not in first.extra
    assert MIXED in second.extra  # one part with a code, one without
    assert MIXED not in made.lots[1].extra


def by_integral(evidence, prior_share, certain=0):
    """Mean of the share by quadrature over the same belief."""
    bad_lot, good, rest = share_priors(prior_share)

    def like(s):
        return np.prod((1 - s) + s * np.exp(evidence)) * s**certain

    def whole(of, weight, a, b):
        # Substituting u = cdf takes the singular ends of the density out.
        return weight * quad(lambda u: of(beta.ppf(u, a, b)), 0, 1, limit=400)[0]

    sides = ((1 - bad_lot, good.a, good.b), (bad_lot, rest.b, rest.a))
    top = sum(whole(lambda s: s * like(s), *side) for side in sides)
    return top / sum(whole(like, *side) for side in sides)


@pytest.mark.parametrize(
    ("evidence", "certain"), [([-4.0] * 12, 0), ([-3.0] * 6 + [5.0] * 2, 0), ([4.0] * 8, 0), ([-2.0] * 5, 2)]
)
def test_the_share_of_a_sub_lot_is_that_of_the_belief_and_the_evidence_of_its_parts(evidence, certain):
    parts = [part(evidence=e) for e in evidence] + [part(disposition="reject", code="LIMIT_BROKEN")] * certain
    found = share_of(parts, 0.1)
    assert found.value == pytest.approx(by_integral(np.array(evidence), 0.1, certain), abs=0.004)
    assert 0.0 <= found.low <= found.value <= found.high <= 1.0


def test_a_sub_lot_without_weighed_parts_has_no_share():
    assert share_of([part(evidence=None, disposition="hold")], 0.1) is None


def test_sub_lots_hold_every_part_once_and_a_lot_of_one_code_has_none():
    made = batch(9, date_codes={i: "9914" if i < 6 else "0231" for i in range(9)})
    lot = LotResult(lot="A1", n_parts=9, judgement="test_all", parts=[part(str(i + 1)) for i in range(9)])
    (told,) = with_sub_lots([lot], made, 0.1)
    assert [(sub.codes, sub.n_parts) for sub in told.sub_lots] == [(["9914"], 6), (["0231"], 3)]
    assert sorted(n for sub in told.sub_lots for n in sub.parts) == sorted(p.part for p in lot.parts)
    assert told.reasons[0].code == "SUB_LOTS"
    assert with_sub_lots([lot], replace(made, date_codes={}), 0.1)[0].sub_lots == []


def test_a_clean_and_a_bad_code_in_one_bag_are_told_apart(tmp_path):
    made, truth = bag(tmp_path, (12, 8), 77, bad=(1,))
    lot = screened(made)
    clean, bad = lot.sub_lots
    assert (clean.codes, bad.codes) == (["9900"], ["9901"])
    assert clean.share_unfit.high < 0.10 < 0.5 < bad.share_unfit.low
    assert bad.judgement == "return"
    told = counts(lot, truth)
    assert told[True, "reject"] == told[False, "accept"] == 0


def test_what_is_expected_of_a_part_follows_its_own_code(tmp_path):
    made, _ = bag(tmp_path, (10, 6, 4), 107, bad=(1,), area=0.7)
    mixed = with_mixed_marked(made)
    (with_codes,) = screen_batch(mixed, LIBRARY)
    (without,) = screen_batch(replace(mixed, date_codes={}), LIBRARY)
    names = made.part_names
    clean = range(10)
    one, other = ({part.part: part for part in lot.parts} for lot in (with_codes, without))
    assert np.mean([one[names[i]].probability_unfit for i in clean]) < np.mean(
        [other[names[i]].probability_unfit for i in clean]
    )
    assert [one[n].evidence for n in names] == pytest.approx([other[n].evidence for n in names])


@pytest.mark.parametrize("sizes", [(12, 8), (2,) * 10])
def test_sound_bags_of_several_codes_are_not_rejected(tmp_path, sizes):
    for seed in (1, 2):
        made, truth = bag(tmp_path, sizes, seed)
        told = counts(screened(made), truth)
        assert told[True, "reject"] == 0
        assert told[True, "accept"] >= 0.9 * sum(sizes)


@pytest.mark.long
@pytest.mark.parametrize("area", [0.55, 0.7])
def test_rates_of_bags_of_several_codes_are_those_of_the_page(tmp_path, area):
    sound, bad = Counter(), Counter()
    for seed in (*range(6), *range(10, 16)):  # of other seeds no simulated part passes its maker's last test
        for sizes, wrong in (((12, 8), ()), ((12, 8), (1,)), ((10, 6, 4), (1,)), ((10, 2, 2, 2, 2, 2), (2, 4))):
            made, truth = bag(tmp_path, sizes, 100 * seed + 7, bad=wrong, area=area)
            told = counts(screened(made), truth)
            (bad if wrong else sound).update(told)
    assert sound[True, "reject"] == 0
    assert sound[True, "accept"] >= 0.97 * sum(sound.values())
    assert bad[True, "reject"] == 0
    assert bad[False, "accept"] <= 0.01 * sum(n for (is_sound, _), n in bad.items() if not is_sound)
