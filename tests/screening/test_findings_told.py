"""Every finding on a part is told of that part, in the order of its weight, and does what its kind does."""

from dataclasses import replace
from math import nextafter
from types import SimpleNamespace

import numpy as np
import pytest

from partscreen.readings.tables import Batch
from partscreen.results import Reason
from partscreen.screening import reasons as say
from partscreen.screening.disposition import REJECT_EVIDENCE, Findings, Rule, decide
from partscreen.screening.findings import LotFindings, _alike, _evidence, _leaks, _misfits, _waiting, findings_of_parts
from partscreen.screening.fitting import GroupFit
from partscreen.screening.limits.curve_model import PlainLaws
from partscreen.screening.limits.judge import PartReadings, judge_limits
from partscreen.screening.lot.halves import Halves
from partscreen.screening.observe import build_observations
from partscreen.screening.stress import Stressed
from partscreen.screening.without_power.observations import Seen
from tests.screening.bench import batch, gain_limit, points
from tests.screening.test_findings_of_evidence import lot

RULE = Rule(0.6)
SOUND = (-6.0, (0.999, 0.001, 0.0, 0.0))


def remark(code):
    return Reason(code=code, sentence=f"{code} is told.")


def fitted(*p, converged=True):
    n = len(p)
    status = ("converged" if converged else "stalled",) * n
    values = np.array(p, dtype=float)
    theta = np.where(np.isnan(values), np.nan, 0.0)[:, None] * np.ones((1, 2))
    return GroupFit(
        tuple("ab"), theta, np.zeros((n, 2, 2)), theta, values, np.arange(n) + 10.0, np.full(n, 3), values, status
    )


def told(gains, *limits, kind="bjt", prior=1, read=None, batch_more=None, **more):
    """Parts read at 0.5 and 1 A with these gains, judged by limits, and what else was found."""
    n = len(gains)
    table = points(np.repeat(np.arange(n), 2), np.tile([0.5, 1.0], n), hfe=np.repeat(gains, 2))
    made: Batch = replace(batch(n, table), **(batch_more or {}))
    o = build_observations(made, np.arange(n)).observations
    empty = {"capacitance": {}, "view": SimpleNamespace(outliers={}), "fit": None}
    found = LotFindings(
        setup=SimpleNamespace(kind=kind, prior=prior, name="X1", close=(), two_types=""), parts=np.arange(n),
        observations=o, spots={},
        judged=judge_limits([gain_limit(*limit) for limit in limits], PartReadings(o, {}, PlainLaws())),
        limit_results=[[] for _ in gains], fit_results=[None] * n, curves=[None] * n,
        readings_used=[["hFE"] if r else [] for r in (read or [True] * n)], sessions=["bench"] * n, **(empty | more),
    )  # fmt: skip
    return findings_of_parts(found, made, SimpleNamespace(risk=0.02, rule=RULE))


def codes(part):
    return [reason.code for reason in part.reasons]


AT_HAND = ("min", 60.0, 0.7)


@pytest.mark.parametrize(
    ("gain", "disposition", "said"),
    [
        # hFE is read to about 1.5 %: far above, then ever nearer to and further below the minimum of 60.
        (100.0, "hold", ["NOT_YET_WEIGHED"]),
        (60.5, "hold", ["NOT_YET_WEIGHED", "GUARD_BAND"]),
        (59.6, "hold", ["NOT_YET_WEIGHED", "GUARD_BAND"]),
        (56.8, "hold", ["LIMIT_UNCONFIRMED"]),  # below it more likely than the risk allows, not beyond doubt
        (50.0, "reject", ["LIMIT_BROKEN"]),
    ],
)
def test_a_part_is_told_its_limit_from_conforming_to_broken_by_its_own_readings(gain, disposition, said):
    first, part, last = told([200.0, gain, 200.0], AT_HAND)
    assert (part.disposition, codes(part)) == (disposition, said)
    assert codes(first) == codes(last) == ["NOT_YET_WEIGHED"]


