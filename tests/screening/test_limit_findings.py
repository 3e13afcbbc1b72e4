"""What a judged limit becomes: a rejection, something that holds, a remark, or a sentence that it was not reached."""

import numpy as np
import pytest

from partscreen.screening import reasons as say
from partscreen.screening.findings import _limit_findings, _waiting, _worst_first
from partscreen.screening.limits.capacitance import FieldReference, matching_references
from partscreen.screening.limits.judge import CARRIED, DIRECT, NOT_REACHED, LimitJudgement
from partscreen.screening.limits.not_reached import _reason, not_reached_reasons
from partscreen.screening.limits.spots import spot_tables
from partscreen.screening.observe import build_observations
from tests.screening.bench import Limit, batch, gain_limit, points, spots

HFE = gain_limit("min", 50.0, 1.0)


def judged(reached, decision, *, chance=0.5, broken=False, nonconforming=False, unconfirmed=False):
    def one(value, kind):
        return np.array([[value]], dtype=kind)

    return LimitJudgement(
        (HFE,), one(48.0, float), one(1.5, float), one(reached, np.int8), one(chance, float), one(decision, np.int8),
        one(broken, bool), np.array([True]), np.array([nonconforming]), one(unconfirmed, bool), np.array([False]),
    )  # fmt: skip


def codes(found):
    return tuple(tuple(reason.code for reason in group) for group in (found.reject, found.hold, found.remarks))


@pytest.mark.parametrize(
    ("judgement", "reject", "hold", "remarks"),
    [
        (judged(NOT_REACHED, -1, broken=True, nonconforming=True), (), (), ()),
        (judged(DIRECT, -1, broken=True, nonconforming=True), ("LIMIT_BROKEN",), (), ()),
        (judged(DIRECT, -1, broken=True), (), ("EDITION_OPEN",), ()),
        (judged(DIRECT, -1, broken=True, nonconforming=True, unconfirmed=True), (), ("LIMIT_UNCONFIRMED",), ()),
        (judged(CARRIED, -1, broken=True, unconfirmed=True), (), ("LIMIT_UNCONFIRMED",), ()),
        (judged(DIRECT, 0), (), (), ("GUARD_BAND",)),
        (judged(CARRIED, 0), (), (), ()),
        (judged(DIRECT, -1), (), ("LIMIT_UNCONFIRMED",), ()),
        (judged(CARRIED, -1), (), ("LIMIT_UNCONFIRMED",), ()),
        (judged(DIRECT, 1), (), (), ()),
    ],
)
def test_each_judgement_of_a_limit_has_its_consequence(judgement, reject, hold, remarks):
    assert codes(_limit_findings(judgement, 0, 0.02)) == (reject, hold, remarks)


def test_a_carried_value_is_told_as_carried_and_a_read_one_as_measured():
    carried = _limit_findings(judged(CARRIED, -1), 0, 0.02).hold[0].sentence
    measured = _limit_findings(judged(DIRECT, -1), 0, 0.02).hold[0].sentence
    assert "carried there by the fit" in carried
    assert "measured" in measured
    broken = judged(CARRIED, -1, broken=True, unconfirmed=True)
    assert "the fit carries them there" in _limit_findings(broken, 0, 0.02).hold[0].sentence
    assert _limit_findings(judged(DIRECT, 0), 0, 0.02).remarks[0].figures["risk"] == 0.02


def test_the_worst_limit_stands_first():
    worse = _limit_findings(judged(DIRECT, -1, chance=0.01), 0, 0.02).hold[0]
    better = _limit_findings(judged(DIRECT, 0), 0, 0.02).remarks[0]
    assert _worst_first([(0.3, better), (0.01, worse)]) == (worse, better)


class Setup:
    def __init__(self, kind, prior):
        self.kind, self.prior = kind, prior


@pytest.mark.parametrize(
    ("setup", "reached", "reason"),
    [
        (Setup("found", None), True, say.LIMITS_ALONE),
        (Setup("found", None), False, say.NO_LIMIT_REACHED),
        (Setup("found", 1), True, say.NOT_YET_WEIGHED),
        (Setup("found", 1), False, say.NO_LIMIT_REACHED),
        (Setup(None, None), True, say.NOT_YET_WEIGHED),
    ],
)
def test_a_part_without_findings_is_told_what_it_waits_for(setup, reached, reason):
    assert _waiting(setup, reached) is reason


def told(limits, missing=None, tops=None, read=None):
    tops = {"hfe": np.nan, "vbe": np.nan, "vce_sat": np.nan} | (tops or {})
    quantities = {"icbo": False, "v_br_ceo": False} | (read or {})
    made = _reason(limits, np.array(missing or [True] * len(limits)), tops, quantities)
    return None if made is None else made.sentence


LEAK = Limit("ICBO", "max", 1e-4, {"VCB": 200.0}, "icbo", "A", conditions_text="VCB 200 V")
OTHER = Limit("ton", "max", 1e-6, {}, None, "s")


