"""Every held part of a lot is told what to read next; the others are not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from partscreen.readings.instruments.kit import load_kit
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.screening.screen import screen_batch
from tests.screening.bench import batch
from tests.screening.test_next_measurement import sweeps

LIBRARY = Library.load()
KIT = load_kit(Path(__file__).resolve().parents[2] / "docs" / "examples" / "kit_two_wire_5a.toml")


def only_this_type(of, *, gain_group=None):
    return population_for(of, gain_group=gain_group) if of.name == "2SC5200" else None


def screened(n, table, type_name="2SC5200", **more):
    read = batch(n, table, type_name=type_name, **more)
    (lot,) = screen_batch(read, LIBRARY, kit=KIT, population_for=only_this_type)
    return lot.parts


def test_held_parts_of_a_lot_get_a_next_measurement_and_decided_ones_do_not():
    table = sweeps(8, (0.02, 0.1, 0.5))
    low = np.isin(table.part, (2,))
    table = replace(table, hfe=np.where(low, 0.3 * table.hfe, table.hfe))
    parts = screened(8, table, condition={5: ("dead", "SHORT", "shorted")})
    assert parts[5].next_measurement is None
    advised = [p for p in parts if p.next_measurement is not None]
    assert advised
    for part in parts:
        held = part.disposition == "hold" and part.reasons[0].code != "MISFIT"
        assert (part.next_measurement is not None) == held, part.part
    assert all(p.next_measurement.recipe.startswith("Caution:") for p in advised if p.next_measurement.minutes)


def test_advice_of_a_lot_is_for_readings_not_yet_taken():
    parts = screened(6, sweeps(6, (0.02, 0.1, 0.5)))
    readings = {p.next_measurement.reading for p in parts if p.next_measurement}
    assert readings
    assert all(r.startswith(("C_CB", "C_BE", "VCE(sat)", "hFE and VBE at 10 mA and 5 A")) for r in readings)


def test_lot_of_a_type_unknown_to_the_library_is_told_where_to_begin():
    parts = screened(3, sweeps(3), type_name="XQ-77")
    assert {p.disposition for p in parts} == {"hold"}
    assert {p.next_measurement.reading.split()[0] for p in parts} == {"C_CB"}
