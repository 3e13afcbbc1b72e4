"""The next measurement: what it is expected to tell, what is offered, and what its recipe says."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import multivariate_normal, norm

from partscreen.device.predict import predict_gain
from partscreen.readings.instruments.kit import Kit, load_kit
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.screening.advice.candidates import candidates, dwell_point, last_resorts
from partscreen.screening.advice.held_parts import facts_of_setup
from partscreen.screening.advice.information_gain import bhattacharyya, entropy, expected_gain, mixture_information
from partscreen.screening.advice.next_measurement import (
    KNOWN_GOOD,
    Undecided,
    first_measurement,
    menu_of,
    next_measurements,
)
from partscreen.screening.advice.recipes import Expected, nearest_resistor, recipe_of
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.weigh_lots import knowledge_from, weigh_observations
from partscreen.screening.lot.setup import set_up
from partscreen.screening.observe import build_observations
from tests.screening.bench import ROOM, batch, points, spots

LIBRARY = Library.load()
EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"


@lru_cache
def setup_of(name):
    (lot,) = batch(1, type_name=name).lots
    return set_up(lot, LIBRARY, population_for)


def facts(name="2SC5200"):
    return facts_of_setup(setup_of(name))


def undecided(spot_rows=(), name="2SC5200", point_table=None, n=1):
    """Parts with spot readings, weighed against the type's population alone."""
    read = batch(n, point_table, spots(list(spot_rows)), type_name=name)
    o = build_observations(read, np.arange(n)).observations
    p = population_for(LIBRARY.find(name).type)
    known = knowledge_from(
        p.centre, p.centre_covariance, p.between, p.within, temperature_std=5.0, gain_std=0.02, lead_std=0.01
    )
    found = weigh_observations(o, p.constants, known)
    return Undecided(o, found.readings, found.weighed, known, p.constants)


def bench_kit(*instruments, **more):
    return Kit.model_validate({"name": "bench", "instruments": list(instruments), **more})


def advice(parts, kit=None, name="2SC5200", by_reach=None):
    n = parts.observations.n_parts
    return next_measurements(parts, facts(name), kit, np.ones(n, bool), by_reach=by_reach)


def sweeps(n, currents=(0.02, 0.1, 0.5, 1.0, 2.0), name="2SC5200", seed=1):
    """Gain sweeps of parts drawn from the type's population."""
    rng = np.random.default_rng(seed)
    p = population_for(LIBRARY.find(name).type)
    theta = rng.multivariate_normal(p.centre, p.within, size=n, method="eigh")
    ic = np.tile(np.array(currents), (n, 1))
    found = predict_gain(theta, p.constants, ic, 5.0, ROOM, True, jacobian=False)
    hfe = np.exp(found.ln_hfe + rng.normal(0, 0.01, ic.shape))
    vbe = found.vbe + rng.normal(0, 2e-3, ic.shape)
    return points(np.arange(n)[:, None] * np.ones(ic.shape, int), ic, hfe=hfe.ravel(), vbe=vbe.ravel())


# what is expected to be told


@pytest.mark.parametrize("probability", [0.02, 0.5, 0.9, 0.999])
@pytest.mark.parametrize("places", [(0.004,), (0.7,), (-0.7, 0.7), (-3.0, 0.5, 2.0), (7.0,)])
def test_information_about_a_mixture_agrees_with_numerical_integration(probability, places):
    x = np.linspace(-14, 14, 40_001)
    weight = np.arange(1.0, len(places) + 1.0)
    one = probability * norm.pdf(x)
    two = (1 - probability) * sum(w * norm.pdf(x, m) for w, m in zip(weight / weight.sum(), places, strict=True))
    both = one + two
    terms = one * np.log(one / both) + two * np.log(two / both)
    direct = float(entropy(np.array(probability)) + np.trapezoid(terms, x))
    ln_odds = np.log([probability / (1 - probability)])
    found = mixture_information(ln_odds, np.array([places]), weight[None])
    assert found[0] == pytest.approx(direct, rel=1e-5, abs=1e-11)


def test_bhattacharyya_distance_agrees_with_numerical_integration_in_two_dimensions():
    gap, first, second = np.array([0.7, -0.4]), np.array([[1.0, 0.3], [0.3, 0.5]]), np.array([[2.0, -0.2], [-0.2, 1.0]])
    axis = np.linspace(-9, 9, 601)
    grid = np.stack(np.meshgrid(axis, axis, indexing="ij"), axis=2)
    both = np.sqrt(multivariate_normal([0, 0], first).pdf(grid) * multivariate_normal(gap, second).pdf(grid))
    direct = -np.log(np.trapezoid(np.trapezoid(both, axis), axis))
    found = bhattacharyya(gap[None, None], first[None], second[None])
    assert found.shape == (1, 1)
    assert found[0, 0] == pytest.approx(direct, rel=1e-4)