def test_limits_that_were_not_reached_say_where_the_readings_end():
    assert "limit is given at 1 A, the readings end at 500 mA" in told([HFE], tops={"hfe": 0.5})
    two = [HFE, gain_limit("max", 200.0, 1.0), gain_limit("min", 20.0, 5.0)]
    assert "limits are given at 1 A and 5 A, the readings end at 500 mA" in told(two, tops={"hfe": 0.5})
    assert "limits are given at 1 A and 5 A, the readings end at 5 A" in told(two, tops={"hfe": 5.0})
    assert "limits are given at 1 A and 5 A, no reading near it (they end at 6 A)" in told(two, tops={"hfe": 6.0})
    three = [gain_limit("min", 50.0, ic) for ic in (1.0, 3.0, 5.0)]
    assert "given at 1 A, 3 A and 5 A" in told(three, tops={"hfe": 0.5})


def test_quantities_never_read_are_named_together_and_those_nobody_reads_are_not():
    everything = told([HFE, LEAK, OTHER])
    assert "no reading of" in everything
    assert "ton" not in everything
    assert told([OTHER]) is None
    assert told([HFE, LEAK], missing=[False, True], read={"icbo": True}).count("given at VCB 200 V") == 1
    assert told([HFE, LEAK], missing=[False, False]) is None
    assert "no reading of" not in told([LEAK], read={"icbo": True})


class Field:
    def __init__(self, maker="", process="", quantity="C_CB", judgement="as marked"):
        self.quantity, self.value, self.unit = quantity, 2e-10, "F"
        self.maker, self.process, self.author_judgement, self.circumstances = maker, process, judgement, ""


@pytest.mark.parametrize(
    ("field", "maker", "process", "matches"),
    [
        (Field("First"), "first ", None, True),
        (Field("First"), "second", None, False),
        (Field("First"), None, None, False),
        (Field("First"), "first", "planar", False),  # a process is named that the reading does not tell
        (Field("First", "Planar"), "first", "planar", True),
        (Field("First", "Planar"), None, "planar", True),
        (Field("First", "Planar"), "second", "planar", False),
        (Field("First", "Planar"), "first", None, False),
        (Field("", "Planar"), "second", "planar", True),
        (Field("First", quantity="C_BE"), "first", None, False),
        (Field("First", judgement="substituted"), "first", None, False),
        (Field("", ""), "", "", False),
    ],
)
def test_a_published_capacitance_counts_for_its_own_maker_and_process_only(field, maker, process, matches):
    found = matching_references([FieldReference(field, "a source")], "C_CB", maker, process)
    assert bool(found) is matches


def test_parts_read_alike_share_a_sentence_and_parts_read_further_have_their_own():
    def one(value):
        return np.full((2, 4), value)

    missing = LimitJudgement(
        (gain_limit("min", 50.0, 8.0), LEAK), one(np.nan), one(np.nan), np.zeros((2, 4), np.int8), one(np.nan),
        np.zeros((2, 4), np.int8), one(0) > 0, np.ones(2, bool), np.zeros(4, bool), one(0) > 0, np.zeros(4, bool),
    )  # fmt: skip
    top = [1.0, 1.0004, 2.0, 1.0]  # of the second part alike to the three digits that are printed
    made = batch(4, points(np.arange(4), top, hfe=100.0), spots([(3, "icbo", 1e-6, {"VCB": 100.0})]))
    o = build_observations(made, np.arange(4)).observations
    told = not_reached_reasons(missing, o, spot_tables(made, np.arange(4), None))
    assert told[0] is told[1]
    assert ["the readings end at 1 A" in t.sentence for t in told] == [True, True, False, True]
    assert "the readings end at 2 A" in told[2].sentence
    assert ["given at VCB 200 V" in t.sentence for t in told] == [False, False, False, True]


def test_currents_alike_in_the_three_digits_that_are_printed_make_one_sentence():
    def one(value):
        return np.full((1, 4), value)

    missing = LimitJudgement(
        (gain_limit("min", 50.0, 8.0),), one(np.nan), one(np.nan), np.zeros((1, 4), np.int8), one(np.nan),
        np.zeros((1, 4), np.int8), one(0) > 0, np.ones(1, bool), np.zeros(4, bool), one(0) > 0, np.zeros(4, bool),
    )  # fmt: skip
    made = batch(4, points(np.arange(4), [1.0, 1.004, 1.006, 0.01234], hfe=100.0))
    o = build_observations(made, np.arange(4)).observations
    told = not_reached_reasons(missing, o, {})
    assert told[0] is told[1]
    for reason, end in zip(told, ("1 A", "1 A", "1.01 A", "12.3 mA"), strict=True):
        assert f"the readings end at {end}." in reason.sentence


def test_a_published_capacitance_is_found_behind_others_that_do_not_count():
    others = [Field("First", quantity="C_BE"), Field("First", judgement="substituted"), Field("second")]
    mine = FieldReference(Field("First"), "a source")
    listed = [*(FieldReference(field, "a source") for field in others), mine, *(FieldReference(f, "x") for f in others)]
    assert matching_references(listed, "C_CB", "first", None) == [mine]
