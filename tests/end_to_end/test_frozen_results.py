"""Results that earlier versions wrote are opened by today's types, and today's run of the same files agrees."""

from __future__ import annotations

import json

import pytest

from partscreen.results import LimitResult, PartResult, Screening
from tests.frozen.write import FOLDER, LARGEST, fresh

FILES = sorted(FOLDER.glob("*.json"))
SAME = 0.01  # relative: value at a limit, read directly; priors and least squares may move its last digits
CARRIED = 2.0  # standard uncertainties: a carried value leans on the population, which later work sharpens
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


def rows(part: PartResult) -> dict[tuple[str | float, ...], LimitResult]:
    return {(x.symbol, x.side, x.conditions, x.edition or "", x.basis, x.limit): x for x in part.limits}


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


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_fresh_fit_draws_the_same_curves(path, today):
    (lot,) = load(path).lots
    for part in lot.parts:
        if part.curves is None:
            continue
        now = today[lot.lot, part.part].curves
        assert now is not None, part.part
        for name, relative, absolute in (("hfe", SAME, 0.0), ("vbe", 0.0, 1e-3)):
            spread = getattr(part.curves, f"{name}_std")
            new_at = dict(zip(now.ic, getattr(now, name), strict=True))
            for ic, old, std in zip(part.curves.ic, getattr(part.curves, name), spread, strict=True):
                new = min(new_at.items(), key=lambda pair: abs(pair[0] / ic - 1))
                assert abs(new[0] / ic - 1) < 1e-6, (part.part, name, ic)
                if old is None or std is None:
                    continue
                assert new[1] is not None, (part.part, name, ic)
                assert abs(new[1] - old) <= max(relative * abs(old), absolute, std), (part.part, name, ic)
