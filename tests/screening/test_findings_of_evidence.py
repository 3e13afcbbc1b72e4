"""What evidence, a fit and outliers become on a part: its own figures count, and each border is kept."""

from types import SimpleNamespace

import numpy as np
import pytest

from partscreen.screening import evidence_words
from partscreen.screening import reasons as say
from partscreen.screening.disposition import FAULT_PROBABILITY, REJECT_EVIDENCE, Findings, Rule, decide
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.findings import (
    LotFindings,
    _barred,
    _distance,
    _evidence,
    _leaks,
    _misfits,
    _told,
    findings_of_parts,
)
from partscreen.screening.fitting import GroupFit
from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.judge import PartReadings, judge_limits
from partscreen.screening.lot.halves import Halves
from partscreen.screening.observe import build_observations
from partscreen.screening.weighing import FEW, WeighedLot
from tests.screening.bench import batch, gain_limit, points

NAMES = ("as marked", "die area 0.5 of the type's", "gain 0.60 of the lot's", "base-emitter leak 20 times the lot's")
KINDS = ("marked", "die", "unfit", "unfit")
RULE = Rule(0.6)


def lot(*parts, sound=0, known_good=0, main_unfit=0.0, flagged=(), halves=None, assumed=""):
    """Of (evidence, probabilities) by part; `sound` more parts, as marked."""
    every = [*parts, *((-5.0, (0.999, 0.001, 0.0, 0.0)),) * sound]
    n = len(every)
    evidence = np.array([e for e, _ in every])
    weighed = Weighed(
        evidence, np.zeros((n, 5)), NAMES, KINDS, np.array([p for _, p in every]), np.zeros((n, 1)),
        np.zeros((n, 1, 1)), (("as marked", "marked", 1.0 - main_unfit), ("small", "die", main_unfit)), (0.1, 0.0, 0.2),
    )  # fmt: skip
    numbers = np.arange(n)
    strange = np.isin(numbers, flagged)
    of = SimpleNamespace(
        weighed=weighed, reach=0.8 - 0.01 * numbers, reach_absolute=0.4 - 0.01 * numbers,
        area=SimpleNamespace(ln=np.log(0.5 + 0.1 * numbers), sd=np.full(n, 0.1)), read=np.ones((n, 5), dtype=bool),
        power=np.zeros((n, 1)), alternatives=("x, other process",),
    )  # fmt: skip
    found = SimpleNamespace(
        flagged=strange, distance=np.where(numbers == 1, np.nan, 2.0 + numbers), bar=np.full(n, 5.0),
        reference=np.ones(n, dtype=bool), p=np.full(n, 1e-6), weight_of_spreads=0.5,
    )  # fmt: skip
    outliers = SimpleNamespace(flagged=strange, found=found, explained=np.full(n, 1e-6), misfit=np.ones(n))
    return WeighedLot(
        numbers, of, None, known_good, known_good // 3, outliers, [[] for _ in every], halves=halves, assumed=assumed
    )


def outcome(weighed, part=0):
    return decide(Findings(), _evidence(weighed, part, RULE), RULE, say.NOT_YET_WEIGHED)[0]


@pytest.mark.parametrize(
    ("evidence", "probability", "disposition"),
    [
        (6.0, (0.08, 0.90, 0.01, 0.01), "reject"),  # another die leads: nine in ten is enough
        (6.0, (0.08, 0.01, 0.90, 0.01), "hold"),  # a gain leads: 0.95 is asked
        (6.0, (0.08, 0.01, 0.01, 0.90), "hold"),  # a leak too
        (6.0, (0.05, 0.01, 0.94, 0.00), "reject"),
        (REJECT_EVIDENCE, (0.04, 0.0, 0.0, 0.96), "reject"),
        (0.5, (0.04, 0.0, 0.96, 0.0), "hold"),
        (-6.0, (0.999, 0.001, 0.0, 0.0), "accept"),
    ],
)
def test_a_fault_within_the_limits_must_be_surer_than_another_die(evidence, probability, disposition):
    assert FAULT_PROBABILITY == 0.95
    assert outcome(lot((evidence, probability), sound=4)) == disposition


def test_reach_that_counts_is_against_the_lot_in_a_lot_and_against_the_reference_alone_below_five_parts():
    good = (-6.0, (0.999, 0.001, 0.0, 0.0))
    few, enough = lot(good, sound=FEW - 2), lot(good, sound=FEW - 1)
    assert _evidence(few, 0, RULE).reach == pytest.approx(0.4)
    assert _evidence(enough, 2, RULE).reach == pytest.approx(0.78)
    assert outcome(few) == "hold"
    assert outcome(enough) == "accept"