def simulated_information(parts, menu, draws, seed):
    """Mutual information of "as marked" and each candidate's readings, by drawing whole parts and readings.

    Written anew from the definition: explanations drawn by their probabilities, parameters from the posterior given the
    readings so far, readings from the parameters; then Bayes on every drawn reading.
    """
    rng = np.random.default_rng(seed)
    r, w, known = parts.readings, parts.weighed, parts.known
    jac, std = r.jacobian[0], r.std[0]
    about = w.centre_covariance[0]
    means, covs = [w.centre[0]], [about + known.within]
    for family in families(known.within, known.device_between):
        means += [w.centre[0] + shift for shift in family.shifts]
        covs += [about + family.spread] * len(family.names)
    after = []
    for mean, cov in zip(means, covs, strict=True):
        gain = cov @ jac.T @ np.linalg.inv(jac @ cov @ jac.T + np.diag(std**2))
        gap = r.residual[0] - jac @ (mean - r.point[0])
        after.append((mean + gain @ gap, cov - gain @ jac @ cov))
    probability = w.probability[0]
    drawn = rng.choice(probability.size, size=draws, p=probability / probability.sum())
    out = []
    for group in menu.groups:
        j, noise = menu.jacobian[0, group], menu.variance[0, group]
        told = [(j @ m, j @ v @ j.T + np.diag(noise)) for m, v in after]
        y = np.empty((draws, len(group)))
        for h in np.unique(drawn):
            rows = drawn == h
            y[rows] = rng.multivariate_normal(*told[h], size=rows.sum(), method="cholesky")
        ln = np.stack([multivariate_normal(*t).logpdf(y).reshape(draws) for t in told], axis=1) + np.log(probability)
        posterior = np.exp(ln[:, 0] - np.logaddexp.reduce(ln, axis=1))
        out.append(float(entropy(probability[:1])[0] - entropy(posterior).mean()))
    return np.array(out)


SMALL_CASES = {
    "little known": ("2N3055", [(0, "c_be", 1.0e-9, {}, 0.05)]),
    "speaks against": ("2SA1302", [(0, "c_be", 450e-12, {}, 0.05)]),
    "fits": ("2SC5200", [(0, "c_cb", 200e-12, {"VCB": 10.0}, 0.02), (0, "hfe", 90.0, {"IC": 1.0, "VCE": 5.0}, 0.02)]),
}


def told_and_simulated(case):
    """Parts, what is offered, information told and simulated, and which readings are worth comparing."""
    name, rows = SMALL_CASES[case]
    parts = undecided(rows, name)
    offered = candidates(None, facts(name))
    menu, _, _ = menu_of(parts, offered, None, facts(name))
    told = expected_gain(parts.readings, parts.weighed, parts.known, menu).information[0]
    simulated = simulated_information(parts, menu, 20_000, seed=11)
    open_ = float(entropy(parts.weighed.probability[:, 0])[0])
    worth = simulated > 0.02 * open_  # below, the simulation is all noise
    assert worth.sum() >= 2
    assert np.all(told[~worth] < 0.05 * open_)
    return parts, offered, told, simulated, worth


@pytest.mark.parametrize("case", SMALL_CASES)
def test_expected_information_ranks_as_brute_force_simulation_does(case):
    parts, offered, told, simulated, worth = told_and_simulated(case)
    assert np.array_equal(np.argsort(told[worth]), np.argsort(simulated[worth]))
    minutes = np.array([c.minutes for c in offered])
    allowed = worth & (simulated >= 0.4 * simulated.max())
    best = int(np.argmax(np.where(allowed, simulated / minutes, 0.0)))
    (chosen,) = advice(parts, name=SMALL_CASES[case][0])
    assert chosen.reading == offered[best].reading


LOOSE = pytest.mark.xfail(strict=True, reason="2.06 and 1.98: where little is told, averaging over themes is loose")


@pytest.mark.parametrize("case", ["little known", "speaks against", pytest.param("fits", marks=LOOSE)])
def test_expected_information_is_an_upper_bound_and_near(case):
    _, _, told, simulated, worth = told_and_simulated(case)
    ratio = told[worth] / simulated[worth]
    assert np.all((ratio > 0.95) & (ratio < 1.9))


