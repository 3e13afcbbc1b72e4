"""A batch goes in, every part comes out once, with a disposition and reasons."""

import json

import numpy as np
import pytest

from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.readings.tables import Lot, Sweep
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.results import LotResult, Reason
from partscreen.screening.disposition import Findings, PartEvidence, Rule, decide
from partscreen.screening.reasons import NOT_YET_WEIGHED
from partscreen.screening.screen import screen_batch
from tests.screening.bench import ROOM, batch, join, points, spots

LIBRARY = Library.load()
TYPE = "2SC5200"


def sound_parts(n, seed=1, currents=(0.02, 0.1, 0.5, 1.0, 2.0, 4.0), scale=1.0, type_name=TYPE, gain_noise=0.01):
    """Readings of parts drawn from the type's population within one lot, with an ordinary tester's scatter."""
    rng = np.random.default_rng(seed)
    population = population_for(LIBRARY.find(type_name).type)
    theta = rng.multivariate_normal(population.centre, population.within, size=n, method="eigh")
    ic = np.tile(np.array(currents), (n, 1))
    gain = predict_gain(theta, population.constants, ic, 5.0, ROOM, True, jacobian=False)
    sat = predict_saturation(theta, population.constants, ic, ic / 10, ROOM, True, jacobian=False)
    part = np.arange(n)[:, None] * np.ones(ic.shape, int)
    hfe = np.exp(gain.ln_hfe) * scale * np.exp(rng.normal(0, gain_noise, ic.shape))
    vbe = gain.vbe + rng.normal(0, 2e-3, ic.shape)
    vce = sat.vce + rng.normal(0, 3e-3, ic.shape)
    saturation = points(
        part, ic, ib=(ic / 10).ravel(), vce=vce.ravel(), sweep=Sweep.SATURATION, run=part.ravel() + n,
        vce_std=3e-3 + 0.015 * np.abs(vce.ravel()),
    )  # fmt: skip
    return join(points(part, ic, hfe=hfe.ravel(), vbe=vbe.ravel()), saturation)


def codes(part):
    return [r.code for r in part.reasons]


def test_sound_parts_are_weighed_and_accepted_where_their_readings_reach():
    (lot,) = screen_batch(batch(8, sound_parts(8), type_name=TYPE), LIBRARY)
    assert lot.n_parts == len(lot.parts) == 8
    assert not [p.part for p in lot.parts if p.disposition == "reject"]
    for part in lot.parts:
        assert sum(term.evidence for term in part.evidence_by_reading) == pytest.approx(part.evidence, abs=1e-9)
        assert sum(h.probability for h in part.hypotheses) == pytest.approx(1.0, abs=1e-9)
        assert 0.0 <= part.probability_of_substitution <= part.probability_unfit <= 1.0
        assert part.area_ratio.low < part.area_ratio.value < part.area_ratio.high
        if part.disposition == "accept":
            assert part.evidence <= 0 < 0.6 <= part.reach
            assert codes(part)[0] == "AS_MARKED"
    assert sum(p.disposition == "accept" for p in lot.parts) >= 6
    assert lot.share_unfit.low <= lot.share_unfit.value <= lot.share_unfit.high
    part = lot.parts[0]
    assert part.fit.status == "converged"
    assert len(part.curves.ic) == len(part.curves.hfe) == len(part.curves.vce_sat) == 12
    assert part.readings_used == [
        "hFE 6 points 0.02 to 4 A",
        "VBE 6 points 0.02 to 4 A",
        "VCE(sat) 6 points 0.02 to 4 A",
    ]


def test_result_is_valid_json_without_nan_and_reads_back():
    (lot,) = screen_batch(batch(3, sound_parts(3), type_name=TYPE), LIBRARY)
    text = lot.model_dump_json()
    assert "NaN" not in text
    json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} in the result"))
    assert LotResult.model_validate_json(text) == LotResult.model_validate(lot.model_dump())


def test_part_far_below_a_printed_minimum_is_rejected_with_the_limit_and_its_source():
    (lot,) = screen_batch(batch(4, sound_parts(4, scale=0.3), type_name=TYPE), LIBRARY)
    for part in lot.parts:
        assert part.disposition == "reject"
        lead = part.reasons[0]
        assert lead.code == "LIMIT_BROKEN"
        assert "below the minimum" in lead.sentence
        assert lead.limit
        assert lead.source
        assert lead.figures["probability_conforming"] < 0.001
    assert lot.share_unfit.low == 1.0
    assert lot.judgement == "return"  # though these readings could tell no whole lot of another die