def test_an_assumed_population_and_none_at_all_decide_nothing():
    part = (6.0, (0.0, 1.0, 0.0, 0.0))
    assert _evidence(lot(part, assumed="of the lot itself"), 0, RULE) is None
    assert _evidence(None, 0, RULE) is None


def test_a_part_is_told_its_own_figures():
    weighed = lot((6.0, (0.1, 0.5, 0.3, 0.1)), (-2.0, (0.9, 0.1, 0.0, 0.0)))
    for part in (0, 1):
        told = _told(SimpleNamespace(weighed=weighed), part)
        of = weighed.evidence
        assert told["evidence"] == of.weighed.evidence[part]
        assert told["probability_unfit"] == pytest.approx(1.0 - of.weighed.probability[part, 0])
        assert told["probability_of_substitution"] == pytest.approx(of.weighed.probability[part, 1])
        assert (told["reach"], told["reach_absolute"]) == (of.reach[part], of.reach_absolute[part])
        assert told["area_ratio"].value == pytest.approx(0.5 + 0.1 * part)
        assert told["area_ratio"].low == pytest.approx(told["area_ratio"].value * np.exp(-0.196))
    assumed = _told(SimpleNamespace(weighed=lot((6.0, (0.1, 0.5, 0.3, 0.1)), assumed="x")), 0)
    assert (assumed["reach_absolute"], assumed["closest_types"]) == (None, None)
    assert set(_told(SimpleNamespace(weighed=None), 0)) == set(assumed)
    assert set(_told(SimpleNamespace(weighed=None), 0).values()) == {None}


def codes(weighed, part=0, *, fits_nothing=False):
    bar, stands = _barred(SimpleNamespace(weighed=weighed), part, fits_nothing=fits_nothing)
    return [r.code for r in bar], [r.code for r in stands]


def test_what_only_the_sheets_say_is_barred_from_the_evidence_that_would_reject_on():
    loud, quiet = (REJECT_EVIDENCE, (0.0, 1.0, 0.0, 0.0)), (REJECT_EVIDENCE - 1e-9, (0.0, 1.0, 0.0, 0.0))
    assert codes(lot(loud, sound=5, main_unfit=0.9)) == (["SHEETS_ALONE"], [])
    assert codes(lot(quiet, sound=5, main_unfit=0.9)) == ([], [])
    assert codes(lot(loud, sound=5, main_unfit=0.1)) == ([], [])
    assert codes(None) == ([], [])


def test_halves_of_a_lot_bar_once_and_before_the_sheets():
    halves = Halves(np.array([True, False]), 0.5, 0.5, 0.0)
    loud = (9.0, (0.0, 1.0, 0.0, 0.0))
    assert codes(lot(loud, sound=5, main_unfit=0.9, halves=halves)) == (["WHICH_HALF_UNKNOWN"], [])


def test_a_part_unlike_any_is_barred_where_its_own_fit_misses_too_and_else_only_held_back():
    part = (-1.0, (0.9, 0.1, 0.0, 0.0))
    assert codes(lot(part, flagged=[0])) == ([], ["UNLIKE_KNOWN_PARTS"])
    assert codes(lot(part, flagged=[0]), fits_nothing=True) == (["UNLIKE_KNOWN_PARTS"], [])
    assert codes(lot(part, part, flagged=[1])) == ([], [])


def test_distance_of_a_part_is_its_own_and_missing_where_nothing_was_read():
    weighed = lot(*((-1.0, (0.9, 0.1, 0.0, 0.0)),) * 3)
    told = [_distance(SimpleNamespace(weighed=weighed), part) for part in range(3)]
    assert told == [2.0, None, 4.0]
    assert _distance(SimpleNamespace(weighed=None), 0) is None


def test_a_part_leaks_where_its_readings_speak_against_it_and_a_leak_is_likeliest():
    leak, gain = (0.2, 0.1, 0.1, 0.6), (0.2, 0.1, 0.6, 0.1)
    assert _leaks(lot((0.1, leak)), 0)
    assert not _leaks(lot((0.0, leak)), 0)
    assert not _leaks(lot((0.1, gain)), 0)
    assert not _leaks(lot((0.1, leak), assumed="x"), 0)
    assert not _leaks(None, 0)


