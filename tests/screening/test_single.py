"""One part from typed readings: the same engine, answers that say what they rest on, clear refusals."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.instruments.kit import load_kit
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.results import Hypothesis, PartResult
from partscreen.screening.contradictions import set_aside
from partscreen.screening.odds import first_sentence
from partscreen.screening.single import batch_of, check_readings
from tests.screening.bench import batch, spots

LIBRARY = Library.load()
EXAMPLES = Path(__file__).resolve().parents[2] / "docs" / "examples"
NEAR_TYPES = {"2SC5200", "2N3055", "2SA1302", "2SA1943", "MJL21194", "MJL21193"}


def few_types(of, *, gain_group=None):
    """Populations of a few types only: the others are not what these tests are about, and take seconds to build."""
    return population_for(of, gain_group=gain_group) if of.name in NEAR_TYPES else None


def check(type_name, *texts, kit=None, **more):
    loaded = load_kit(EXAMPLES / kit) if kit else None
    found = check_readings(
        type_name, texts, LIBRARY, loaded, population_for=more.pop("population_for", few_types), **more
    )
    (lot,) = found.lots
    (part,) = lot.parts
    return part, "\n".join(found.words), lot


LIKE_THE_SHEET = (
    "C_CB=200 pF @ VCB=10 V",
    "VCE(sat)=0.056 V @ IC=1 A, IC/IB=10",
    "VBE=0.692 V @ IC=1 A, VCE=5 V",
    "hFE=134 @ IC=1 A, VCE=5 V",
    "VBE=0.601 V @ IC=0.2 A, VCE=5 V",
)


def test_each_further_reading_narrows_the_area_and_never_lowers_the_reach():
    widths, reach = [], []
    for n in range(1, len(LIKE_THE_SHEET) + 1):
        part, _, _ = check("2SC5200", *LIKE_THE_SHEET[:n])
        widths.append(np.log(part.area_ratio.high / part.area_ratio.low))
        reach.append(part.reach_absolute)
        assert part.evidence < 1.0
    # A gain tells nothing of the area; the model is straightened anew at each fit, which moves widths by a thousandth.
    assert np.all(np.diff(widths) < 0.002)
    assert np.all(np.diff(widths)[[0, 1, 3]] < -0.01)
    assert np.all(np.diff(reach) > -0.002)
    assert reach[-1] > reach[0] + 0.03


def test_answer_does_not_depend_on_the_order_in_which_readings_are_typed():
    one, _, _ = check("2SC5200", *LIKE_THE_SHEET)
    other, _, _ = check("2SC5200", *LIKE_THE_SHEET[::-1])
    assert one.evidence == pytest.approx(other.evidence, abs=1e-6)
    assert one.area_ratio.value == pytest.approx(other.area_ratio.value, rel=1e-6)


def test_small_die_gets_evidence_that_grows_with_every_reading_and_sums_by_reading():
    small = ("C_CB=70 pF @ VCB=10 V", "VBE=0.745 V @ IC=1 A, VCE=5 V", "VCE(sat)=0.16 V @ IC=1 A, IC/IB=10")
    found = [check("2SC5200", *small[:n])[0] for n in (1, 2, 3)]
    assert found[0].evidence < found[1].evidence < found[2].evidence
    last = found[-1]
    assert last.evidence > 3.0
    assert sum(term.evidence for term in last.evidence_by_reading) == pytest.approx(last.evidence, abs=1e-6)
    assert last.area_ratio.high < 1.0


def test_field_capacitance_of_a_2sa1302_speaks_against_the_marking():
    """About 450 pF against a capacitance prior from ratings (Antenna, Brazil, "Monte um testador de transistores
    bipolares de potencia - II", page 11)."""
    part, words, _ = check("2SA1302", "C_BE=450 pF", population_for=population_for)
    assert part.evidence > 0.0
    assert part.disposition == "hold"
    assert "times likelier if the die is smaller" in words
    assert "bias of C_BE is not stated" in words


@pytest.mark.parametrize("nanofarads", [1.0, 1.2])
def test_capacitance_cannot_decide_between_the_2n3055_at_1_0_and_at_1_2_nanofarads(nanofarads):
    """The marketplace part and the one of newer production (same article, page 6)."""
    part, words, _ = check("2N3055", f"C_BE={nanofarads} nF")
    assert part.disposition == "hold"
    assert abs(part.evidence) < 1.0
    assert words.startswith("Capacitance cannot decide this one")
    assert "Held: an accept asks for readings that would have shown a die of 0.60 of the type's." in words
    assert part.next_measurement is not None
    assert not part.next_measurement.reading.startswith("C_BE")
    assert "Next: " in words
    assert "Caution" in part.next_measurement.recipe


def test_figures_that_rest_on_ratings_alone_say_so():
    _, words, _ = check("2N3055", "C_BE=1.0 nF")
    assert "For C_BE no figure of 2N3055 is on record" in words
    _, measured, _ = check("2SC5200", "C_CB=200 pF @ VCB=10 V")
    assert "no figure of 2SC5200 is on record" not in measured


def test_capacitance_without_bias_is_judged_broadly_and_says_so():
    unstated, words, _ = check("2SC5200", "C_CB=520 pF")
    stated, quiet, _ = check("2SC5200", "C_CB=520 pF @ VCB=0 V")
    assert "taken as 0 V, with a broad uncertainty" in words
    assert "broad uncertainty" not in quiet
    spread = [np.log(p.area_ratio.high / p.area_ratio.low) for p in (unstated, stated)]
    assert spread[0] > spread[1]


def test_gain_without_its_current_is_kept_not_judged_and_asked_for():
    alone, words, _ = check("2SC5200", "hFE=90")
    assert alone.status == "unusable"
    assert alone.evidence is None
    assert "hFE was given without IC: kept, not judged" in words
    assert alone.next_measurement is not None
    beside, more, _ = check("2SC5200", "hFE=90", "C_CB=200 pF @ VCB=10 V")
    without, _, _ = check("2SC5200", "C_CB=200 pF @ VCB=10 V")
    assert beside.evidence == pytest.approx(without.evidence)
    assert "kept, not judged" in more


def test_leakage_alone_is_held_against_its_limit_and_leaves_the_evidence_at_nothing():
    part, words, _ = check("2SC5200", "ICBO=1 uA @ VCB=230 V")
    assert part.disposition == "hold"
    assert part.evidence is None or abs(part.evidence) < 1e-6
    assert "Limits met: ICBO max 5 uA" in words
    assert part.next_measurement is not None


def test_printed_limit_broken_rejects_with_the_limit_named():
    part, words, _ = check("2SC5200", "hFE=20 @ IC=1 A, VCE=5 V")
    assert part.disposition == "reject"
    assert "Outside a printed limit" in words
    assert "minimum of 55" in words
    assert "Next:" not in words


def test_darlington_is_judged_by_limits_only_and_pointed_to_more_of_them():
    part, words, _ = check("BDV64B", "hFE=2000 @ IC=5 A, VCE=4 V")
    assert part.evidence is None
    assert "limits and lot statistics only" in words
    assert part.next_measurement.reading.startswith("VCE(sat)")


def test_type_unknown_to_the_library_is_held_without_a_number():
    part, words, lot = check("XQ-77", "C_CB=118 pF @ VCB=10 V")
    assert part.disposition == "hold"
    assert part.evidence is None
    assert lot.judgement == "no_reference"
    assert "not in the library" in words
    assert part.next_measurement is not None


def test_next_measurement_comes_from_the_kit_given():
    part, _, _ = check("2SC5200", "C_CB=200 pF @ VCB=10 V", kit="kit_two_wire_5a.toml")
    assert "5 A" in part.next_measurement.reading
    assert part.next_measurement.minutes <= 2.2


def test_prior_share_moves_the_probability_and_not_the_limits():
    low, _, _ = check("2SA1302", "C_BE=450 pF", prior_share=0.02)
    high, _, _ = check("2SA1302", "C_BE=450 pF", prior_share=0.5)
    assert low.probability_unfit < high.probability_unfit
    assert low.limits == high.limits


# what cannot be read


def test_every_unreadable_text_is_named_with_its_place_and_how_to_write_it():
    with pytest.raises(UnusableInput) as raised:
        batch_of("2SC5200", ["C_BE=450", "C_CB=12x pF @ VCB=10 V", "C_CB=118 pF @ VCB=10 V", "hFE=100 @ IC=1 q", "foo"])
    problems = raised.value.problems
    assert [p.file for p in problems] == [
        "reading 1, character 6",
        "reading 2, character 6",
        "reading 4, character 11",
        "reading 5, character 1",
    ]
    assert all("C_CB=118 pF @ VCB=10 V" in p.fix for p in problems)
    assert '"hFE=100 @ IC=1 q"' in problems[2].what


def test_no_reading_at_all_is_refused():
    with pytest.raises(UnusableInput, match="no reading was given"):
        batch_of("2SC5200", [])


# contradictions


def test_contradictory_readings_are_named_set_aside_and_the_part_held():
    good, _, _ = check("2SC5200", *LIKE_THE_SHEET)
    texts = (*LIKE_THE_SHEET, "C_CB=300 pF @ VCB=10 V")
    part, words, _ = check("2SC5200", *texts)
    assert part.disposition == "hold"
    assert part.reasons[0].code == "CONTRADICTORY_READINGS"
    assert "C_CB of 200 pF and 300 pF at VCB=10 V" in words
    assert part.next_measurement.reading == "C_CB once more"
    without, _, _ = check("2SC5200", *LIKE_THE_SHEET[1:])
    assert part.evidence == pytest.approx(without.evidence)
    assert part.evidence != pytest.approx(good.evidence)


def test_part_whose_only_readings_contradict_each_other_is_held_without_evidence():
    part, words, _ = check("2N3055", "C_BE=1 nF", "C_BE=4 nF")
    assert part.disposition == "hold"
    assert part.evidence is None
    assert "contradict each other" in words


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("C_CB=200 pF @ VCB=10 V", "C_CB=480 pF @ VCB=0 V"),
        ("C_CB=200 pF @ VCB=10 V", "C_CB=205 pF @ VCB=10 V"),
        ("hFE=134 @ IC=1 A, VCE=5 V", "hFE=80 @ IC=7 A, VCE=5 V"),
        ("C_BE=4 nF", "C_BE=3.2 nF"),
    ],
)
def test_readings_at_other_conditions_or_near_each_other_are_no_contradiction(first, second):
    part, words, _ = check("2SC5200", first, second)
    assert "contradict" not in words
    assert "CONTRADICTORY_READINGS" not in [r.code for r in part.reasons]