def test_a_limit_only_reached_by_the_fit_holds_and_what_conforms_is_not_told():
    for limit, said in ((("min", 20.0, 0.7), ["NOT_YET_WEIGHED"]), (("max", 400.0, 0.7), ["NOT_YET_WEIGHED"])):
        assert codes(told([100.0], limit)[0]) == said
    broken, met = ("min", 300.0, 0.7), ("min", 20.0, 0.7)
    (part,) = told([100.0], met, broken, met)
    assert (part.disposition, codes(part)) == ("reject", ["LIMIT_BROKEN"])


def test_findings_on_a_part_come_in_the_order_of_their_weight():
    broken = ("min", 300.0, 0.7)
    weighed = lot(SOUND, SOUND, sound=4, flagged=[1])
    weighed = replace(weighed, edge_remarks={1: remark("EDGE")})
    parts = told(
        [100.0] * 6, broken, ("min", 60.0, 8.0), weighed=weighed, fit=fitted(0.5, 1e-6, 0.5, 0.5, 0.5, 0.5),
        view=SimpleNamespace(outliers={1: (remark("FAR_OUT"),)}), capacitance={1: (remark("CAPACITANCE"),)},
        seen={1: Seen(0.5, (remark("LOOKED_AT"),), (remark("STRANGE_LEADS"),))},
        stressed={1: Stressed(("avalanche",), ("broken down",))},
    )  # fmt: skip
    assert codes(parts[1]) == [
        "LIMIT_BROKEN", "UNLIKE_KNOWN_PARTS", "MISFIT", "STRANGE_LEADS", "FAR_OUT", "LIMITS_NOT_REACHED",
        "CAPACITANCE", "EDGE", "LOOKED_AT", "STRESSED",
    ]  # fmt: skip
    for part in (parts[0], *parts[2:]):
        assert codes(part) == ["LIMIT_BROKEN", "LIMITS_NOT_REACHED"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"fit": fitted(1e-6, 0.5, 0.5, 0.5, 0.5)}, ["MISFIT"]),
        ({"fit": fitted(0.5, 0.5, 0.5, 0.5, 0.5, converged=False)}, ["FIT_FAILED"]),
        ({"seen": {0: Seen(0.5, (), (remark("STRANGE_LEADS"),))}}, ["STRANGE_LEADS"]),
        ({"weighed": lot(SOUND, sound=4, flagged=[0])}, ["UNLIKE_KNOWN_PARTS"]),
    ],
)
def test_what_stands_in_the_way_of_an_accept_holds_a_part_that_evidence_would_accept(more, said):
    parts = told([100.0] * 5, AT_HAND, **({"weighed": lot(SOUND, sound=4)} | more))
    assert (parts[0].disposition, codes(parts[0])) == ("hold", said)


@pytest.mark.parametrize(
    "more",
    [
        {"capacitance": {0: (remark("TOLD"),)}},
        {"view": SimpleNamespace(outliers={0: (remark("TOLD"),)})},
        {"seen": {0: Seen(0.5, (remark("TOLD"),))}},
        {"weighed": replace(lot(SOUND, sound=4), edge_remarks={0: remark("TOLD")})},
    ],
)
def test_a_remark_stands_in_nobodys_way(more):
    parts = told([100.0] * 5, AT_HAND, **({"weighed": lot(SOUND, sound=4)} | more))
    assert [p.disposition for p in parts] == ["accept"] * 5
    assert [codes(p)[1:] for p in parts] == [["TOLD"], [], [], [], []]


