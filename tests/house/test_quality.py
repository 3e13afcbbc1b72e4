"""The page of quality says what was measured, and nothing else; what it names exists."""

from __future__ import annotations

import json

import pytest

from benchmarks.keep import COMMANDS, KEPT, ROOT
from benchmarks.quality.__main__ import PAGE
from benchmarks.quality.page import NOT, quality_page
from benchmarks.quality.points import POINTS, Counted, Printed
from benchmarks.suite import LEAST, ROOMS, per_cent, source_lines

KEEPERS = sorted({one for point in POINTS for one in point.keepers})


def test_the_page_of_quality_is_what_the_command_writes_from_the_kept_data():
    assert PAGE.read_text(encoding="utf-8") == quality_page(), "python -m benchmarks.quality"


def test_nine_points_are_told_and_each_has_measurements_and_a_keeper():
    assert len(POINTS) == 9
    assert [point.title for point in POINTS if not point.measures or not point.keepers] == []


@pytest.mark.parametrize("keeper", KEEPERS)
def test_what_keeps_a_figure_exists(keeper):
    if keeper.startswith("make "):
        targets = [line.partition(":")[0] for line in (ROOT / "Makefile").read_text(encoding="utf-8").splitlines()]
        assert keeper.removeprefix("make ") in targets
        return
    place, _, name = keeper.partition("::")
    assert (ROOT / place).exists()
    if name:
        assert f"def {name}(" in (ROOT / place).read_text(encoding="utf-8")
    elif (ROOT / place).is_dir():
        assert list((ROOT / place).glob("test_*.py"))


def test_every_measuring_command_exists_and_is_on_the_page_with_its_figure_or_without():
    page = PAGE.read_text(encoding="utf-8")
    named = {one.name for point in POINTS for one in point.measures if isinstance(one, Printed)}
    assert named <= set(COMMANDS)
    for name in named:
        module = ROOT / COMMANDS[name][1].replace(".", "/")
        assert module.with_suffix(".py").exists() or (module / "__main__.py").exists(), name
        known = (KEPT / f"{name}.json").exists()
        assert known or f"`python {' '.join(COMMANDS[name])}`): {NOT}." in page


def test_every_folder_and_file_of_tests_that_a_point_counts_exists():
    told = [name for point in POINTS for one in point.measures if isinstance(one, Counted) for name in one.of]
    assert [name for name in told if not (ROOT / name).exists()] == []


def test_the_kept_lines_of_every_computing_room_reach_their_share():
    found = json.loads((KEPT / "coverage.json").read_text(encoding="utf-8"))["rooms"]
    assert sorted(found) == sorted(ROOMS)
    assert {name: round(per_cent(room), 1) for name, room in found.items() if per_cent(room) < LEAST} == {}


@pytest.mark.parametrize("room", ROOMS)
def test_the_lines_of_a_room_were_counted_when_it_was_about_as_it_stands(room):
    found = json.loads((KEPT / "coverage.json").read_text(encoding="utf-8"))["rooms"][room]
    assert source_lines(room) == pytest.approx(found["source"], rel=0.1), "make coverage, then benchmarks.quality"
