"""Answers of `match`, `trust`, `stage` and `plan` written by an earlier version: they open, and today's agree."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

from partscreen.results.matching import Matching
from partscreen.results.plan import PlanResult
from partscreen.results.stage import StageResult
from partscreen.results.trust import Trust
from tests.end_to_end.test_frozen_results import contains
from tests.repeatability.run_demo import answers
from tests.repeatability.write_frozen import FOLDER, NAMES

TYPES: dict[str, type[BaseModel]] = {"matching": Matching, "trust": Trust, "stage": StageResult, "plan": PlanResult}
NEAR = 0.02  # relative: figures lean on fitted curves, whose last digits least squares and priors may move
SMALL = 1e-3  # of what is near zero: shares, probabilities, volts


@pytest.fixture(scope="module")
def today() -> dict[str, Any]:
    return answers()


def kept(name: str) -> Any:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", NAMES)
def test_a_frozen_answer_opens_with_nothing_lost(name: str) -> None:
    old = kept(name)
    again = TYPES[name].model_validate(old).model_dump(mode="json", by_alias=True)
    assert contains(again, old)


@pytest.mark.parametrize("name", NAMES)
def test_todays_answer_to_the_same_question_has_the_same_figures(name: str, today: dict[str, Any]) -> None:
    apart = list(differences(kept(name), today[name], name))
    assert apart == []


def differences(old: Any, new: Any, place: str) -> list[str]:
    """Where today's answer is another one; words are not compared, figures within their tolerance."""
    if isinstance(old, dict):
        assert isinstance(new, dict), place
        named = [key for key in old if key != "version"]
        return [line for key in named for line in differences(old[key], new.get(key), f"{place}.{key}")]
    if isinstance(old, list):
        if not isinstance(new, list) or len(old) != len(new):
            return [f"{place}: another number of entries"]
        return [d for i, (a, b) in enumerate(zip(old, new, strict=True)) for d in differences(a, b, f"{place}[{i}]")]
    if isinstance(old, float) and isinstance(new, int | float):
        return [] if abs(new - old) <= max(NEAR * abs(old), SMALL) else [f"{place}: {old} was, {new} is"]
    if isinstance(old, str) and " " in old:
        return []
    return [] if old == new else [f"{place}: {old!r} was, {new!r} is"]


def test_the_frozen_answers_are_those_that_are_checked() -> None:
    assert sorted(path.stem for path in Path(FOLDER).glob("*.json")) == sorted(NAMES)
