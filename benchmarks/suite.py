"""The tests folder by folder: how many passed, what they took; with `--coverage`, which lines of the rooms they ran.

    python -m benchmarks.suite [FOLDER ...]                every folder of tests/ if none is named
    python -m benchmarks.suite --coverage [FOLDER ...]     the folders that keep the computing rooms
    python -m benchmarks.suite --coverage --told           no tests: only what the data of earlier runs come to

Kept in benchmarks/kept/suite.json and coverage.json, a folder at a time, so that one can be run again. Coverage is of
lines, all folders together; its data lie in build/coverage. Ends with 1 where a test failed or a room is below LEAST.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from benchmarks.keep import KEPT, ROOT, now

ROOMS = ("device", "readings", "reference", "screening", "matching", "lots", "stage", "book")
FOLDERS = (*ROOMS, "properties", "outside", "metamorphic")  # whose tests may count for the rooms
LEAST = 90.0  # per cent of the lines of each room
DATA = ROOT / "build" / "coverage"
SLOW = 5.0  # processor seconds of a test that is named on the page


def every_folder() -> tuple[str, ...]:
    """Folders of tests/ that hold tests."""
    return tuple(sorted({path.parent.name for path in (ROOT / "tests").glob("*/test_*.py")}))


def run_folder(folder: str, coverage: bool) -> int:
    """Run the tests of one folder, keep its figures; pytest's exit code."""
    DATA.mkdir(parents=True, exist_ok=True)
    clock = DATA / f"{folder}.clock"
    clock.unlink(missing_ok=True)
    cover: tuple[str, ...] = ()
    if coverage:
        sources = ",".join(f"partscreen/{room}" for room in ROOMS)
        cover = ("-m", "coverage", "run", f"--data-file={DATA / folder}.coverage", f"--source={sources}")
    command = [sys.executable, *cover, "-m", "pytest", "-q", "-p", "benchmarks.clock", f"tests/{folder}"]
    began, load = now(), os.getloadavg()[0]
    ended = subprocess.run(
        command, cwd=ROOT, env={**os.environ, "PARTSCREEN_CLOCK": str(clock)}, check=False
    ).returncode
    keep_folder(folder, clock, began, (load, os.getloadavg()[0]), coverage)
    return ended


def keep_folder(folder: str, clock: Path, began: str, load: tuple[float, float], coverage: bool) -> None:
    """Lay the lines of the clock down as the figures of a folder."""
    path = KEPT / "suite.json"
    found = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    found[folder] = {**figures(read_clock(clock), began, load), "coverage_on": coverage}
    _write(path, dict(sorted(found.items())))


def read_clock(clock: Path) -> list[dict[str, Any]]:
    """The lines of a clock (benchmarks/clock.py); none if no test was run."""
    lines = clock.read_text(encoding="utf-8").splitlines() if clock.exists() else []
    return [json.loads(line) for line in lines]


def figures(took: list[dict[str, Any]], began: str, load: tuple[float, float]) -> dict[str, Any]:
    """What the tests of a folder come to: outcomes file by file, seconds, and the tests that are slow."""
    files: dict[str, Counter[str]] = {}
    for one in took:
        files.setdefault(one["test"].partition("::")[0], Counter())[one["outcome"]] += 1
    return {
        "began": began,
        "load": [round(value, 1) for value in load],
        "wall": round(sum(one["wall"] for one in took), 1),
        "processor": round(sum(one["processor"] for one in took), 1),
        "files": {name: dict(sorted(counts.items())) for name, counts in sorted(files.items())},
        "slow": {
            one["test"]: one["processor"]
            for one in sorted(took, key=lambda one: -one["processor"])
            if one["processor"] >= SLOW
        },
    }


def tell_coverage() -> dict[str, Any]:
    """Combine the data of all folders and keep the lines of each room; what is kept."""
    import coverage

    parts = sorted(str(path) for path in DATA.glob("*.coverage"))
    cover = coverage.Coverage(data_file=str(DATA / "all"), source=[f"partscreen/{room}" for room in ROOMS])
    cover.combine(parts, keep=True)
    rooms: dict[str, Any] = {}
    for room in ROOMS:
        counted = [(path, cover.analysis2(str(path))) for path in sorted((ROOT / "partscreen" / room).rglob("*.py"))]
        lines = sum(len(found[1]) for _, found in counted)
        missed = sum(len(found[3]) for _, found in counted)
        least = {
            str(path.relative_to(ROOT / "partscreen")): round(100 * (1 - len(found[3]) / len(found[1])), 1)
            for path, found in counted
            if found[1] and len(found[3]) / len(found[1]) > 1 - LEAST / 100
        }
        told = {"source": source_lines(room), "lines": lines, "run": lines - missed}
        rooms[room] = {**told, "files_below": dict(sorted(least.items()))}
    load = round(os.getloadavg()[0], 1)
    kept = {"began": now(), "load": [load, load], "folders": [Path(one).stem for one in parts], "rooms": rooms}
    _write(KEPT / "coverage.json", kept)
    return kept


def source_lines(room: str) -> int:
    """Lines of the files of a room, all counted: whether a kept figure is still of about the code that stands."""
    return sum(path.read_bytes().count(b"\n") for path in (ROOT / "partscreen" / room).rglob("*.py"))


def per_cent(room: dict[str, Any]) -> float:
    """Lines run of a room, per cent."""
    return 100.0 * float(room["run"]) / float(room["lines"])


def _write(path: Path, what: dict[str, Any]) -> None:
    KEPT.mkdir(exist_ok=True)
    path.write_text(json.dumps(what, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")


def main(words: Iterable[str]) -> int:
    """Run, keep, print."""
    words = list(words)
    coverage, told = "--coverage" in words, "--told" in words
    folders = [word for word in words if not word.startswith("--")]
    failed = []
    if not told:
        for folder in folders or (FOLDERS if coverage else every_folder()):
            if run_folder(folder, coverage):
                failed.append(folder)
    if failed:
        print(f"tests failed in {', '.join(failed)}", file=sys.stderr)
    low = []
    if coverage:
        for name, room in tell_coverage()["rooms"].items():
            print(f"{name}: {room['run']} of {room['lines']} lines, {per_cent(room):.1f} %")
            low += [name] if per_cent(room) < LEAST else []
    if low:
        print(f"below {LEAST:g} %: {', '.join(low)}", file=sys.stderr)
    return int(bool(failed or low))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
