"""The demo scenario: made again byte for byte, true to what it claims, labelled invented, read back by the importer."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import pytest

from partscreen.simulate.kits import KITS
from partscreen.simulate.make_demo import make_demo
from partscreen.simulate.parts import Kind
from partscreen.simulate.scenario import (
    CONTROL,
    DEMO_LOTS,
    LIMITED_PART,
    copy_demo_files,
    demo_files,
    demo_truth,
    lot_readings,
    reading_names,
)

BY_NAME = {lot.name: lot for lot in DEMO_LOTS}


def test_the_shipped_files_are_what_the_seeded_command_makes(tmp_path):
    pytest.importorskip("openpyxl")
    make_demo(tmp_path)
    shipped = demo_files().lots.parent
    names = sorted(p.name for p in tmp_path.iterdir())
    assert names == sorted(p.name for p in shipped.iterdir())
    for name in names:
        assert (tmp_path / name).read_bytes() == (shipped / name).read_bytes(), name


def test_files_are_small_and_every_one_says_that_it_is_invented():
    from python_calamine import CalamineWorkbook

    files = demo_files()
    paths = [*files.readings, files.lots, files.kit, files.readme]
    assert sum(p.stat().st_size for p in paths) < 600_000
    for path in paths:
        if path.suffix == ".xlsx":
            head = str(CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python()[0])
        else:
            head = path.read_text(encoding="latin-1")[:200]
        assert "invented data" in head.lower(), path.name


def test_copied_files_are_complete_and_a_missing_one_is_named(tmp_path):
    files = copy_demo_files(tmp_path / "new")
    assert [p.name for p in files.readings] == list(reading_names())
    files.readings[0].unlink()
    with pytest.raises(FileNotFoundError, match=r"K1\.csv"):
        demo_files(tmp_path / "new")


def test_suppliers_ship_what_the_scenario_says():
    truth = demo_truth()
    assert len(truth) == sum(len(lot.kinds) for lot in DEMO_LOTS)
    for lot in DEMO_LOTS:
        kinds = Counter(t.kind for (name, _), t in truth.items() if name == lot.name)
        assert kinds == Counter(lot.kinds)
        if lot.supplier == "Alder" or lot.known_good:
            assert set(kinds) == {Kind.SOUND}
        elif lot.supplier == "Birch":
            assert set(kinds) == {Kind.SMALLER_DIE}
        else:
            assert len(kinds) > 2
    assert all(0.45 <= t.area <= 0.60 for t in truth.values() if t.kind is Kind.SMALLER_DIE)
    everyone = Counter(t.kind for t in truth.values())
    assert everyone[Kind.OPEN] == everyone[Kind.REVERSED] == 1
    assert 8 <= len(DEMO_LOTS) <= 10
    assert {lot.supplier for lot in DEMO_LOTS} == {"Alder", "Birch", "Cedar", "surviving channel"}


@pytest.mark.parametrize("name", ["A1", "K1", "A2"])
def test_sound_parts_pass_every_gain_limit_they_were_read_at(name):
    from partscreen.simulate.cards import type_card

    readings = lot_readings(BY_NAME[name])
    for limit in type_card(BY_NAME[name].type_number).final_test:
        at = np.argmin(np.abs(readings.gain_ic[0] - limit.ic))
        assert readings.gain_ic[0, at] == limit.ic
        assert np.all(readings.hfe[:, at] > limit.low)
        assert np.all(readings.hfe[:, at] < limit.high)


def test_smaller_dies_break_the_printed_gain_limit_at_seven_ampere_where_physics_says_so():
    # 2SC5200: hFE 35 min at 7 A, 5 V (Fairchild Rev. A2). At half the area 7 A loads the die as 14 A does a whole one,
    # where the sheet's typical curve has already fallen below 35.
    readings = lot_readings(BY_NAME["B1"])
    at = int(np.argmin(np.abs(readings.gain_ic[0] - 7.0)))
    below = readings.hfe[:, at] < 35
    assert 5 <= below.sum() < len(below)
    assert np.all(readings.hfe[:, int(np.argmin(np.abs(readings.gain_ic[0] - 1.0)))] > 55)


def test_control_piece_is_read_first_after_ten_parts_and_last():
    names = lot_readings(BY_NAME["A1"]).names
    assert [i for i, n in enumerate(names) if n == CONTROL] == [0, 11, 14]


def test_one_run_stands_at_the_supply_limit():
    readings = lot_readings(BY_NAME["B2"])
    clipped = {readings.names[i] for i in np.flatnonzero(readings.clipped.any(axis=1))}
    assert clipped == {LIMITED_PART}


def test_bench_two_reads_to_one_ampere_and_shows_the_warming():
    readings = lot_readings(BY_NAME["C2"])
    assert np.nanmax(readings.gain_ic) == KITS[1.0].ic_max
    n = readings.gain_ic.shape[1] // 2
    assert np.mean(readings.gain_vbe[:, 2:n] - readings.gain_vbe[:, n + 1 :][:, ::-1][:, 2:n]) > 1e-4


def test_no_name_of_a_person_and_no_type_but_the_four_stands_in_the_files():
    files = demo_files()
    text = "".join(
        p.read_text(encoding="latin-1") for p in [*files.readings, files.lots, files.readme] if p.suffix != ".xlsx"
    )
    types = set(re.findall(r"\b(?:2S[A-D]\d{3,4}|MJL?\w*\d{4,5})\b", text))
    assert types == {"2SC5200", "2SA1943", "MJL21194", "MJL21193"}
