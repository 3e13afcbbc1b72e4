"""What the simulator writes, the importer reads: the demo's files through the ordinary door, value by value."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.quantities import ZERO_CELSIUS
from partscreen.readings.import_files import read_files
from partscreen.readings.instruments.kit import load_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Sweep
from partscreen.simulate.scenario import CONTROL, DEMO_LOTS, LIMITED_PART, demo_files, demo_truth, lot_readings
from partscreen.simulate.write_files import rows_of

FILES = demo_files()


@pytest.fixture(scope="module")
def batch():
    return read_files(FILES.readings, lot_sheet=FILES.lots, kit=FILES.kit).batch


def test_every_part_and_lot_is_read_without_a_problem(batch):
    assert batch.problems == ()
    assert batch.not_judged == ()
    lots = [batch.lots[k].name for k in batch.part_lot]
    found = set(zip(lots, batch.part_names, strict=True))
    assert found == set(demo_truth()) | {("A1", CONTROL)}
    assert batch.n_parts == len(found)


def test_lot_sheet_says_type_supplier_and_known_good(batch):
    told = {lot.name: (lot.type, lot.supplier, lot.known_good, lot.count) for lot in batch.lots}
    assert told == {x.name: (x.type_number, x.supplier, x.known_good, len(x.kinds)) for x in DEMO_LOTS}


@pytest.mark.parametrize("lot", DEMO_LOTS, ids=lambda lot: lot.name)
def test_sweep_values_come_back_within_the_rounding_of_the_file(batch, lot):
    written = sorted(rows_of(lot_readings(lot), (CONTROL,)), key=lambda r: (r.part, r.sweep, r.ic, r.ib, r.vbe, r.vce))
    points = batch.points
    of_lot = np.flatnonzero(np.array([batch.lots[batch.part_lot[p]].name == lot.name for p in points.part]))
    sweeps = {int(Sweep.GAIN): "gain", int(Sweep.SATURATION): "saturation"}

    def key(i: int) -> tuple[str | float, ...]:
        values = (float(column[i]) for column in (points.ic, points.ib, points.vbe, points.vce))
        return batch.part_names[points.part[i]], sweeps[int(points.sweep[i])], *values

    order = sorted(of_lot.tolist(), key=key)
    assert [batch.part_names[points.part[i]] for i in order] == [r.part for r in written]
    # Five figures of current; 0.1 mV, in the base-stepped file 1 mV of VCE; a tenth of a degree.
    for name, tolerance in (("ic", None), ("ib", None), ("vce", 6e-4), ("vbe", 6e-5)):
        back, asked = getattr(points, name)[order], np.array([getattr(r, name) for r in written])
        atol, rtol = (1e-12, 6e-5) if tolerance is None else (tolerance, 0.0)
        assert np.allclose(back, np.abs(asked), atol=atol, rtol=rtol), name
    if lot.sitting.logged:
        assert np.allclose(points.case_temp[order] - ZERO_CELSIUS, [r.case for r in written], atol=0.051)
    assert np.all(points.pulsed[order] == lot.kit.pulsed)
    assert points.control[order].tolist() == [r.part == CONTROL for r in written]


def test_capacitances_come_back_to_the_picofarad_with_their_bias(batch):
    spots = batch.spots
    asked = {}
    for lot in DEMO_LOTS:
        readings = lot_readings(lot)
        for i, name in enumerate(readings.names):
            for (junction, bias), value in zip(lot.plan.capacitance, readings.cap[i], strict=True):
                if name != CONTROL and np.isfinite(value):
                    asked[name, ("c_be", "c_cb")[junction]] = (float(value), bias)
    back = {}
    for i in np.flatnonzero(~spots.control):
        quantity = str(spots.quantity[i])
        bias = spots.conditions[i]["VEB" if quantity == "c_be" else "VCB"]
        back[batch.part_names[spots.part[i]], quantity] = (float(spots.value[i]), bias)
    assert back.keys() == asked.keys()
    for what, (value, bias) in asked.items():
        assert back[what] == (pytest.approx(value, abs=0.6e-12), bias)


def test_the_troubles_of_the_scenario_are_found_and_no_sound_part_is_called_dead(batch):
    polarity = {"2SC5200": "NPN", "MJL21194": "NPN", "2SA1943": "PNP", "MJL21193": "PNP"}
    checked = check_quality(batch, load_kit(FILES.kit), lambda lot: polarity.get(lot.type or ""))
    codes = {name: {note.code for note in checked.quality.get(i, ())} for i, name in enumerate(checked.part_names)}
    status = {checked.part_names[i]: (c.status, c.code) for i, c in checked.condition.items()}
    assert status == {"C1-06": ("dead", "OPEN"), "C1-10": ("wrong_polarity", "SWAPPED_LEADS")}
    assert "COMPLIANCE" in codes[LIMITED_PART]
    assert "HFE_DISAGREES" in codes["A2-02"]  # hFE typed as 0,435
    assert all("HEATING_DRIFT" in codes[f"C2-{k:02d}"] for k in range(1, 11))
    quiet = [name for name in codes if name[:2] in ("K1", "A1", "A3", "B1")]
    assert not [name for name in quiet if codes[name]]
