"""The tests of the deciding rooms notice small wrong changes; the apparatus that says so works."""

from __future__ import annotations

import ast
import json
import subprocess
import sys

import pytest
from scipy.stats import binomtest

from tests.mutants import fresh
from tests.mutants.figures import FIGURES, explained, interval, share_killed, survivors
from tests.mutants.operators import mutants
from tests.mutants.rooms import HOUSE, ROOMS
from tests.mutants.sample import recorded, sample

LEAST_SHARE = 0.85


def test_a_fixed_sample_of_mutants_is_noticed_by_the_tests_that_noticed_them():
    done = subprocess.run(
        [sys.executable, "-m", "tests.mutants.sample", "40"], cwd=HOUSE, capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-2000:]
    assert "40 of 40 noticed" in done.stdout


def test_the_recorded_mutants_are_those_of_the_code_as_it_stands():
    _, standing = sample(1)
    assert standing > 0.6, "much was rewritten since the mutants were tried: make mutants"


def test_the_recorded_share_of_noticed_mutants_is_high_enough_in_the_whole():
    figures = json.loads(FIGURES.read_text())
    assert figures["share_killed"] >= LEAST_SHARE
    assert figures["tried"] >= 300
    assert set(figures["rooms"]) == set(ROOMS)
    assert share_killed(figures["rooms"])[0] == pytest.approx(figures["share_killed"], abs=1e-4)


def test_the_share_that_is_told_is_of_first_verdicts_on_mutants_no_test_was_written_for():
    last, rows = json.loads(FIGURES.read_text())["fresh"][0], fresh.kept()
    mine = rows[last["seed"]]
    assert last["tried"] == len(mine) >= 150
    assert last["killed"] == sum(row["state"] in ("killed", "timeout") for row in mine.values())
    assert all(room["tried"] >= 20 for room in last["rooms"].values())
    share, low, high = share_killed(last["rooms"])
    assert [last["share_killed"], *last["interval_95"]] == pytest.approx([share, low, high], abs=1e-4)


def test_interval_of_a_share_is_that_of_wilson():
    wanted = binomtest(8, 10).proportion_ci(method="wilson")
    assert interval(8, 10) == pytest.approx((wanted.low, wanted.high))
    assert interval(10, 10)[1] == pytest.approx(1.0)


def test_a_fresh_sample_leaves_out_what_was_tried_and_goes_on_where_it_stopped(monkeypatch):
    source = "def f(x):\n    return x + 1 - 2 * 3\n"
    all_of = mutants(source, "partscreen/book/chain.py")
    had = {all_of[0].key}
    monkeypatch.setattr(fresh, "kept", lambda: {5: {all_of[1].key: {}}})
    asked = fresh.wanted(5, all_of, had | {all_of[1].key}, ["chain"], None)
    assert {m.key for m in asked} == {m.key for m in all_of[2:]}
    begun = fresh.wanted(5, all_of, had | {all_of[1].key}, ["chain"], 3)
    assert [m.key for m in begun] == [m.key for m in asked if m in begun]
    assert len(begun) in (2, 3)
    other = fresh.wanted(6, all_of, had, ["chain"], None)
    assert {m.key for m in other} == {m.key for m in all_of[1:]}


def test_every_survivor_has_its_reason_and_no_mutant_that_was_noticed_has_one():
    """open: no test notices it yet, and one could."""
    killed = recorded()
    assert survivors() <= set(explained())
    for key, (kind, why) in explained().items():
        assert kind in ("equivalent", "not worth it", "open"), key
        assert len(why) > 15, key
        assert key not in killed, key


def test_an_operator_changes_one_place_of_a_module_and_leaves_text_and_types_alone():
    source = (
        'def f(x: int = 3) -> "int":\n    """Doc 1."""\n    if x < 2:\n        raise ValueError("no " + f"{x + 1}")\n'
    )
    source += "    return min(x, 4) * 2\n"
    found = {mutant.change for mutant in mutants(source, "m.py")}
    assert found == {
        "3 -> 4",
        "x < 2 -> x <= 2",
        "x < 2 -> x >= 2",
        "2 -> 3",
        "raise ValueError('no ' + f'{x + 1}') -> pass",
        "return min(x, 4) * 2 -> return None",
        "min(x, 4) * 2 -> min(x, 4) / 2",
        "min(x, 4) -> max(x, 4)",
        "4 -> 5",
    }
    for mutant in mutants(source, "m.py"):
        assert ast.dump(mutant.tree()) != ast.dump(ast.parse(source))


def test_the_share_of_a_stratified_sample_weighs_rooms_by_their_mutants():
    rooms = {"a": {"mutants": 300, "tried": 100, "killed": 90}, "b": {"mutants": 100, "tried": 100, "killed": 50}}
    share, low, high = share_killed(rooms)
    assert share == pytest.approx(0.75 * 0.9 + 0.25 * 0.5)
    # Cochran, Sampling Techniques, (5.10): only room a is a sample
    assert high - low == pytest.approx(2 * 1.959964 * 0.75 * ((2 / 3) * 0.9 * 0.1 / 99) ** 0.5)
