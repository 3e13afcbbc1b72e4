"""What the lot says of its parts reaches their dispositions: halves, parts unlike any, unknown types, die edges."""

from dataclasses import replace

import numpy as np
import pytest

from partscreen.device.parameters import AREA_DIRECTION
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.readings.tables import Lot, Sweep
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.results import Reason
from partscreen.screening.disposition import Findings, PartEvidence, Rule, decide
from partscreen.screening.screen import screen_batch
from tests.screening.bench import ROOM, batch, join, points, spots

LIBRARY = Library.load()
TYPE = "2SC5200"
CURRENTS = (0.02, 0.1, 0.5, 1.0, 2.0, 4.0)


def codes(part):
    return [r.code for r in part.reasons]


def parts_of(areas, seed=1):
    """Readings of parts of one lot of the type, their dies as large as `areas` say against the type's."""
    rng = np.random.default_rng(seed)
    population = population_for(LIBRARY.find(TYPE).type)
    n = len(areas)
    theta = rng.multivariate_normal(population.centre, population.within, size=n, method="eigh")
    theta = theta + np.log(areas)[:, None] * AREA_DIRECTION
    ic = np.tile(np.array(CURRENTS), (n, 1))
    gain = predict_gain(theta, population.constants, ic, 5.0, ROOM, True, jacobian=False)
    sat = predict_saturation(theta, population.constants, ic, ic / 10, ROOM, True, jacobian=False)
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    hfe = np.exp(gain.ln_hfe + rng.normal(0, 0.005, ic.shape))
    vbe, vce = gain.vbe + rng.normal(0, 1e-3, ic.shape), sat.vce + rng.normal(0, 3e-3, ic.shape)
    saturation = points(
        part, ic, ib=(ic / 10).ravel(), vce=vce.ravel(), sweep=Sweep.SATURATION, run=part.ravel() + n,
        vce_std=3e-3 + 0.01 * np.abs(vce.ravel()),
    )  # fmt: skip
    return join(points(part, ic, hfe=hfe.ravel(), vbe=vbe.ravel()), saturation)


HALF = [1.0] * 6 + [0.45] * 6
EITHER = [1.35] * 6 + [0.74] * 6  # as far from the type on either side, so that the data sheet does not tell


def test_a_lot_of_two_halves_without_a_reference_is_held_whole_and_told_once():
    (lot,) = screen_batch(batch(12, parts_of(EITHER), type_name=TYPE), LIBRARY)
    assert lot.judgement == "undecided"
    assert {p.disposition for p in lot.parts} == {"hold"}
    assert {codes(p)[0] for p in lot.parts} == {"WHICH_HALF_UNKNOWN"}
    assert [r.code for r in lot.reasons].count("WHICH_HALF_UNKNOWN") == 1
    assert "MAIN_POPULATION_UNFIT" not in [r.code for r in lot.reasons]


def test_known_good_parts_tell_which_half_is_right():
    lots = (Lot("A1", type=TYPE), Lot("K1", type=TYPE, known_good=True))
    table = parts_of([*HALF, *[1.0] * 6])
    lot, _ = screen_batch(batch(18, table, lots=lots, part_lot=[0] * 12 + [1] * 6), LIBRARY)
    assert "WHICH_HALF_UNKNOWN" not in {c for p in lot.parts for c in codes(p)}
    assert {p.disposition for p in lot.parts[6:]} == {"reject"}
    assert "reject" not in {p.disposition for p in lot.parts[:6]}


def test_a_sound_lot_is_not_called_two_halves():
    for seed in range(2, 6):
        (lot,) = screen_batch(batch(12, parts_of([1.0] * 12, seed), type_name=TYPE), LIBRARY)
        assert "WHICH_HALF_UNKNOWN" not in [r.code for r in lot.reasons]


def against(outcome):
    return Reason(code=outcome.upper(), sentence="-")


def test_what_no_hypothesis_explains_is_held_by_evidence_and_rejected_by_a_limit():
    evidence = PartEvidence(20.0, 1.0, 0.9, False, against)
    unlike, broken = Reason(code="UNLIKE_KNOWN_PARTS", sentence="-"), Reason(code="LIMIT_BROKEN", sentence="-")
    assert decide(Findings(), evidence, Rule(0.6), unlike)[0] == "reject"
    held = decide(Findings(bar=(unlike,)), evidence, Rule(0.6), unlike)
    assert held == ("hold", [unlike])
    assert decide(Findings((broken,), bar=(unlike,)), evidence, Rule(0.6), unlike) == ("reject", [broken, unlike])
    assert decide(Findings(bar=(unlike,)), None, Rule(0.6), broken)[1] == [unlike]


def test_a_strange_part_that_nothing_explains_is_held_as_unlike_any_known_part():
    table = parts_of([1.0] * 12)
    odd = (table.part == 3) & np.isfinite(table.vbe)
    vbe = table.vbe.copy()
    vbe[odd] += np.where(np.arange(odd.sum()) % 2, 0.12, -0.12)  # no transistor's VBE zigzags
    (lot,) = screen_batch(batch(12, replace(table, vbe=vbe), type_name=TYPE), LIBRARY)
    assert lot.parts[3].disposition == "hold"
    assert codes(lot.parts[3])[0] == "UNLIKE_KNOWN_PARTS"
    assert lot.parts[3].evidence > 3
    assert "UNLIKE_KNOWN_PARTS" not in {c for i, p in enumerate(lot.parts) if i != 3 for c in codes(p)}