def test_a_part_unlike_any_other_is_barred_from_its_evidence_only_where_its_own_fit_misses_too():
    loud = (9.0, (0.0, 1.0, 0.0, 0.0))
    for p, disposition, first in ((0.5, "reject", "SUSPECT"), (1e-6, "hold", "UNLIKE_KNOWN_PARTS")):
        fit = fitted(p, 0.5, 0.5, 0.5, 0.5)
        part = told([100.0] * 5, AT_HAND, weighed=lot(loud, sound=4, flagged=[0]), fit=fit)[0]
        assert (part.disposition, codes(part)[0]) == (disposition, first)
        assert "UNLIKE_KNOWN_PARTS" in codes(part)


def test_evidence_of_each_part_decides_about_that_part():
    loud = (9.0, (0.0, 1.0, 0.0, 0.0))
    parts = told([100.0] * 6, AT_HAND, weighed=lot(SOUND, loud, sound=4))
    assert [p.disposition for p in parts] == ["accept", "reject", *["accept"] * 4]
    assert [p.evidence for p in parts][:2] == [-6.0, 9.0]
    assert [p.outlier_distance for p in parts] == [2.0, None, 4.0, 5.0, 6.0, 7.0]
    bare = told([100.0], AT_HAND)[0]
    assert (bare.evidence, bare.outlier_distance, bare.hypotheses) == (None, None, None)


def test_a_leak_that_is_likeliest_is_said_to_may_come_of_the_stress_and_of_no_other_part():
    leak = (1.0, (0.2, 0.1, 0.1, 0.6))
    stress = {0: Stressed(("avalanche",), ("broken down",)), 1: Stressed(("avalanche",), ("broken down",))}
    parts = told([100.0] * 6, AT_HAND, weighed=lot(leak, SOUND, sound=4), stressed=stress)
    sentences = [next(r.sentence for r in p.reasons if r.code == "STRESSED") for p in parts[:2]]
    assert ["may be the cause" in s for s in sentences] == [True, False]
    assert "STRESSED" not in codes(parts[2])
    assert _leaks(None, 0) is False
    assert _leaks(lot(SOUND), 0) is False


def test_without_a_type_a_part_is_held_and_told_how_it_compares_and_nothing_bars_or_rejects_for_evidence():
    bare = told([100.0], AT_HAND, kind=None)[0]
    assert (bare.disposition, codes(bare)) == ("hold", ["NO_REFERENCE"])
    halves = Halves(np.array([True, False]), 0.5, 0.5, 0.0)
    weighed = lot((9.0, (0.0, 1.0, 0.0, 0.0)), sound=5, halves=halves, assumed="of the lot itself")
    part = told([100.0] * 6, AT_HAND, kind=None, weighed=weighed)[0]
    assert part.disposition == "hold"
    assert codes(part)[:3] == ["NO_REFERENCE", "WITHIN_LOT_ONLY", "WHICH_HALF_UNKNOWN"]
    assert _alike(SimpleNamespace(weighed=None), 0) == ()
    broken = told([30.0], AT_HAND, kind=None)[0]
    assert (broken.disposition, codes(broken)) == ("reject", ["LIMIT_BROKEN", "NO_REFERENCE"])


@pytest.mark.parametrize(
    ("limit", "prior", "said"),
    [
        (AT_HAND, None, say.LIMITS_ALONE), (AT_HAND, 1, say.NOT_YET_WEIGHED),
        (("min", 60.0, 8.0), 1, say.NO_LIMIT_REACHED), (("min", 60.0, 8.0), None, say.NO_LIMIT_REACHED),
    ],
)  # fmt: skip
def test_a_part_that_failed_nothing_is_told_what_it_waits_for_by_what_was_read_of_it(limit, prior, said):
    # The first part is read near the limit, the second nowhere near it.
    part = told([100.0], limit, prior=prior)[0]
    assert part.reasons[0] == said
    assert _waiting(SimpleNamespace(kind=None, prior=None), False) == say.NO_LIMIT_REACHED