def test_reading_that_tells_of_nothing_new_brings_no_information():
    parts = undecided([(0, "c_cb", 200e-12, {"VCB": 10.0}, 0.005)])
    offered = candidates(None, facts())
    menu, _, _ = menu_of(parts, offered, None, facts())
    gain = expected_gain(parts.readings, parts.weighed, parts.known, menu)
    assert offered[0].key == "c_cb"
    assert gain.information[0, 0] < 1e-3 * gain.open[0]


def test_less_accurate_instrument_tells_less():
    parts = undecided([(0, "c_cb", 200e-12, {"VCB": 10.0}, 0.02)])
    found = []
    for percent in (0.5, 10.0):
        kit = bench_kit({"name": "t", "reads": ["vbe", "ic"], "range": {"ic": 2.0},
                      "accuracy": {"vbe": {"percent": percent}}})  # fmt: skip
        menu, _, _ = menu_of(parts, candidates(kit, facts()), kit, facts())
        found.append(expected_gain(parts.readings, parts.weighed, parts.known, menu).information[0])
    assert np.all(found[0] > 1.5 * found[1])


# what is offered


def test_what_was_read_is_not_offered_again_but_a_reading_without_bias_is():
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    offered = [c.key for c in candidates(kit, facts())]
    stated = undecided([(0, "c_cb", 520e-12, {"VCB": 0.0}, 0.01)])
    unstated = undecided([(0, "c_cb", 520e-12, {}, 0.01)])
    at = offered.index("c_cb")
    assert not menu_of(stated, candidates(kit, facts()), kit, facts())[1][0, at]
    assert menu_of(unstated, candidates(kit, facts()), kit, facts())[1][0, at]


def test_sweep_already_taken_is_not_offered_again():
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    offered = candidates(kit, facts())
    (sweep,) = [c for c in offered if c.key == "sweep"]
    parts = undecided(point_table=replace(table := sweeps(3, sweep.ic), hfe_std=0.003 * table.hfe), n=3)
    allowed = menu_of(parts, offered, kit, facts())[1]
    keys = [c.key for c in offered]
    assert not allowed[:, keys.index("sweep")].any()
    assert not allowed[:, keys.index("two_currents")].any()
    assert allowed[:, keys.index("vce_sat")].all()


def test_only_what_the_kit_reads_is_offered_within_its_limits_and_the_types():
    small = bench_kit({"name": "t", "reads": ["hfe", "ic", "vbe"], "range": {"ic": 0.2}, "pulse_seconds": 3e-4})
    assert [c.key for c in candidates(small, facts())] == ["two_currents", "sweep"]
    assert all(max(c.ic) <= 0.2 for c in candidates(small, facts()))
    strong = bench_kit({"name": "t", "reads": ["hfe", "ic", "vbe", "vce_sat"], "range": {"ic": 500.0},
                     "pulse_seconds": 3e-4})  # fmt: skip
    rated = LIBRARY.find("2SC5200").type.rating("IC")
    assert all(max(c.ic) <= 0.8 * rated for c in candidates(strong, facts()))
    meter = bench_kit({"name": "c", "reads": ["c_be"]})
    assert [c.key for c in candidates(meter, facts())] == ["c_be"]


def test_steady_readings_stay_below_ten_watts_and_pulsed_ones_below_the_rated_power():
    steady = bench_kit({"name": "t", "reads": ["hfe", "ic", "vbe"], "range": {"ic": 10.0}, "conditions": {"VCE": 10.0}})
    assert all(max(c.ic) * 10.0 <= 10.0 for c in candidates(steady, facts()))
    pulsed = bench_kit({"name": "t", "reads": ["hfe", "ic", "vbe"], "range": {"ic": 10.0}, "conditions": {"VCE": 30.0},
                     "pulse_seconds": 3e-4})  # fmt: skip
    rated = LIBRARY.find("2SC5200").type.rating("PC")
    assert all(1.0 < max(c.ic) * 30.0 <= rated for c in candidates(pulsed, facts()))


def test_minutes_come_from_the_kit_and_are_marked_assumed_where_it_states_none():
    kit = load_kit(EXAMPLES / "kit_two_wire_5a.toml")
    assert {c.key: c.minutes for c in candidates(kit, facts())}["c_cb"] == pytest.approx(0.3)
    assert not any(c.minutes_assumed for c in candidates(kit, facts()))
    assert all(c.minutes_assumed for c in candidates(None, facts()))
    assert "(assumed)" in advice(undecided([(0, "c_be", 1e-9, {}, 0.05)], "2N3055"), name="2N3055")[0].why


# readings outside the device model

FULL = {"name": "slow", "reads": ["iceo", "v_br_ceo", "dwell"], "range": {"v_br_ceo": 400.0},
        "compliance": {"vce": 60.0, "ic": 3.0}, "conditions": {"heat_sink": "0.5 K/W"}}  # fmt: skip


