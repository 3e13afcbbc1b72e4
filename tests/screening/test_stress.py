"""Stress of a part: what it went through, which readings came later, what may be the cause of a leak."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from partscreen.screening.advice.candidates import Candidate, facts_of
from partscreen.screening.advice.recipes import SELLER, recipe_of
from partscreen.screening.single import check_readings
from partscreen.screening.stress import AVALANCHE, BREAKDOWN, DWELL, Stressed, kind_of, stressed_parts
from tests.screening.bench import batch, points, spots
from tests.screening.coded_bags import LIBRARY


def of(*rows, point_table=None):
    return stressed_parts(batch(2, point_table, spots(list(rows))), range(2))


def test_breakdown_readings_and_dwells_are_stresses():
    assert kind_of("v_br_ebo") == AVALANCHE
    assert kind_of("v_br_ceo") == kind_of("v_br_cbo") == BREAKDOWN
    assert kind_of("dwell") == DWELL
    assert kind_of("hfe") is kind_of("c_be") is None


def test_a_part_nobody_stressed_is_absent():
    assert of((0, "hfe", 80.0, {"IC": 0.01}), (1, "iceo", 1e-6, {})) == {}


def test_gain_and_leakage_below_the_stress_in_the_file_were_read_later_and_those_above_were_not():
    found = of((0, "hfe", 80.0, {}), (0, "v_br_ebo", 7.2, {"I": 1e-3}), (0, "hfe", 61.0, {}), (0, "c_be", 2e-9, {}))
    assert list(found) == [0]
    assert found[0].kinds == (AVALANCHE,)
    assert found[0].later == ("hFE (row 4)",)
    assert not found[0].order_open
    reason = found[0].reason()
    assert reason.code == "STRESSED"
    assert "base-emitter junction was driven into breakdown (V(BR)EBO 7.2 V, row 3)" in reason.sentence
    assert "1970" in reason.source


def test_a_condition_tells_that_a_reading_was_taken_after_a_stress():
    found = of((0, "hfe", 61.0, {"after": "avalanche"}), (1, "hfe", 61.0, {"after": "drop"}))
    assert found[0].kinds == (AVALANCHE,)
    assert found[0].later == ("hFE (row 2)",)
    assert "base-emitter junction" in found[0].events[0]
    assert found[1].events == ("as its readings say: after drop",)


def test_where_the_order_is_not_told_it_is_asked_for():
    made = batch(2, None, spots([(0, "dwell", 60.0, {"survived": "yes"}), (0, "iceo", 1e-6, {})]))
    other_file = replace(made.spots, file=np.array([0, 1]))
    found = stressed_parts(replace(made, spots=other_file), range(2))[0]
    assert found.kinds == (DWELL,)
    assert found.order_open
    assert "after=dwell" in found.reason().sentence
    assert "survived" in found.events[0]


def test_sweeps_in_the_file_below_a_stress_are_told():
    sweep = points([0] * 3, [0.01, 0.1, 1.0], hfe=[60, 70, 80], row=np.array([10, 11, 12]))
    assert of((0, "v_br_ceo", 250.0, {}), point_table=sweep)[0].later == ("sweeps below it in the file",)


def test_a_leaking_junction_of_a_stressed_part_is_told_with_the_likely_cause():
    plain = Stressed((AVALANCHE,), ("its base-emitter junction was driven into breakdown",))
    assert "cause" not in plain.reason().sentence
    assert plain.reason(leaks=True).sentence.endswith("that breakdown may be the cause.")


LEAKY = (
    "hFE=6 @ IC=10 mA, VCE=5 V", "hFE=95 @ IC=1 A, VCE=5 V", "VBE=0.66 V @ IC=1 A, VCE=5 V",
    "C_CB=200 pF @ VCB=10 V, f=1 MHz",
)  # fmt: skip


def test_the_cause_stands_in_the_answer_where_a_leak_is_the_likeliest_explanation():
    stressed = check_readings("2SC5200", ("V(BR)EBO=7.2 V @ I=1 mA", *LEAKY), LIBRARY).lots[0].parts[0]
    whole = check_readings("2SC5200", LEAKY, LIBRARY).lots[0].parts[0]
    assert stressed.evidence > 0
    assert stressed.reasons[0].figures["leading"].startswith("base-emitter leak")
    (told,) = (r.sentence for r in stressed.reasons if r.code == "STRESSED")
    assert "may be the cause" in told
    assert not [r for r in whole.reasons if r.code == "STRESSED"]
    assert stressed.evidence == pytest.approx(whole.evidence, abs=0.5)  # the remark moves no evidence


@pytest.mark.parametrize("key", ["v_br_ceo", "dwell"])
def test_destructive_recipes_begin_with_a_caution_and_say_to_write_to_the_seller_first(key):
    step = Candidate(key, key, 5.0, True, (0.001,), 230.0, heat_sink=1.0)
    first = recipe_of(step, facts_of(LIBRARY.type("2SC5200"))).splitlines()[0]
    assert first.startswith("Caution:")
    assert SELLER in first
    assert "Write to the seller before a test that may destroy" in SELLER
