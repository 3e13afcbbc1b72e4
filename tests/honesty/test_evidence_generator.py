"""The generator of lots says what it claims: ngspice readings, and parts wrong in the way they are said to be."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from benchmarks.honesty.baselines import isolation_forest, part_average_testing, printed_limits, robust_covariance
from benchmarks.honesty.cases import CASES, bags
from benchmarks.honesty.circuit import gain_sweep, saturation_sweep
from benchmarks.honesty.parts import card_of, draw_parts, lot_effect, with_gain, with_leak
from benchmarks.honesty.run import BY_NAME
from benchmarks.honesty.sample import KEPT, small_study
from benchmarks.honesty.worlds import LEAST_CURRENT
from tests.facts import MODEL_CARDS, needs_facts
from tests.outside.ngspice import needs_ngspice

TNOM = 300.15


def published() -> dict[str, dict]:  # type: ignore[type-arg]
    types = tomllib.loads(MODEL_CARDS.read_text(encoding="utf-8"))["types"]
    good = {k: v for k, v in types.items() if v["ic_a"] >= LEAST_CURRENT and v["sat_ok"] and v["gain_ok"]}
    assert len(good) >= 25
    return good


@needs_ngspice
@needs_facts
def test_sweeps_give_the_published_check_figures_of_every_card_used() -> None:
    # Source: check tables of the collected model cards (ngspice 39, 27 degC, four digits printed).
    cards = published()
    together = [card_of(c["gp"]) for c in cards.values()]
    arrays = {name: np.array([c[name] for c in together]) for name in together[0]}
    temp = np.full(len(cards), TNOM)
    ic = np.array([0.01, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0])
    hfe, vbe = gain_sweep(arrays, ic, 5.0, temp)
    sat = saturation_sweep(arrays, ic, temp)
    for i, (name, card) in enumerate(cards.items()):
        check = card["check"]
        for k, current in enumerate(ic):
            if current in check["hfe_at_ic_a"]:
                printed = check["hfe"][check["hfe_at_ic_a"].index(current)]
                assert hfe[i, k] == pytest.approx(printed, rel=1e-3), (name, current)
            if current in check["vcesat_at_ic_a"]:
                printed = check["vcesat_v"][check["vcesat_at_ic_a"].index(current)]
                assert sat[i, k] == pytest.approx(printed, rel=2e-3), (name, current)
        assert vbe[i, 0] == pytest.approx(check["vbe_10ma_v"], abs=1e-4), name


@needs_ngspice
@needs_facts
def test_leaky_and_weak_parts_lose_as_much_gain_as_is_said() -> None:
    rng = np.random.default_rng(3)
    parts = draw_parts(card_of(published()["BDW51C"]["gp"]), lot_effect(rng), 40, rng)
    temp = np.full(40, TNOM)
    ic = np.array([0.01, 1.0])
    sound, _ = gain_sweep(parts, ic, 5.0, temp)
    leaky, _ = gain_sweep(with_leak(parts, rng), ic, 5.0, temp)
    weak, _ = gain_sweep(with_gain(parts, rng), ic, 5.0, temp)
    loss = sound[:, 0] / leaky[:, 0]
    assert loss.min() > 1.3
    assert loss.max() < 5.5
    assert np.all(sound[:, 1] / leaky[:, 1] < loss)  # a leak is felt at low currents
    ratio = weak / sound
    assert np.all((ratio > 0.49) & (ratio < 0.73))


@needs_ngspice
@needs_facts
def test_a_card_of_smaller_area_gives_what_the_whole_card_gives_at_as_much_more_current() -> None:
    rng = np.random.default_rng(4)
    card = card_of(published()["BDW51C"]["gp"])
    nothing = dict.fromkeys(lot_effect(rng), 0.0)
    half = draw_parts(card, nothing, 1, np.random.default_rng(9), area=0.5)
    whole = draw_parts(card, nothing, 1, np.random.default_rng(9), area=1.0)
    temp = np.full(1, TNOM)
    hfe_half, vbe_half = gain_sweep(half, np.array([0.01, 0.5]), 5.0, temp)
    hfe_whole, vbe_whole = gain_sweep(whole, np.array([0.02, 1.0]), 5.0, temp)
    assert hfe_half == pytest.approx(hfe_whole, rel=1e-4)
    assert vbe_half == pytest.approx(vbe_whole, abs=2e-5)
    assert half["cjc"] == pytest.approx(0.5 * whole["cjc"])


def test_the_committed_sample_holds_sound_parts_within_the_makers_limits() -> None:
    study = small_study()
    assert {w.kind for w in study.worlds} == {"prior", "card"}
    for world in study.worlds:
        pool = study.pool(world)
        rows = pool.rows("A honest")
        assert rows.size == 40
        for ic, _, low, high in world.hfe_limits:
            if ic <= pool.gain_ic[1, -1]:
                hfe = np.array([np.interp(np.log(ic), np.log(pool.gain_ic[1]), h) for h in pool.hfe[rows, 1]])
                assert np.all((hfe > 0.97 * low) & (hfe < 1.03 * high)), world.name


def test_every_case_of_the_sample_makes_bags_of_the_size_it_says() -> None:
    study = small_study()
    for case in CASES:
        if case.top not in KEPT:
            continue
        for world in study.worlds:
            found = list(bags(case, study, world.name))
            n_bad = sum(int((~bag.honest).sum()) for bag in found)
            n = sum(bag.readings.n for bag in found)
            sittings = 2 if case.sound_group == "honest" else 1
            assert n - n_bad == case.sound * sittings
            assert n_bad <= (case.n_bad * sittings if case.bad else 0)


def test_naive_baselines_flag_what_they_are_known_to_flag_and_little_else() -> None:
    study = small_study()
    other = [bag for w in study.worlds for bag in bags(BY_NAME["area70-two"], study, w.name)]
    hfe_only = [part_average_testing(bag) for bag in other]
    assert np.mean(np.concatenate(hfe_only)) < 0.05  # a smaller die hardly shows in hFE
    caught = np.concatenate([robust_covariance(bag)[~bag.honest] for bag in other])
    assert caught.mean() > 0.8  # with capacitances it does show in raw readings
    false = np.concatenate([isolation_forest(bag)[bag.honest] for bag in other])
    assert 0.02 < false.mean() < 0.5
    assert np.mean(np.concatenate([printed_limits(bag)[bag.honest] for bag in other])) < 0.15