def only_recalled_gain_limits(kind):
    rows = [c for c in kind.characteristics if c.symbol == "hFE" and not c.limit_refused]
    within = any(c.min and 0.5 <= c.conditions["IC"] <= 4 for c in rows)
    return within and not kind.is_darlington and all(kind.basis(c.source) == "memory" for c in rows)


def test_limits_of_memory_alone_hold_and_never_reject():
    memory = next(kind for kind in LIBRARY if only_recalled_gain_limits(kind))
    table = sound_parts(2, scale=0.15, type_name=memory.name)
    (lot,) = screen_batch(batch(2, table, type_name=memory.name), LIBRARY)
    for part in lot.parts:
        assert part.disposition == "hold"
        assert "LIMIT_UNCONFIRMED" in codes(part)
        assert "LIMIT_BROKEN" not in codes(part)


def test_dead_and_reversed_parts_are_rejected_and_unusable_ones_have_no_disposition():
    condition = {
        0: ("dead", "SHORT", "Collector and emitter are shorted."),
        1: ("wrong_polarity", "WRONG_POLARITY", "Reads as a PNP."),
        2: ("unusable", "TOO_FEW", "Two points are too few."),
    }
    (lot,) = screen_batch(batch(5, sound_parts(4), type_name=TYPE, condition=condition), LIBRARY)
    assert [p.disposition for p in lot.parts] == ["reject", "reject", None, "hold", None]
    assert [p.status for p in lot.parts] == ["dead", "wrong_polarity", "unusable", "judged", "unusable"]
    assert [codes(p)[0] for p in lot.parts] == ["SHORT", "WRONG_POLARITY", "TOO_FEW", "REACH_SHORT", "UNUSABLE"]


def test_lot_of_dead_parts_only():
    condition = dict.fromkeys(range(3), ("dead", "OPEN", "No current flows."))
    (lot,) = screen_batch(batch(3, type_name=TYPE, condition=condition), LIBRARY)
    assert {p.disposition for p in lot.parts} == {"reject"}
    assert lot.judgement == "test_all"


@pytest.mark.parametrize("type_name", [None, "ZZ9999"])
def test_unknown_type_is_held_within_the_lot_and_judged_no_reference(type_name):
    (lot,) = screen_batch(batch(6, sound_parts(6), lots=(Lot("A1", type=type_name),)), LIBRARY)
    assert lot.judgement == "no_reference"
    assert {p.disposition for p in lot.parts} == {"hold"}
    assert {codes(p)[0] for p in lot.parts} == {"NO_REFERENCE"}
    assert lot.reasons[0].code == "NO_REFERENCE"
    assert lot.parts[0].fit is None
    assert lot.parts[0].limits == []


def test_unknown_type_names_close_ones():
    (lot,) = screen_batch(batch(1, sound_parts(1), type_name="2SC5201"), LIBRARY)
    assert "2SC5200" in lot.reasons[0].sentence


def test_empty_lot_and_empty_batch_come_back_empty():
    two = batch(2, sound_parts(2), lots=(Lot("A", type=TYPE), Lot("B", type=TYPE)), part_lot=[0, 0])
    full, empty = screen_batch(two, LIBRARY)
    assert (full.n_parts, empty.n_parts) == (2, 0)
    assert empty.judgement == "test_all"
    assert screen_batch(batch(0, lots=(), part_lot=[]), LIBRARY) == []


def test_part_alone_in_its_lot_is_judged():
    (lot,) = screen_batch(batch(1, sound_parts(1), type_name=TYPE), LIBRARY)
    assert codes(lot.parts[0])[0] == "REACH_SHORT"


def test_lots_keep_their_order_and_parts_whatever_their_types():
    lots = (Lot("A", type=TYPE), Lot("B", type="MJL21194"), Lot("C", type=TYPE))
    made = batch(6, sound_parts(6), lots=lots, part_lot=[2, 0, 1, 0, 2, 1])
    got = screen_batch(made, LIBRARY)
    assert [x.lot for x in got] == ["A", "B", "C"]
    assert [[p.part for p in x.parts] for x in got] == [["2", "4"], ["3", "6"], ["1", "5"]]