def test_leakage_breakdown_and_dwell_are_offered_only_last_in_this_order_and_only_for_parts_held_by_reach():
    kit = bench_kit(FULL, {"name": "c", "reads": ["c_cb"], "conditions": {"VCB": 10.0}})
    fresh = undecided([(0, "hfe", 90.0, {"IC": 1.0, "VCE": 5.0}, 0.02)])
    assert advice(fresh, kit)[0].reading.startswith("C_CB")
    done = undecided([(0, "c_cb", 200e-12, {"VCB": 10.0}, 0.01)])
    held = np.array([True])
    assert advice(done, kit, by_reach=held)[0].reading.startswith("ICEO")
    seen = [frozenset(), frozenset({"iceo"}), frozenset({"iceo", "v_br_ceo"}), frozenset({"iceo", "v_br_ceo", "dwell"})]
    parts = [Undecided(done.observations, done.readings, done.weighed, done.known, done.constants, [s]) for s in seen]
    readings = [advice(p, kit, by_reach=held)[0].reading.split()[0] for p in parts]
    assert readings == ["ICEO", "V(BR)CEO", "a", "two"]
    assert advice(parts[-1], kit, by_reach=held)[0] == KNOWN_GOOD
    assert advice(done, kit, by_reach=~held)[0] == KNOWN_GOOD
    no_slow = bench_kit({"name": "c", "reads": ["c_cb"], "conditions": {"VCB": 10.0}})
    assert advice(done, no_slow, by_reach=held)[0] == KNOWN_GOOD


@pytest.mark.parametrize("name", ["2SC5200", "2N3055", "MJL21194", "TIP35C"])
@pytest.mark.parametrize("sink", [0.3, 2.0, 10.0])
def test_dwell_stays_inside_the_safe_area_and_below_the_highest_junction_temperature(name, sink):
    kit = bench_kit({**FULL, "conditions": {"heat_sink": sink}})
    of = facts(name)
    point = dwell_point(kit.instruments[0], of)
    if of.rth_jc is None or of.tj_max is None or not of.dc_areas:
        assert point is None
        return
    volts, amperes, stated = point
    assert stated == sink
    assert volts <= 0.5 * of.vceo
    junction = 313.15 + volts * amperes * (of.rth_jc + 0.5 + sink)
    assert junction <= 313.15 + 0.5 * (of.tj_max - 313.15) + 1e-6
    for corners in of.dc_areas:
        v, i = np.array(corners).T
        assert amperes <= 0.5 * np.exp(np.interp(np.log(volts), np.log(v), np.log(i))) * (1 + 1e-9)


def test_dwell_is_not_offered_without_a_stated_heat_sink():
    bare = bench_kit({**FULL, "conditions": {}})
    assert [c.key for c in last_resorts(bare, facts())] == ["iceo", "v_br_ceo"]


# parts without evidence, and parts that need no advice


def test_part_without_evidence_starts_with_the_general_best_of_the_kit():
    assert first_measurement(None, facts()).reading.startswith("C_CB")
    assert first_measurement(None, facts(), frozenset({"c_cb"})).reading.startswith("C_BE")
    supply = load_kit(EXAMPLES / "kit_supply_and_multimeters.toml")
    assert first_measurement(supply, facts(), frozenset({"c_cb", "c_be"})).reading.startswith("VCE(sat)")
    assert first_measurement(bench_kit(FULL), facts()) is None


def test_part_without_any_reading_of_a_known_type_is_advised_like_any_other():
    (step,) = advice(undecided())
    assert step.reading
    assert step.minutes > 0


def test_parts_not_asked_for_get_no_advice_and_the_others_keep_their_place():
    parts = undecided(point_table=sweeps(4), n=4)
    wanted = np.array([False, True, False, True])
    out = next_measurements(parts, facts(), None, wanted)
    assert [step is not None for step in out] == wanted.tolist()
    every = next_measurements(parts, facts(), None, np.ones(4, bool))
    assert out[1] == every[1]
    assert out[3] == every[3]


@pytest.mark.long
def test_ten_thousand_held_parts_are_all_advised():
    n = 10_000
    parts = undecided(point_table=sweeps(n, (0.02, 0.5, 2.0)), n=n)
    out = advice(parts, load_kit(EXAMPLES / "kit_two_wire_5a.toml"))
    assert all(step is not None for step in out)


# recipes

