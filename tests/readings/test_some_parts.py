"""A batch cut into bundles of its lots holds what the batch held, part by part."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from partscreen.readings.import_files import import_files
from partscreen.readings.some_parts import Bundles, take_parts

ROWS = """lot,part,date_code,IC [A],VCE [V],hFE,VBE [V],quantity,value,unit,conditions
A1,T1,9914,1,5,90,0.66,,,,
B1,T9,,1,5,70,0.65,,,,
A1,T1,,3,5,80,0.70,,,,
A1,T2,,1,5,91,0.66,,,,
C1,T5,0231,,,,,C_BE,5,nF,VEB=0 V
B1,T9,,3,5,61,0.69,,,,
A1,T2,,,,,,C_CB,200,pF,VCB=10 V
B1,T8,0402,1,5,71,0.65,,,,
C1,T5,,1,5,99,0.64,,,,
"""


@pytest.fixture(scope="module")
def batch(tmp_path_factory):
    path = tmp_path_factory.mktemp("bag") / "bag.csv"
    path.write_text(ROWS, encoding="utf-8")
    found = import_files([path])
    assert [lot.name for lot in found.lots] == ["A1", "B1", "C1"]
    assert found.n_parts == 5
    return found


def same(one, other) -> None:
    assert one.part_names == other.part_names
    assert [lot.name for lot in one.lots] == [lot.name for lot in other.lots]
    np.testing.assert_array_equal(one.part_lot, other.part_lot)
    assert (one.quality, one.condition, one.date_codes) == (other.quality, other.condition, other.date_codes)
    assert one.spots.conditions == other.spots.conditions
    for mine, theirs in ((one.points, other.points), (one.spots, other.spots)):
        for field in fields(mine):
            if field.name != "conditions":
                np.testing.assert_array_equal(getattr(mine, field.name), getattr(theirs, field.name), field.name)


@pytest.mark.parametrize("lots", [(0,), (1,), (2,), (0, 2), (1, 2), (0, 1, 2)])
def test_a_bundle_holds_what_is_left_when_all_other_lots_are_taken_out(batch, lots):
    cut, numbers = Bundles(batch).take(lots)
    same(cut, take_parts(batch, np.isin(batch.part_lot, lots)))
    assert [batch.part_names[number] for number in numbers] == list(cut.part_names)


def test_lots_stand_in_the_order_asked_for_and_parts_keep_theirs(batch):
    cut, _ = Bundles(batch).take((2, 0))
    assert [lot.name for lot in cut.lots] == ["C1", "A1"]
    assert [(name, cut.lots[lot].name) for name, lot in zip(cut.part_names, cut.part_lot, strict=True)] == [
        ("T1", "A1"),
        ("T2", "A1"),
        ("T5", "C1"),
    ]


def test_only_some_parts_of_a_lot_are_taken_with_their_rows(batch):
    number = batch.part_names.index("T2")
    cut, _ = Bundles(batch).take((0,), np.array([number]))
    assert cut.part_names == ("T2",)
    assert cut.points.part.tolist() == [0]
    np.testing.assert_allclose(cut.points.vbe, 0.66)
    np.testing.assert_allclose(cut.spots.value, 200e-12)
    assert cut.date_codes == {}


def test_bundles_of_one_lot_each_lose_and_double_no_row(batch):
    cuts = [Bundles(batch).take((lot,))[0] for lot in range(len(batch.lots))]
    assert sorted(name for cut in cuts for name in cut.part_names) == sorted(batch.part_names)
    assert sum(cut.points.part.size for cut in cuts) == batch.points.part.size
    assert sum(cut.spots.part.size for cut in cuts) == batch.spots.part.size


def test_a_bundle_of_no_lot_is_empty(batch):
    cut, numbers = Bundles(batch).take(())
    assert (cut.n_parts, cut.points.part.size, numbers.size) == (0, 0, 0)
