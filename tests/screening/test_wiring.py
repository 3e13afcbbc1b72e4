"""What the lot says of its parts reaches their dispositions: halves, parts unlike any, unknown types, die edges."""

from dataclasses import replace

import numpy as np
import pytest

from partscreen.device.parameters import AREA_DIRECTION
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.readings.tables import SEVERAL_TYPES, Lot, Sweep
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


def test_parts_of_an_unknown_type_are_compared_within_their_lot_and_always_held():
    lots = (Lot("A1", type="ZZ9999", extra={"polarity": "NPN"}),)
    (lot,) = screen_batch(batch(8, parts_of([1.0] * 7 + [0.4]), lots=lots), LIBRARY)
    assert lot.judgement == "no_reference"
    assert lot.share_unfit is None
    assert {p.disposition for p in lot.parts} == {"hold"}
    assert {tuple(codes(p)[:2]) for p in lot.parts} == {("NO_REFERENCE", "WITHIN_LOT_ONLY")}
    assert lot.parts[0].reasons[1].sentence.startswith("Like the rest")
    assert lot.parts[7].reasons[1].sentence.startswith("Unlike the rest")
    assert lot.reasons[1].figures["unlike"] == "8"
    assert lot.parts[7].evidence > 3 > 0 > lot.parts[0].evidence
    assert sum(t.evidence for t in lot.parts[7].evidence_by_reading) == pytest.approx(lot.parts[7].evidence)
    assert {(p.reach_absolute, p.closest_types, p.fit) for p in lot.parts} == {(None, None, None)}


def test_known_good_parts_of_the_same_stated_type_teach_an_unknown_one_and_others_do_not():
    said = {"polarity": "NPN"}
    table = parts_of([*[0.2] * 5, *[1.0] * 4])  # these readings reach 0.31, and find it in nine of ten
    for name, code, word in (("ZZ9999", "AGAINST_KNOWN_GOOD_ONLY", "Unlike"), ("ZZ8888", "WITHIN_LOT_ONLY", "Like")):
        lots = (Lot("A1", type="ZZ9999", extra=said), Lot("K1", type=name, known_good=True, extra=said))
        lot, _ = screen_batch(batch(9, table, lots=lots, part_lot=[0] * 5 + [1] * 4), LIBRARY)
        assert {codes(p)[1] for p in lot.parts} == {code}
        assert {p.reasons[1].sentence.split()[0] for p in lot.parts} == {word}
        assert {p.disposition for p in lot.parts} == {"hold"}
        assert lot.judgement == "no_reference"


def test_lots_of_no_stated_type_do_not_teach_each_other():
    lots = (Lot("A1", extra={"polarity": "NPN"}), Lot("K1", known_good=True, extra={"polarity": "NPN"}))
    lot, _ = screen_batch(batch(8, parts_of([1.0] * 8), lots=lots, part_lot=[0] * 5 + [1] * 3), LIBRARY)
    assert {codes(p)[1] for p in lot.parts} == {"WITHIN_LOT_ONLY"}


@pytest.mark.parametrize(
    ("said", "sign", "code", "weighed"),
    [
        ("", None, "POLARITY_UNKNOWN", False),
        ("", 1, "POLARITY_ASSUMED", True),
        ("", -1, None, True),
        ("pnp", 1, None, True),
        ("NPN", -1, "POLARITY_UNKNOWN", False),
    ],
)
def test_polarity_of_an_unknown_type_is_never_silently_guessed(said, sign, code, weighed):
    lots = (Lot("A1", type="ZZ9999", extra={"polarity": said}),)
    signs = None if sign is None else np.full(3, sign)
    (lot,) = screen_batch(batch(3, parts_of([1.0] * 3), lots=lots, part_sign=signs), LIBRARY)
    told = [r for r in lot.reasons if r.code.startswith("POLARITY")]
    assert [r.code for r in told] == ([] if code is None else [code])
    assert all("say polarity" in r.sentence for r in told)
    assert [p.evidence is not None for p in lot.parts] == [weighed] * 3


def test_where_nothing_sets_the_scale_of_an_unknown_die_nothing_is_weighed_and_that_is_said():
    lots = (Lot("A1", type="ZZ9999", extra={"polarity": "NPN"}),)
    table = spots([(0, "iceo", 1e-6, {"VCE": 50.0})])
    (lot,) = screen_batch(batch(1, spot_table=table, lots=lots), LIBRARY)
    assert [r.code for r in lot.reasons][:2] == ["NO_REFERENCE", "SCALE_UNKNOWN"]
    assert lot.parts[0].evidence is None


def edges(part, mm2):
    return [(part, "die_edge_x", 4e-3, {}, 0.01), (part, "die_edge_y", mm2 / 4 * 1e-3, {}, 0.01)]


def test_die_edges_are_the_last_term_of_evidence_where_a_known_good_piece_was_opened():
    lots = (Lot("A1", type=TYPE), Lot("K1", type=TYPE, known_good=True))
    table, opened = parts_of([1.0] * 9), [*edges(0, 20.0), *edges(1, 11.0), *edges(7, 20.0)]
    one_edge = [(2, "die_edge_x", 4e-3, {}, 0.01)]
    small = batch(9, table, spots([*opened, *one_edge]), lots=lots, part_lot=[0] * 6 + [1] * 3)
    lot, _ = screen_batch(small, LIBRARY)
    for part in lot.parts[:2]:
        assert part.evidence_by_reading[-1].reading == "die edges"
        assert sum(t.evidence for t in part.evidence_by_reading) == pytest.approx(part.evidence)
        assert sum(h.probability for h in part.hypotheses) == pytest.approx(1.0)
    assert lot.parts[0].evidence < 0
    assert lot.parts[1].evidence > lot.parts[0].evidence + 5
    assert 0.55 < lot.parts[1].area_ratio.value < 0.65  # 11 of 20 mm2, weighed with electrical readings near 1
    assert "die edges" not in {t.reading for t in lot.parts[3].evidence_by_reading}
    assert "DIE_EDGE_MISSING" in codes(lot.parts[2])


def test_die_edges_without_an_opened_known_good_piece_are_a_remark():
    table = batch(5, parts_of([1.0] * 5), spots(edges(0, 11.0)), type_name=TYPE)
    (lot,) = screen_batch(table, LIBRARY)
    assert "DIE_EDGES_NO_REFERENCE" in codes(lot.parts[0])
    assert "die edges" not in {t.reading for t in lot.parts[0].evidence_by_reading}


def test_a_lot_said_to_be_of_two_types_is_held_and_both_are_named():
    lots = (Lot("A1", extra={SEVERAL_TYPES: "2SC5200, 2SA1943"}),)
    (lot,) = screen_batch(batch(3, parts_of([1.0] * 3), lots=lots), LIBRARY)
    assert lot.judgement == "no_reference"
    assert {p.disposition for p in lot.parts} == {"hold"}
    for reason in (lot.reasons[0], lot.parts[0].reasons[0]):
        assert reason.code == "NO_REFERENCE"
        assert "several types (2SC5200, 2SA1943)" in reason.sentence