SUPPLY_AND_TWO_METERS = bench_kit(
    {"name": "meter as ammeter", "reads": ["ic"], "range": {"ic": 10.0}, "compliance": {"ic": 3.0}},
    {"name": "meter as voltmeter", "reads": ["ib", "vbe", "vce"], "conditions": {"VCE": 5.0}},
)
OHMS = {"ohm": 1.0, "kohm": 1e3, "Mohm": 1e6}


def by_hand_points(recipe):
    found = re.findall(r"About ([\d.]+) (m?A): RB = ([\d.]+) (k?ohm|Mohm) \(([\d.]+) W\), current limit", recipe)
    return [(float(i) * (1e-3 if u == "mA" else 1.0), float(r) * OHMS[o], float(w)) for i, u, r, o, w in found]


@pytest.mark.parametrize("name", ["2SC5200", "2SA1943"])
def test_supply_and_two_multimeters_give_gain_and_vbe_at_three_currents_with_resistors_that_set_them(name):
    (few,) = [c for c in candidates(SUPPLY_AND_TWO_METERS, facts(name)) if c.key == "two_currents"]
    assert few.reading == "hFE and VBE at 0.1 A, 0.5 A and 1 A"
    p = population_for(LIBRARY.find(name).type)
    found = predict_gain(p.centre[None], p.constants, np.array([few.ic]), few.value, ROOM, True, jacobian=False)
    hfe, vbe = np.exp(found.ln_hfe[0]), found.vbe[0]
    recipe = recipe_of(few, facts(name), Expected(tuple(hfe), tuple(vbe)))
    points_ = by_hand_points(recipe)
    assert [i for i, _, _ in points_] == [0.1, 0.5, 1.0]
    for (amperes, ohms, watts), gain, volts in zip(points_, hfe, vbe, strict=True):
        flows = gain * (few.value - volts) / ohms
        assert amperes / 1.15 < flows < 1.15 * amperes  # half a step of the E12 row is a tenth
        assert watts >= (few.value - volts) ** 2 / ohms
    assert ("Its plus through meter 1" in recipe) == (name == "2SC5200")
    assert ("Its minus through meter 1" in recipe) == (name == "2SA1943")


@pytest.mark.parametrize("name", ["2SC5200", "2SA1943"])
def test_every_recipe_starts_with_the_caution_names_the_polarity_and_says_what_to_write(name):
    kits = [None, SUPPLY_AND_TWO_METERS, bench_kit(FULL), *map(load_kit, sorted(EXAMPLES.glob("kit_*.toml")))]
    seen = set()
    for kit in kits:
        of = facts(name)
        for one in (*candidates(kit, of), *last_resorts(kit, of)):
            lines = recipe_of(one, of).splitlines()
            assert lines[0].startswith("Caution:")
            assert any(f"Wiring is for {of.polarity}." in line for line in lines)
            assert lines[-1].startswith("Write ")
            if one.key in ("iceo", "v_br_ceo", "dwell"):
                assert "Local electrical codes and licensed practice come first." in lines[0]
            seen.add(one.key)
    assert seen == {"c_cb", "c_be", "vce_sat", "two_currents", "sweep", "iceo", "v_br_ceo", "dwell"}


def test_what_a_recipe_asks_to_write_is_read_back_by_the_program():
    from partscreen.readings.columns.conditions import parse_reading

    for kit in (None, SUPPLY_AND_TWO_METERS, bench_kit(FULL), *map(load_kit, sorted(EXAMPLES.glob("kit_*.toml")))):
        for one in (*candidates(kit, facts()), *last_resorts(kit, facts())):
            forms = re.findall(r'"([^"]* @ [^"]*)"', recipe_of(one, facts()))
            assert forms, one.key
            for form in forms:
                assert parse_reading(form).quantity in (*one.reads, "hfe", "vbe")


def test_wiring_turns_with_the_polarity_and_is_said_to_where_the_type_is_unknown():
    bias = bench_kit({"name": "c", "reads": ["c_cb"], "conditions": {"VCB": 10.0}})
    (one,) = candidates(bias, facts())
    assert "plus on the collector, minus on the base" in recipe_of(one, facts("2SC5200"))
    assert "minus on the collector, plus on the base" in recipe_of(one, facts("2SA1943"))
    unknown = facts_of_setup(set_up(batch(1, type_name="NOSUCH").lots[0], LIBRARY, population_for))
    assert "find the polarity with a diode test first" in recipe_of(one, unknown)


@pytest.mark.parametrize(("ohms", "nearest"), [(420.0, 390.0), (440.0, 470.0), (97.0, 100.0), (1.0, 1.0), (9.6, 10.0)])
def test_resistors_are_of_the_e12_row(ohms, nearest):
    assert nearest_resistor(ohms) == pytest.approx(nearest)
