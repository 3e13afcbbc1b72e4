"""Results that earlier versions wrote are opened by today's types, and today's run of the same files agrees."""

from __future__ import annotations

import json

import pytest

from partscreen.results import LimitResult, PartResult, Screening
from tests.frozen.write import FOLDER, LARGEST, fresh

FILES = sorted(FOLDER.glob("*.json"))
SAME = 0.01  # relative: value at a limit, read directly; priors and least squares may move its last digits
CARRIED = 2.0  # standard uncertainties: a carried value leans on the population, which later work sharpens
DECIDED = 0.1  # share of the prior below which the readings decide a parameter; the others may follow the prior
NEAR_LN = 0.1  # natural logarithm of such a parameter (assumption: it still follows the prior a little)
FIRM = {
    "LIMIT_BROKEN",
    "OPEN",
    "SHORT",
    "NO_GAIN",
    "SWAPPED_LEADS",
    "WRONG_POLARITY",
}  # later evidence cannot undo these


def load(path) -> Screening:
    return Screening.model_validate(json.loads(path.read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def today(tmp_path_factory) -> dict[tuple[str, str], PartResult]:
    whole = fresh(tmp_path_factory.mktemp("demo"))
    return {(lot.lot, part.part): part for lot in whole.lots for part in lot.parts}


def rows(part: PartResult) -> dict[tuple[str, ...], LimitResult]:
    return {(x.symbol, x.side, x.conditions, x.edition or "", x.source): x for x in part.limits}


def test_there_is_one_frozen_result_for_each_demo_lot():
    from partscreen.simulate.scenario import DEMO_LOTS

    assert sorted(path.stem for path in FILES) == sorted(lot.name for lot in DEMO_LOTS)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_frozen_result_is_small_and_opens_with_nothing_lost(path):
    assert path.stat().st_size < LARGEST
    raw = json.loads(path.read_text(encoding="utf-8"))
    assert raw["schema"] == "partscreen.screening/1"
    again = load(path).model_dump(mode="json", by_alias=True)
    for key, value in raw.items():
        assert contains(again[key], value), key


def contains(new, old) -> bool:
    """Whether everything the old record says stands in the new one; new fields may have been added."""
    if isinstance(old, dict):
        return all(key in new and contains(new[key], value) for key, value in old.items())
    if isinstance(old, list):
        return len(new) == len(old) and all(contains(n, o) for n, o in zip(new, old, strict=True))
    return bool(new == old)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_fresh_run_has_the_same_parts_in_the_same_state(path, today):
    (lot,) = load(path).lots
    assert len(lot.parts) == lot.n_parts
    assert [name for of, name in today if of == lot.lot] == [part.part for part in lot.parts]
    for part in lot.parts:
        now = today[lot.lot, part.part]
        assert now.status == part.status, part.part
        firm = FIRM & {reason.code for reason in part.reasons}
        if part.disposition == "reject" and firm:
            assert now.disposition == "reject", part.part
            assert firm & {reason.code for reason in now.reasons}, part.part


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_fresh_run_finds_the_same_values_at_the_limits(path, today):
    (lot,) = load(path).lots
    compared = 0
    for part in lot.parts:
        now = rows(today[lot.lot, part.part])
        for key, old in rows(part).items():
            new = now[key]
            assert new.limit == old.limit, key
            if old.value is None or old.std is None:
                continue
            assert new.reached == old.reached, (part.part, key)
            assert new.value is not None
            near = SAME * abs(old.value) if old.reached == "direct" else CARRIED * old.std
            assert abs(new.value - old.value) <= near, (part.part, key, old.value, new.value)
            if abs(old.value - old.limit) > 4 * old.std + 2 * near:  # clear of the limit: the decision must stand
                assert new.decision == old.decision, (part.part, key)
            compared += 1
    fitted = sum(part.fit is not None for part in lot.parts)
    assert compared >= fitted or not any(part.limits for part in lot.parts)


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_fresh_fit_converges_where_the_frozen_one_did(path, today):
    (lot,) = load(path).lots
    for part in lot.parts:
        if part.fit is None:
            continue
        now = today[lot.lot, part.part].fit
        assert now is not None, part.part
        assert set(part.fit.names) <= set(now.names)
        if part.fit.status == "converged":
            assert now.status == "converged", part.part
        seen = dict(zip(part.fit.names, part.fit.prior_share, strict=True))
        old_theta, new_theta = (dict(zip(f.names, f.theta, strict=True)) for f in (part.fit, now))
        decided = [name for name, share in seen.items() if share < DECIDED]
        assert decided, part.part
        for name in decided:
            assert abs(new_theta[name] - old_theta[name]) < NEAR_LN, (part.part, name)