def test_repeated_readings_of_one_part_rarely_count_as_contradictory():
    rng = np.random.default_rng(5)
    n, std = 20_000, 0.02
    values = 100.0 * np.exp(rng.normal(0, std, (n, 2)))
    rows = [(i, "hfe", v, {"IC": 1.0, "VCE": 5.0}, std) for i in range(n) for v in values[i]]
    _, reasons = set_aside(batch(n, spot_table=spots(rows)))
    assert len(reasons) / n < 5e-4


# one sentence


def weighed(evidence, reach=0.5, used=("hFE at 1 A",)):
    return PartResult(
        part="1", status="judged", disposition="hold", evidence=evidence, reach_absolute=reach,
        readings_used=list(used), hypotheses=[Hypothesis(name="as marked", probability=0.9)],
    )  # fmt: skip


@pytest.mark.parametrize(
    ("part", "sentence"),
    [
        (weighed(None), None),
        (weighed(5.7), None),
        (weighed(-3.0, 0.52), "fit the marking: they are about 20 times likelier if it is as marked; they would have "
                              "shown a die below 0.52 of the type's"),
        (weighed(-0.1, 0.01, ("C_BE",)), "Capacitance cannot decide this one"),
        (weighed(-0.1, 0.01, ("C_BE",)), "they would not have shown a smaller die"),
        (weighed(0.9), "decide little: they are about 2 times likelier if it is substituted or unfit"),
        (weighed(-0.1), "about as likely if the part is as marked as if it is not"),
    ],
)  # fmt: skip
def test_what_readings_did_not_decide_is_said_in_odds(part, sentence):
    said = first_sentence(part)
    assert (said is None) if sentence is None else (sentence in said)


def test_what_was_seen_without_power_leaves_the_evidence_of_readings_at_exactly_nothing():
    """Rounding there made a sentence about readings of a part that has none."""
    _, words, _ = check("2SA1943", "body weight=7.1 g", "wipe test=comes off", "print seen=agrees")
    assert "no reading speaks for or against it" in words
