"""The evidence engine on lots made by ngspice: the numbers to reach, on a small committed sample and (long) on all.

Small sample: one type world of each kind, two sittings each; bounds are those of the whole, not loosened.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from benchmarks.honesty.cases import CASES
from benchmarks.honesty.run import BY_NAME, PRIOR_SHARES, judge_case, seen_worlds
from benchmarks.honesty.sample import KEPT
from benchmarks.honesty.study import whole_study
from benchmarks.honesty.table import MOST_CALIBRATION_ERROR, WITH_REFERENCE_HELD, area_coverage, calibration
from tests.facts import needs_facts
from tests.outside.ngspice import needs_ngspice

# Rows of the table that ordinary runs repeat on the sample; the whole is `python -m benchmarks.honesty`.
ORDINARY = [case.name for case in CASES if case.top in KEPT]


def assert_reached(name: str, said: pd.DataFrame) -> None:
    """Every number of the row, with the worlds that miss it."""
    case = BY_NAME[name]
    bad, sound = said[~said.honest], said[said.honest]
    if case.rejected is not None:
        assert bad.rejected.mean() >= case.rejected, missed(bad, "rejected")
    if case.not_accepted is not None:
        assert bad.not_accepted.mean() >= case.not_accepted, missed(bad, "not_accepted")
    if case.falsely is not None:
        most = np.ceil(case.falsely * len(sound))  # of so few parts one is always allowed
        assert sound.rejected.sum() <= most, sound[sound.rejected].groupby("world").size()


def missed(bad: pd.DataFrame, of: str) -> str:
    return f"{of}: {bad[of].mean():.3f}\n{bad.groupby('world')[of].mean().sort_values().head(6)}"


# Rows that fall short, with the reason: strict, so that a row that is reached one day says so. Figures: share of bad
# parts rejected / not accepted, here and on the worlds that no setting has seen.
SHORT = {
    "gain": "3 of 16 and 8 of 16 here, 5 and 51 % there, 35 and 75 asked: limits let weak parts through where they "
    "started high, so they lie 2.6 within-lot standard deviations off, and clean lots are the rule (docs/honesty.md)",
    "leak-two": "81 and 97 % here, 77 and 93 % there, 88 and 94 asked: where base current at 10 mA is mostly "
    "recombination, its spread of 0.4 in sound lots hides a leak; from 0.9 on 80 % are rejected, and sound parts too",
    "alone50-prior": "0 and 62 % here, 70 and 85 asked: sheets know knee currents to a factor of two, and alone they "
    "reject from odds of a thousand on",
    "alone60-prior": "0 and 25 % here, 40 and 60 asked: as for half the area",
}


def with_shortfalls(names: list[str]) -> list[object]:
    return [
        pytest.param(name, marks=pytest.mark.xfail(reason=SHORT[name], strict=True)) if name in SHORT else name
        for name in names
    ]


@pytest.mark.parametrize("name", with_shortfalls(ORDINARY))
def test_numbers_to_reach_hold_on_the_committed_sample(name: str) -> None:
    assert_reached(name, judge_case(name, small=True, most_worlds=1))


def test_probabilities_are_honest_on_the_committed_sample() -> None:
    said = judge_case("prior-0.1", small=True)
    found = calibration(said)
    assert found["error"] <= MOST_CALIBRATION_ERROR
    assert found["log_score"] < found["threshold_score"]
    assert found["middle"][3], found["middle"]  # inside the 99 % binomial band


@needs_ngspice
@needs_facts
@pytest.mark.long
@pytest.mark.parametrize("name", with_shortfalls([case.name for case in CASES]))
def test_numbers_to_reach_hold_on_all_worlds_that_no_setting_has_seen(name: str) -> None:
    said = judge_case(name)
    said = said[~said.world.isin(seen_worlds(whole_study()))]
    assert_reached(name, said)
    case = BY_NAME[name]
    if case.caps and case.known and case.top >= 1.0 and case.falsely is not None and case.logged:
        sound = said[said.honest]
        assert (sound.rejected | sound.not_accepted | sound.short).mean() <= WITH_REFERENCE_HELD
    if not case.bad:
        assert (said.chi_square_p < 0.01).mean() <= 0.02
    if not case.alone:
        assert 0.90 <= area_coverage(said)[0] <= 0.98


@needs_ngspice
@needs_facts
@pytest.mark.long
@pytest.mark.parametrize("name", sorted(PRIOR_SHARES))
def test_probabilities_are_honest_on_all_worlds(name: str) -> None:
    found = calibration(judge_case(name))
    assert found["error"] <= MOST_CALIBRATION_ERROR
    assert found["log_score"] < found["threshold_score"]
    assert found["middle"][3], found["middle"]
