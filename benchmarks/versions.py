"""The tests of the rooms with the oldest or newest libraries allowed, a folder at a time: how many passed.

    make minimum                    every folder of FOLDERS with the oldest versions, in an environment of its own
    make newest ROOMS="book page"   some of them with the newest
    .venv-minimum/bin/python -m benchmarks.versions minimum book page      the same of an environment that stands

Kept in benchmarks/kept/minimum.json and newest.json with the versions that lay there. Ends with 1 where a test failed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Sequence
from importlib.metadata import version
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from benchmarks.keep import KEPT, ROOT, now
from benchmarks.suite import DATA, figures, read_clock

# Folders and files of tests/ whose answers older and newer libraries could change; the browser, the pages of docs and
# the studies are left to `make test`.
FOLDERS = (
    "test_quantities.py", "test_whole_files.py", "reference", "simulate", "device", "readings", "screening", "matching",
    "stage", "lots", "report", "book", "page", "cli",
)  # fmt: skip
TARGETS = ("minimum", "newest")


def run_folder(target: str, folder: str) -> tuple[int, dict[str, Any]]:
    """Run the tests of one folder with the libraries of this interpreter; pytest's exit code and the figures."""
    DATA.mkdir(parents=True, exist_ok=True)
    clock = DATA / f"{target}_{folder}.clock"
    clock.unlink(missing_ok=True)
    options = ("-q", "-p", "no:cacheprovider", "-p", "benchmarks.clock")
    began, load = now(), os.getloadavg()[0]
    ended = subprocess.run(
        [sys.executable, "-m", "pytest", *options, f"tests/{folder}"],
        cwd=ROOT,
        env={**os.environ, "PARTSCREEN_CLOCK": str(clock)},
        check=False,
    ).returncode
    return ended, figures(read_clock(clock), began, (load, os.getloadavg()[0]))


def keep_folder(target: str, folder: str, of_folder: dict[str, Any]) -> None:
    """Lay the figures of a folder down beside those of the others, with the versions that lie here."""
    path = KEPT / f"{target}.json"
    found = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    folders = {**found.get("folders", {}), folder: of_folder}
    kept = {
        "python": ".".join(str(part) for part in sys.version_info[:3]),
        "libraries": libraries(),
        "folders": {name: folders[name] for name in FOLDERS if name in folders},
    }
    KEPT.mkdir(exist_ok=True)
    path.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")


def libraries() -> dict[str, str]:
    """Version here of each library that the program asks for by name."""
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    return {name: version(name) for name in sorted(canonicalize_name(Requirement(line).name) for line in asked)}


def counted(folders: dict[str, dict[str, Any]]) -> Counter[str]:
    """Outcomes of the tests of all folders together."""
    counts = Counter[str]()
    for told in folders.values():
        for one in told["files"].values():
            counts.update(one)
    return counts


def main(words: Sequence[str]) -> int:
    """Run, keep, print."""
    target, folders = (words[0] if words else ""), tuple(words[1:]) or FOLDERS
    unknown = [folder for folder in folders if folder not in FOLDERS]
    if target not in TARGETS or unknown:
        print(f"say one of {', '.join(TARGETS)}, then none or some of {', '.join(FOLDERS)}", file=sys.stderr)
        return 2
    failed = []
    for folder in folders:
        ended, of_folder = run_folder(target, folder)
        keep_folder(target, folder, of_folder)
        failed += [folder] if ended else []
    found = json.loads((KEPT / f"{target}.json").read_text(encoding="utf-8"))["folders"]
    counts = counted(found)
    print(f"{target}, {len(found)} folders: {counts['passed']:,} passed, {counts['failed']:,} failed")
    if failed:
        print(f"tests failed in {', '.join(failed)}", file=sys.stderr)
    return int(bool(failed))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
