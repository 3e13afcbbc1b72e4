"""Observations without power: soft hints, capped, set against each other, never enough to reject or accept."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from partscreen.quantities import QUANTITIES
from partscreen.readings.tables import Lot
from partscreen.reference.library import Library
from partscreen.screening.disposition import REJECT_EVIDENCE, Findings, PartEvidence, Rule, decide
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.reasons import NOT_YET_WEIGHED
from partscreen.screening.without_power.observation_table import LOOKS, MOST
from partscreen.screening.without_power.observations import look_at, sheet_weight, weigh_seen
from tests.screening.bench import batch, spots
from tests.screening.coded_bags import bag, counts, screened, with_seen

LIKE = tuple(LOOKS)


ONE_LOT = (Lot("L", type="2SA1943"),)


def seen(*rows, lots=ONE_LOT, part_lot=None, n=1, kind=None):
    made = batch(n, spot_table=spots(list(rows)))
    made = replace(made, lots=lots)
    if part_lot is not None:
        made = replace(made, part_lot=np.array(part_lot))
    return look_at(made, np.arange(n), kind)


def codes(found):
    return {reason.code for reason in (*found.remarks, *found.hold)}


def neutral(marked):
    """A part whose readings say nothing, in a bag of which `marked` are expected to be as marked."""
    names = ("as marked", "die area 0.6 of the type's", "base-emitter leak 3 times the lot's", "die of OTHER")
    rest = 1.0 - marked
    probability = np.array([[marked, 0.6 * rest, 0.2 * rest, 0.2 * rest]])
    return Weighed(
        np.zeros(1), np.zeros((1, 5)), names, ("marked", "die", "unfit", "type"), probability, np.zeros((1, 20)),
        np.zeros((1, 20, 20)), (), (0.1, 0.0, 0.3),
    )  # fmt: skip


def test_every_look_has_answers_whose_frequencies_are_those_of_a_whole():
    for quantity, look in LOOKS.items():
        for who in ("sound", "unfit"):
            assert sum(getattr(answer, who) for answer in look.answers) == pytest.approx(1.0), quantity
        known = QUANTITIES[quantity].answers
        assert not known or len(known) == len(look.answers)


def test_the_cap_lies_below_what_a_reject_asks_for():
    assert MOST < REJECT_EVIDENCE


def combinations():
    """Every combination of answers, those of figures by figures that give them."""
    figures = {
        "body_thickness": [(5e-3, {"drawn": 5e-3}), (4e-3, {"drawn": 5e-3})],
        "body_weight": [(9.7e-3, {"known": 9.75e-3}), (7e-3, {"known": 9.75e-3})],
        "code_year": [(1997.0, {"ended": 1998.0}), (1999.0, {"ended": 1998.0}), (2003.0, {"ended": 1998.0})],
    }
    choices = [figures.get(q) or [(float(i), {}) for i in range(len(LOOKS[q].answers))] for q in LIKE]
    return product(*choices)


def test_no_combination_of_hints_alone_rejects_or_accepts_a_part():
    every = list(combinations())
    assert len(every) == 2 * 2 * 2 * 3 * 2 * 2 * 3 * 2 * 3
    rows = [(p, q, value, told) for p, one in enumerate(every) for q, (value, told) in zip(LIKE, one, strict=True)]
    found = seen(*rows, n=len(every))
    weights = np.array([found[p].weight for p in range(len(every))])
    assert weights.min() == 0.0
    assert weights.max() == MOST  # the cap is met, so it is tested
    for marked in (0.9, 0.5, 0.02):  # also in a bag of which nearly all is bad
        for weight in np.unique(weights):
            after, term = weigh_seen(neutral(marked), np.array([weight]))
            assert 0.0 <= term[0] <= weight
            part = PartEvidence(
                float(after.evidence[0]), float(after.probability_unfit[0]), 0.0, False, lambda what: NOT_YET_WEIGHED
            )
            disposition, _ = decide(Findings(), part, Rule(0.6), NOT_YET_WEIGHED)
            assert disposition == "hold"


def drawn(rng, n, who):
    """(n, looks) answers at the stated frequencies, for the looks that are answered in words."""
    looks = [q for q in LIKE if QUANTITIES[q].answers]
    chance = [[getattr(a, who) for a in LOOKS[q].answers] for q in looks]
    return looks, np.stack([rng.choice(len(p), n, p=p) for p in chance], axis=1)


@pytest.mark.parametrize(
    ("who", "any_hint", "heavy"), [("sound", (0.10, 0.22), (0.03, 0.09)), ("unfit", (0.6, 0.8), (0.4, 0.65))]
)
def test_hints_at_the_stated_frequencies_alarm_as_often_as_the_page_says(who, any_hint, heavy):
    looks, answers = drawn(np.random.default_rng(3), 3000, who)
    rows = [(p, q, float(a), {}) for p, line in enumerate(answers.tolist()) for q, a in zip(looks, line, strict=True)]
    found = seen(*rows, n=3000)
    weight = np.array([found[p].weight for p in range(3000)])
    assert any_hint[0] < (weight > 0).mean() < any_hint[1]
    assert heavy[0] < (weight >= 1.0).mean() < heavy[1]


def test_what_agrees_is_set_against_what_differs_but_never_speaks_for_a_part():
    agree = [(0, q, 0.0, {}) for q in ("outline_seen", "print_seen", "pins_seen", "magnet_test", "wipe_test")]
    assert seen(*agree)[0].weight == 0.0
    assert codes(seen(*agree)[0]) == {"LOOKS_AS_KNOWN"}
    alone = seen((0, "pins_seen", 1.0, {}))[0].weight
    beside = seen((0, "pins_seen", 1.0, {}), (0, "print_seen", 0.0, {}))[0].weight
    assert 0.0 < beside < alone == pytest.approx(np.log(0.22 / 0.08))


def test_outline_and_thickness_have_one_cause_and_count_once():
    outline = seen((0, "outline_seen", 1.0, {}))[0].weight
    both = seen((0, "outline_seen", 1.0, {}), (0, "body_thickness", 4e-3, {"drawn": 5e-3}))[0]
    assert both.weight == outline
    assert codes(both) == {"OUTLINE_DIFFERS", "THICKNESS_DIFFERS"}


def test_hints_that_occur_on_original_parts_say_so():
    for quantity, look in LOOKS.items():
        for number, answer in enumerate(look.answers):
            if not answer.code or not QUANTITIES[quantity].answers:
                continue
            found = seen((0, quantity, float(number), {}))[0]
            (reason,) = (r for r in (*found.remarks, *found.hold) if r.code == answer.code)
            assert "not proof" in reason.sentence
            assert answer.also in reason.sentence
            assert "assumption" in reason.source


def test_another_print_below_stands_in_the_way_of_an_accept():
    found = seen((0, "wipe_test", 2.0, {}))[0]
    assert [r.code for r in found.hold] == ["OTHER_PRINT_BELOW"]
    assert seen((0, "wipe_test", 1.0, {}))[0].hold == ()


def test_a_date_one_year_after_the_stated_end_weighs_next_to_nothing():
    near = seen((0, "code_year", 1999.0, {"ended": 1998.0}))[0]
    late = seen((0, "code_year", 2003.0, {"ended": 1998.0}))[0]
    assert codes(near) == {"DATE_NEAR_END"}
    assert codes(late) == {"DATE_TOO_LATE"}
    assert near.weight < 0.25 < 1.0 < late.weight
    assert "1999" in near.remarks[0].sentence


def test_a_date_code_later_than_the_day_of_purchase_is_a_hint():
    bought = (Lot("L", type="2SA1943", extra={"bought_on": "2019-03-02"}),)
    assert codes(seen((0, "code_year", 2021.0, {}), lots=bought)[0]) == {"DATE_TOO_LATE"}
    assert codes(seen((0, "code_year", 2018.0, {}), lots=bought)[0]) == {"SEEN_NO_REFERENCE"}


def test_weight_is_held_against_the_reading_then_known_good_parts_then_the_sheet():
    kind = Library.load().type("2SA1943")
    stated, source = sheet_weight(kind)
    assert stated == pytest.approx(9.75e-3)
    assert source
    light = (0, "body_weight", 8.9e-3, {})
    assert codes(seen(light, kind=kind)[0]) == {"LOOKS_AS_KNOWN"}  # within 10 % of the sheet's typical weight
    assert codes(seen((0, "body_weight", 8.9e-3, {"known": 9.75e-3}), kind=kind)[0]) == {"WEIGHT_DIFFERS"}
    lots = (Lot("L", type="2SA1943"), Lot("K", type="2SA1943", known_good=True))
    both = seen(light, (1, "body_weight", 9.8e-3, {}), lots=lots, part_lot=[0, 1], n=2, kind=kind)
    assert codes(both[0]) == {"WEIGHT_DIFFERS"}
    assert 1 not in both  # known-good parts are what others are held against
    assert codes(seen(light)[0]) == {"SEEN_NO_REFERENCE"}
    assert seen(light)[0].weight == 0.0


def test_the_uncertainty_of_a_weight_widens_what_still_agrees():
    told = {"known": 9.75e-3}
    assert codes(seen((0, "body_weight", 9.1e-3, told, 0.0))[0]) == {"WEIGHT_DIFFERS"}
    assert codes(seen((0, "body_weight", 9.1e-3, told, 0.02))[0]) == {"LOOKS_AS_KNOWN"}


def test_hints_move_other_dies_and_types_and_nothing_else():
    before = neutral(0.6)
    after, term = weigh_seen(before, np.array([2.0]))
    ratio = after.probability[0] / before.probability[0]
    assert ratio[2] / ratio[0] == pytest.approx(1.0)  # a leak is no likelier for a print that differs
    assert ratio[1] / ratio[0] == pytest.approx(np.exp(2.0))
    assert term[0] == pytest.approx(np.log(0.8 * np.exp(2.0) + 0.2))
    untouched, none = weigh_seen(before, np.zeros(1))
    assert none[0] == 0.0
    assert untouched.probability == pytest.approx(before.probability)


def test_hints_stand_in_the_evidence_as_a_term_of_their_own_and_terms_sum(tmp_path):
    made, _ = bag(tmp_path, (10,), 41)
    lot = screened(with_seen(replace(made, date_codes={}), [(2, "print_seen", 1), (3, "wipe_test", 2)]))
    by_name = {part.part: part for part in lot.parts}
    third, fourth, first = (by_name[made.part_names[i]] for i in (2, 3, 0))
    assert third.evidence_by_reading[-1].reading == fourth.evidence_by_reading[-1].reading == "observations"
    assert 0 < third.evidence_by_reading[-1].evidence <= MOST
    assert "observations" not in [term.reading for term in first.evidence_by_reading]
    for part in lot.parts:
        assert sum(term.evidence for term in part.evidence_by_reading) == pytest.approx(part.evidence, abs=1e-9)
    assert fourth.disposition == "hold"
    assert not [part for part in lot.parts if part.disposition == "reject"]


@pytest.mark.long
def test_sound_parts_with_hints_at_the_stated_frequencies_are_never_rejected_and_seldom_held(tmp_path):
    held = total = 0
    for seed in range(12):
        made, truth = bag(tmp_path, (20,), 31 * seed + 5)
        looks, answers = drawn(np.random.default_rng(seed), 20, "sound")
        rows = [(p, q, a) for p, line in enumerate(answers.tolist()) for q, a in zip(looks, line, strict=True)]
        told = counts(screened(with_seen(replace(made, date_codes={}), rows)), truth)
        assert told[True, "reject"] == 0
        held, total = held + told[True, "hold"], total + 20
    assert held / total <= 0.05


def test_weights_and_lengths_are_told_in_grams_and_millimetres():
    from partscreen.workflow.papers.read_as import conditions_words

    assert conditions_words({"known": 9.75e-3}) == "known=9.75 g"
    assert conditions_words({"drawn": 5e-3, "tolerance": 2e-4, "ended": 1998.0}) == (
        "drawn=5 mm, tolerance=200 um, ended=1998"
    )
    assert "9.1 g" in seen((0, "body_weight", 9.1e-3, {}))[0].remarks[0].sentence