def test_a_fit_that_misses_or_did_not_come_to_rest_is_told_of_its_own_part():
    n = 5
    theta = np.zeros((n, 2))
    theta[3] = np.nan
    p = np.array([0.0011, 0.0009, 0.5, 1e-9, np.nan])
    fit = GroupFit(
        tuple("ab"), theta, np.zeros((n, 2, 2)), theta, p, np.arange(n) + 10.0, np.arange(n), p,
        ("converged", "converged", "stalled", "converged", "converged"),
    )  # fmt: skip
    found = _misfits(SimpleNamespace(fit=fit, setup=SimpleNamespace(name="X1")))
    assert {part: [r.code for r in reasons] for part, reasons in found.items()} == {1: ["MISFIT"], 2: ["FIT_FAILED"]}
    assert (found[1][0].figures["chi_square"], found[1][0].figures["dof"]) == (11.0, 1)
    assert "X1 population" in found[1][0].sentence
    assert "less than one good part in a thousand" in found[1][0].sentence
    assert _misfits(SimpleNamespace(fit=None, setup=None)) == {}


AT_HAND, FAR = ("min", 60.0, 0.7), ("min", 60.0, 8.0)


def results(rows, read, *limits, capacitance=None):
    """Parts read at `rows` of (part, hFE at 0.5 A, at 1 A), judged by limits; `read`: whether each has readings."""
    n = len(read)
    part, first, second = (np.array(column) for column in zip(*rows, strict=True))
    table = points(np.repeat(part, 2), np.tile([0.5, 1.0], part.size), hfe=np.stack((first, second), axis=1).ravel())
    made = batch(n, table)
    o = build_observations(made, np.arange(n)).observations
    found = LotFindings(
        SimpleNamespace(kind="bjt", prior=None, name="X1", close=(), two_types=False), np.arange(n), o, {},
        judge_limits([gain_limit(*limit) for limit in limits], PartReadings(o, {}, PlainLaws())), None,
        SimpleNamespace(outliers={}), capacitance or {},
        [[] for _ in read], [None] * n, [None] * n, [["hFE 2 points"] if r else [] for r in read], ["bench"] * n,
    )  # fmt: skip
    return findings_of_parts(found, made, SimpleNamespace(risk=0.02, rule=RULE))


def test_every_part_comes_out_in_its_order_with_its_own_reasons():
    # Far above the minimum of 60; not read at all; in its guard band from above; below it; in the band from below.
    rows = [(0, 100, 100), (2, 60.5, 60.5), (3, 30, 30), (4, 58.6, 58.6)]
    told = results(rows, [True, False, True, True, True], AT_HAND)
    assert [p.part for p in told] == ["1", "2", "3", "4", "5"]
    assert [p.status for p in told] == ["judged", "unusable", "judged", "judged", "judged"]
    assert [[r.code for r in p.reasons] for p in told] == [
        ["NOT_YET_WEIGHED"], ["UNUSABLE"], ["NOT_YET_WEIGHED", "GUARD_BAND"], ["LIMIT_BROKEN"],
        ["NOT_YET_WEIGHED", "GUARD_BAND"],
    ]  # fmt: skip
    assert told[0].reasons == [say.LIMITS_ALONE]
    assert [p.disposition for p in told] == ["hold", None, "hold", "reject", "hold"]


def test_a_part_is_told_which_limits_its_readings_do_not_reach_and_where_they_end():
    told = results([(0, 100, 100), (1, 100, np.nan)], [True, True], FAR)
    sentences = [{r.code: r.sentence for r in p.reasons} for p in told]
    assert [p.reasons[0] for p in told] == [say.NO_LIMIT_REACHED] * 2
    assert "the readings end at 1 A" in sentences[0]["LIMITS_NOT_REACHED"]
    assert "the readings end at 500 mA" in sentences[1]["LIMITS_NOT_REACHED"]


def test_one_limit_reached_of_two_is_enough_to_be_judged_by_limits_alone():
    (part,) = results([(0, 100, 100)], [True], AT_HAND, FAR)
    assert part.reasons[0] == say.LIMITS_ALONE
    assert [r.code for r in part.reasons[1:]] == ["LIMITS_NOT_REACHED"]
    (part,) = results([(0, 100, 100)], [True])
    assert part.reasons == [say.NO_LIMIT_REACHED]


def test_what_is_said_of_a_capacitance_is_said_of_its_own_part():
    remark = say.capacitance_no_reference(["C_BE"])
    first, second = results([(0, 100, 100), (1, 100, 100)], [True, True], AT_HAND, capacitance={1: (remark,)})
    assert remark in second.reasons
    assert remark not in first.reasons


@pytest.mark.parametrize(("reach", "told"), [(0.41, "0.41"), (0.5964, "0.596"), (0.59996, "0.59996")])
def test_reach_that_falls_short_is_told_apart_from_what_is_asked_for(reach, told):
    sentence = evidence_words.short_reach(-1.0, reach, 0.6, alone=False).sentence
    assert f"below {told} of the type's; 0.60 is asked for" in sentence