def test_a_part_read_near_no_limit_says_so_beside_one_that_was():
    n = 2
    table = points([0, 0, 1, 1], [0.5, 1.0, 0.01, 0.02], hfe=100.0)
    made = batch(n, table)
    o = build_observations(made, np.arange(n)).observations
    judged = judge_limits([gain_limit(*AT_HAND), gain_limit("max", 500.0, 0.7)], PartReadings(o, {}, PlainLaws()))
    found = LotFindings(
        SimpleNamespace(kind="bjt", prior=None, name="X1", close=(), two_types=""), np.arange(n), o, {}, judged, None,
        SimpleNamespace(outliers={}), {}, [[], []], [None] * n, [None] * n, [["hFE"], ["hFE"]], ["first", None],
    )  # fmt: skip
    first, second = findings_of_parts(found, made, SimpleNamespace(risk=0.02, rule=RULE))
    assert first.reasons == [say.LIMITS_ALONE]
    assert second.reasons[0] == say.NO_LIMIT_REACHED
    assert codes(second)[1:] == ["LIMITS_NOT_REACHED"]
    assert (first.session, second.session) == ("first", None)


def test_a_part_without_readings_is_unusable_and_the_next_ones_are_judged():
    parts = told([100.0, 30.0, 100.0, 30.0], AT_HAND, read=[False, True, False, True])
    assert [p.status for p in parts] == ["unusable", "judged", "unusable", "judged"]
    assert [p.disposition for p in parts] == [None, "reject", None, "reject"]
    assert parts[0].reasons == parts[2].reasons == [say.NO_READINGS]
    assert [p.part for p in parts] == ["1", "2", "3", "4"]
    assert [p.readings_used for p in parts] == [[], ["hFE"], [], ["hFE"]]
    assert {p.session for p in parts} == {"bench"}


def test_a_gain_or_a_leak_must_be_surer_from_the_very_evidence_that_would_reject_on():
    gain, die = (0.07, 0.0, 0.93, 0.0), (0.07, 0.93, 0.0, 0.0)
    for evidence, probability, disposition in (
        (REJECT_EVIDENCE, gain, "hold"), (REJECT_EVIDENCE, die, "reject"),
        (nextafter(REJECT_EVIDENCE, 0.0), die, "hold"), (REJECT_EVIDENCE + 5.0, gain, "hold"),
    ):  # fmt: skip
        weighed = lot((evidence, probability), sound=4)
        assert decide(Findings(), _evidence(weighed, 0, RULE), RULE, say.NOT_YET_WEIGHED)[0] == disposition


def test_what_evidence_tells_the_decision_is_that_of_the_part():
    weighed = lot((4.0, (0.1, 0.2, 0.3, 0.4)), SOUND, sound=4)
    for part, evidence, unfit in ((0, 4.0, 0.9), (1, -6.0, 0.001)):
        of = _evidence(weighed, part, RULE)
        assert (of.evidence, of.probability_unfit) == (evidence, pytest.approx(unfit))
        assert of.reach == pytest.approx(0.8 - 0.01 * part)
    assert _evidence(weighed, 0, RULE).fault_leads
    assert not _evidence(weighed, 1, RULE).fault_leads
    for outcome in ("against", "undecided", "in_favour", "short_reach", "risky"):
        assert _evidence(weighed, 0, RULE).say(outcome).sentence


def test_a_fit_is_held_against_its_part_below_one_chance_in_a_thousand():
    n = 4
    found = _misfits(
        SimpleNamespace(fit=fitted(0.001, nextafter(0.001, 0.0), np.nan, 0.0), setup=SimpleNamespace(name=""))
    )
    assert sorted(found) == [1, 3]
    assert [r.code for r in found[3]] == ["MISFIT"]
    assert "marked type's population" in found[1][0].sentence
    assert found[1][0].figures["p"] == nextafter(0.001, 0.0)
    both = _misfits(SimpleNamespace(fit=fitted(*[1e-9] * n, converged=False), setup=SimpleNamespace(name="X1")))
    assert [[r.code for r in both[i]] for i in range(n)] == [["MISFIT", "FIT_FAILED"]] * n
