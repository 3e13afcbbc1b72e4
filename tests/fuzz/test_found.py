"""What the search has found once is never found again; the seeds it starts from are sound."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz.doors import DOORS
from tests.fuzz.run import FOUND
from tests.fuzz.seeds import WORDS, seeds

KEPT = sorted(path for path in FOUND.rglob("*") if path.is_file())


@pytest.mark.parametrize("path", KEPT, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_an_input_that_broke_a_door_once_is_told_of(path: Path) -> None:
    DOORS[path.parent.name](path.read_bytes())


@pytest.mark.parametrize("door", DOORS)
def test_every_seed_of_the_search_passes_its_door(door: str) -> None:
    found = list(seeds(door))
    assert len(found) >= 5
    assert WORDS[door]
    for seed in found:
        DOORS[door](seed)


def test_every_door_is_searched_by_make_fuzz() -> None:
    said = (Path(__file__).resolve().parents[2] / "Makefile").read_text(encoding="utf-8")
    line = next(line for line in said.splitlines() if line.startswith("FUZZED"))
    assert set(line.partition("=")[2].split()) == set(DOORS)
