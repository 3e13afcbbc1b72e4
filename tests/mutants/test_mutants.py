"""The tests of the deciding rooms notice small wrong changes; the apparatus that says so works."""

from __future__ import annotations

import ast
import json
import subprocess
import sys

import pytest

from tests.mutants.figures import FIGURES, explained, share_killed, survivors
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
