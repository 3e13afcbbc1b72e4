"""Ten MJL21194 and ten MJL21193, output curves to 2 A at a 50 degC block, read by their owner.

Source: github mbrennwa/curvetracedata, commit 01c7cd172b55f533d97f033f4754043b69e6c5a1, figures worked out as the
folder of facts tells (base current from the drive through a known resistor). Not published here: read from the folder
of facts.
"""

import csv

import numpy as np
import pytest

from partscreen.readings.tables import Lot, Sweep
from partscreen.reference.library import Library
from partscreen.screening.screen import screen_batch
from tests.facts import MEASURED, needs_facts
from tests.screening.bench import batch, points

pytestmark = needs_facts

FASTER = {"5", "7", "9"}


def lot_of_ten(name):
    with (MEASURED / f"{name.lower()}.csv").open(encoding="utf-8") as file:
        rows = [
            r for r in csv.DictReader(file) if r["ic_a"] and "limiting" not in r["note"] and "fault" not in r["note"]
        ]

    def column(key):
        return np.array([abs(float(r[key])) if r[key] else np.nan for r in rows])

    part = np.array([int(r["specimen"]) - 1 for r in rows])
    kelvin = column("temp_c") + 273.15
    order = np.argsort(part, kind="stable")
    table = points(
        part[order], column("ic_a")[order], ib=column("ib_a")[order], vce=column("vce_v")[order],
        hfe=column("hfe")[order], temp=kelvin[order], sweep=Sweep.OUTPUT,
        pulsed=np.zeros(part.size, bool), ic_std=np.full(part.size, 1e-4),
    )  # fmt: skip
    made = batch(10, table, lots=(Lot("ten", type=name),))
    return screen_batch(made, Library.load())[0]


@pytest.fixture(scope="module")
def npn():
    return lot_of_ten("MJL21194")


@pytest.fixture(scope="module")
def pnp():
    return lot_of_ten("MJL21193")


def test_lot_view_shows_exactly_the_three_specimens_that_lose_gain_faster(npn):
    groups = [r for r in npn.reasons if r.code == "TWO_GROUPS"]
    assert len(groups) == 1
    figures = groups[0].figures
    assert set(figures["parts"].split(", ")) == FASTER
    assert figures["n_others"] == 7
    # Gain at the last over the first usable base step at 10 V: 0.82 to 0.84 against 0.90 to 0.96.
    assert figures["vce_V"] == pytest.approx(10.0, abs=0.05)
    assert 0.815 <= figures["last_over_first_group_low"] <= figures["last_over_first_group_high"] <= 0.845
    assert 0.895 <= figures["last_over_first_others_low"] <= figures["last_over_first_others_high"] <= 0.965


def test_none_of_the_ten_is_rejected_on_readings_to_two_amperes(npn, pnp):
    assert {p.disposition for p in npn.parts} == {"hold"}
    assert {p.disposition for p in pnp.parts} == {"hold"}


def test_printed_gain_limits_at_eight_and_sixteen_amperes_are_not_reached(npn, pnp):
    for lot in (npn, pnp):
        for part in lot.parts:
            gain = [x for x in part.limits if x.symbol == "hFE"]
            assert {x.conditions for x in gain} >= {"VCE=5 V, IC=8 A", "VCE=5 V, IC=16 A"}
            assert {x.reached for x in gain} == {"not_reached"}
            assert {x.value for x in gain} == {None}
            told = next(r for r in part.reasons if r.code == "LIMITS_NOT_REACHED")
            assert "gain: limits are given at 8 A and 16 A, the readings end at" in told.sentence


def test_pnp_lot_is_one_population(pnp):
    assert not [r for r in pnp.reasons if r.code == "TWO_GROUPS"]


def test_readings_to_two_amperes_hold_a_whole_lot_against_nothing_and_that_is_said(npn, pnp):
    for lot in (npn, pnp):
        assert lot.judgement == "no_reference"
        told = next(r for r in lot.reasons if r.code == "NO_ABSOLUTE_REFERENCE")
        assert told.figures["reach_absolute"] < 0.2
        assert lot.share_unfit.high > 0.9
