"""Readings of 2N3773 published by others: neither the gain at a low current nor an unusual capacitance is a violation.

Source: "Monte um testador de transistores bipolares de potencia - II" (Antenna, Brazil), pages 7 and 8, as collected
in the folder of facts (field_measurements.csv). The gain of about 190 is taken as read at 1.16 A, the current of the
same part's power test (assumption: the article does not state it apart).
"""

import csv

import numpy as np
import pytest

from partscreen.readings.tables import Lot
from partscreen.reference.library import Library
from partscreen.screening.screen import screen_batch
from tests.facts import FACTS, needs_facts
from tests.screening.bench import batch, spots

pytestmark = needs_facts


def field_values(quantity, words):
    with (FACTS / "field_measurements.csv").open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["type_number"] == "2N3773" and r["quantity"] == quantity]
    return [float(r["value"]) for r in rows if words in r["conditions"]]


def screened(rows, maker=None, **extra):
    lot = Lot("field", type="2N3773", maker=maker, extra=extra)
    return screen_batch(batch(1, spot_table=spots(rows), lots=(lot,)), Library.load())[0].parts[0]


def codes(part):
    return {r.code for r in part.reasons}


def test_gain_of_190_at_1_16_amperes_is_no_violation_of_a_limit_at_8_amperes():
    (gain,) = field_values("hFE", "RCA hometaxial")
    (current,) = field_values("power_test_current_survived", "RCA hometaxial")
    (voltage,) = field_values("power_test_voltage_survived", "RCA hometaxial")
    assert (gain, current) == (190, 1.16)
    # "about 190": taken as known to a tenth (assumption).
    part = screened([(0, "hfe", gain, {"IC": current, "VCE": voltage}, 0.1)])
    assert part.disposition == "hold"
    at_eight = [x for x in part.limits if x.symbol == "hFE" and "IC=8 A" in x.conditions]
    assert at_eight
    assert {x.reached for x in at_eight} == {"not_reached"}
    assert not {"LIMIT_BROKEN", "LIMIT_UNCONFIRMED"} & codes(part)


@pytest.mark.parametrize(("words", "farads"), [("RCA hometaxial", 0.73e-9), ("MOSPEC", 8e-9)])
def test_capacitance_far_from_others_is_not_rejected_without_a_maker_or_process_reference(words, farads):
    (nanofarads,) = field_values("C_BE", words)
    assert nanofarads * 1e-9 == pytest.approx(farads)
    part = screened([(0, "c_be", nanofarads * 1e-9, {}, 0.2)])
    assert part.disposition == "hold"
    assert "CAPACITANCE_NO_REFERENCE" in codes(part)
    assert not {"LIMIT_BROKEN", "LIMIT_UNCONFIRMED", "MISFIT"} & codes(part)
    told = next(r for r in part.reasons if r.code == "CAPACITANCE_NO_REFERENCE")
    assert "no reference for this maker or process" in told.sentence


def test_published_reading_serves_as_reference_only_for_the_maker_and_process_named():
    rows = [(0, "c_be", 0.75e-9, {}, 0.1)]
    named = screened(rows, maker="RCA", process="hometaxial")
    reference = next(r for r in named.reasons if r.code == "CAPACITANCE_REFERENCE")
    assert reference.figures["reference"] == pytest.approx(0.73e-9)
    assert reference.source
    assert "CAPACITANCE_NO_REFERENCE" in codes(screened(rows, maker="RCA"))
    other = screened(rows, maker="Toshiba")
    assert next(r for r in other.reasons if r.code == "CAPACITANCE_REFERENCE").figures["reference"] == pytest.approx(
        1.7e-9
    )
    assert other.disposition == named.disposition == "hold"
    assert np.isfinite(reference.figures["ratio"])
