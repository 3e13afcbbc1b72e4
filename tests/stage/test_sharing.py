"""Sharing in a stage: expected drops, what moves them, and what is said where nothing can be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pydantic import ValidationError

from partscreen.device.mapping import card_from_theta
from partscreen.device.parallel import Cooling, share_current
from partscreen.device.parameters import INDEX
from partscreen.reference.population import population_for
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.sharing import share_side, unmatched_spread
from tests.stage.stages import library, part, stage

KIND = library().type("2SC5200")


def centred(name: str, shift: float) -> KnownPart:
    """The typical part with its VBE lower by `shift` [V] at equal current."""
    one = part(name, "2SC5200")
    theta = np.array(one.fit.theta)
    theta[INDEX["is"]] += shift / 0.02585
    return replace(one, fit=one.fit.model_copy(update={"theta": theta.tolist()}))


def side(*shifts: float) -> Side:
    return Side(KIND, None, tuple(centred(f"A1-{i + 1:02d}", s) for i, s in enumerate(shifts)))


def codes(checks):
    return {check.code: check for check in checks}


def test_alike_parts_read_alike_and_the_mean_is_the_target():
    figure, checks = share_side(stage(), side(0.0, 0.0))
    assert [p.drop for p in figure.places] == pytest.approx([stage().bias.target] * 2, rel=1e-6)
    assert codes(checks)["SHARING_IDLE"].result == "ok"


def test_a_part_of_lower_vbe_reads_more_and_is_told_outside_the_tolerance():
    figure, checks = share_side(stage(), side(0.0, 0.040))
    low, high = (p.drop for p in figure.places)
    assert high > 1.8 * low
    assert low + high == pytest.approx(2.0 * stage().bias.target, rel=1e-6)
    found = codes(checks)["SHARING_IDLE"]
    assert found.result == "marginal"
    assert "PNP" not in found.sentence
    assert "A1-02" in found.sentence


def test_heat_makes_the_shares_more_unequal():
    warm, _ = share_side(stage(), side(0.0, 0.010))
    even, checks = share_side(stage(cooling={"insulator": None, "heat_sink": None}), side(0.0, 0.010))
    assert np.ptp([p.drop for p in warm.places]) > np.ptp([p.drop for p in even.places])
    assert codes(checks)["IDLE_STABILITY"].result == "not_known"
    assert "one temperature" in even.basis


def test_cold_drops_lie_below_warm_ones():
    figure, _ = share_side(stage(), side(0.0, 0.005))
    assert all(p.cold_drop < p.drop for p in figure.places)


def test_at_the_peak_the_emitter_resistors_share():
    figure, checks = share_side(stage(), side(0.0, 0.020))
    idle, peak = ([p.current for p in figure.places], [p.peak for p in figure.places])
    assert max(peak) / min(peak) < 1.1 < max(idle) / min(idle)
    assert codes(checks)["SHARING_PEAK"].result == "ok"


def test_too_few_parts_are_not_known_and_say_how_many():
    figure, checks = share_side(stage(), side(0.0))
    assert figure is None
    assert {check.result for check in checks} == {"not_known"}
    assert "2 accepted part(s) of 2SC5200" in checks[0].sentence


def test_one_device_a_rail_shares_with_nobody():
    lone = stage(stage={"devices_per_rail": 1})
    _, checks = share_side(lone, side(0.0))
    assert set(codes(checks)) == {"IDLE_STABILITY"}


@pytest.mark.parametrize(
    ("insulator", "ohms", "result"), [(0.4, 0.22, "ok"), (4.0, 0.1, "marginal"), (8.0, 0.1, "not_ok")]
)
def test_stability_follows_heat_path_and_emitter_resistor(insulator: float, ohms: float, result: str):
    marked = {"marked": f"{ohms} ohm", "measured": None}
    # idle held at 68 mA, and no heat sink in the way, so that insulator and resistor alone decide
    changed = stage(
        cooling={"insulator": f"{insulator} degC/W", "heat_sink": "0.01 degC/W"}, emitter_resistors=marked,
        bias={"target": f"{68 * ohms} mV", "readings": None},
    )  # fmt: skip
    _, checks = share_side(changed, side(0.0, 0.0))
    assert codes(checks)["IDLE_STABILITY"].result == result


def test_spread_of_unmatched_parts_is_what_exact_sharing_gives():
    """The short formula dV / (re + RE) against the full solution, 120 pairs from the population."""
    known = population_for(KIND)
    assert known is not None
    rng = np.random.default_rng(8)
    theta = rng.multivariate_normal(known.centre, known.within, 240, method="cholesky")
    drops = []
    for pair in theta.reshape(120, 2, -1):
        card = card_from_theta(pair, known.constants)
        found = share_current(card, 0.136, 5.0, [0.22, 0.22], Cooling(298.15))
        drops.append(float(np.ptp(found.drop)))
    half, most = unmatched_spread(known, 0.068, 0.22, 2)
    assert half == pytest.approx(float(np.median(drops)), rel=0.25)  # 120 pairs tell a median within about 15 %
    assert most == pytest.approx(float(np.quantile(drops, 0.9)), rel=0.25)


def test_named_resistors_are_those_measured():
    measured = {"RE1": "0.25 ohm", "RE2": "0.20 ohm"}
    changed = stage(
        stage={"npn_resistors": ["RE1", "RE2"]}, emitter_resistors={"measured": measured}, bias={"readings": None}
    )
    figure, _ = share_side(changed, side(0.0, 0.0))
    assert [p.resistor for p in figure.places] == [0.25, 0.20]
    assert figure.places[1].current > figure.places[0].current


def test_a_resistor_named_but_not_measured_is_refused():
    with pytest.raises(ValidationError, match="RE9"):
        stage(stage={"npn_resistors": ["RE1", "RE9"]})