def test_darlington_is_judged_by_limits_and_lot_alone_and_says_so():
    kind = next(k for k in LIBRARY if k.is_darlington)
    table = points(
        np.repeat(np.arange(2), 3), np.tile([1.0, 5.0, 10.0], 2), hfe=np.tile([3000.0, 2000, 1200], 2), vce=4.0
    )
    (lot,) = screen_batch(batch(2, table, type_name=kind.name), LIBRARY)
    assert lot.parts[0].fit is None
    assert lot.parts[0].disposition == "hold"
    assert "NO_POPULATION" in [r.code for r in lot.reasons]
    assert any(x.reached == "direct" for x in lot.parts[0].limits)


def test_readings_of_no_transistor_of_the_type_are_a_misfit_and_held():
    table = sound_parts(3)
    odd = (table.part == 1) & (table.sweep == Sweep.GAIN)
    table.hfe[odd] *= np.array([1.0, 1.6, 0.8, 1.5, 0.9, 1.4])
    (lot,) = screen_batch(batch(3, table, type_name=TYPE), LIBRARY)
    assert "MISFIT" in codes(lot.parts[1])
    assert lot.parts[1].disposition in ("hold", "reject")
    assert "MISFIT" not in codes(lot.parts[0]) + codes(lot.parts[2])
    assert lot.parts[1].fit.chi_square.p < 0.001


def test_gain_without_its_current_is_kept_and_not_judged():
    (lot,) = screen_batch(batch(1, spot_table=spots([(0, "hfe", 80.0, {})]), type_name=TYPE), LIBRARY)
    assert lot.parts[0].status == "unusable"
    assert lot.parts[0].disposition is None


def test_limits_not_reached_are_told_in_words():
    (lot,) = screen_batch(batch(1, sound_parts(1, currents=(0.02, 0.1, 0.5)), type_name=TYPE), LIBRARY)
    told = next(r for r in lot.parts[0].reasons if r.code == "LIMITS_NOT_REACHED").sentence
    assert "the readings end at 500 mA" in told
    assert "no reading of " in told


@pytest.mark.parametrize("bad", [{"risk": 0.0}, {"risk": 0.9}, {"reach": 1.5}, {"prior_share": 1.0}, {"cost": 0.0}])
def test_settings_out_of_range_are_refused(bad):
    with pytest.raises(ValueError, match=next(iter(bad))):
        screen_batch(batch(0, lots=(), part_lot=[]), LIBRARY, **bad)


def test_progress_is_told():
    told = []
    screen_batch(batch(1, sound_parts(1), type_name=TYPE), LIBRARY, progress=lambda *step: told.append(step))
    assert told[-1][1:] == (1, 1)


def evidence(value, probability, reach=0.8, *, fault_leads=False):
    return PartEvidence(value, probability, reach, fault_leads, lambda outcome: Reason(code=outcome, sentence=outcome))


@pytest.mark.parametrize(
    ("weighed", "hold", "disposition", "code"),
    [
        (None, (), "hold", "NOT_YET_WEIGHED"),
        (evidence(-4.0, 0.001), (), "accept", "in_favour"),
        (evidence(-4.0, 0.001, reach=0.5), (), "hold", "short_reach"),
        (evidence(-4.0, 0.001), (NOT_YET_WEIGHED,), "hold", "NOT_YET_WEIGHED"),
        (evidence(-0.5, 0.06), (), "hold", "risky"),  # 0.5 / 10: holding costs less
        (evidence(1.0, 0.2), (), "hold", "undecided"),
        (evidence(3.5, 0.95), (), "reject", "against"),
        (evidence(2.9, 0.99), (), "hold", "undecided"),
        (evidence(3.5, 0.85), (), "hold", "undecided"),
        (evidence(3.5, 0.93, fault_leads=True), (), "hold", "undecided"),
    ],
)
def test_disposition_weighs_evidence_probability_reach_and_cost(weighed, hold, disposition, code):
    got, reasons = decide(Findings(hold=hold), weighed, Rule(0.6), NOT_YET_WEIGHED)
    assert (got, reasons[0].code) == (disposition, code)
    broken = Reason(code="LIMIT_BROKEN", sentence="outside")
    got, reasons = decide(Findings(reject=(broken,)), weighed, Rule(0.6), NOT_YET_WEIGHED)
    assert (got, reasons[0].code) == ("reject", "LIMIT_BROKEN")


def test_a_dearer_bad_part_asks_more_of_an_accept():
    weighed = evidence(-3.0, 0.02)
    assert decide(Findings(), weighed, Rule(0.6, cost=10.0), NOT_YET_WEIGHED)[0] == "accept"
    assert decide(Findings(), weighed, Rule(0.6, cost=100.0), NOT_YET_WEIGHED)[0] == "hold"
