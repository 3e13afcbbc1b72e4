"""How many inputs the coverage-guided search tried on each parser, and what it found (needs atheris).

Run: python -m benchmarks.fuzz_count [SECONDS]. Each door of tests/fuzz is searched so long (600 s if not said). A
finding is a file in tests/fuzz/found: those there before are kept regression tests, new ones are faults to mend.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys

from benchmarks.keep import ROOT

FOUND = ROOT / "tests" / "fuzz" / "found"
DOORS = ("text", "workbook", "json", "toml", "reading_string")


def findings(door: str) -> set[str]:
    """Names of the files that broke a door once."""
    return {path.name for path in (FOUND / door).glob("*")}


def search(door: str, seconds: int) -> str:
    """Search one door; the line that is told."""
    before = findings(door)
    command = [sys.executable, "-m", "tests.fuzz.run", door, "--seconds", str(seconds)]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, errors="replace", check=False)
    counted = re.search(r"stat::number_of_executed_units:\s*(\d+)", ran.stderr)
    if counted is None:
        raise SystemExit(f"{door}: ended with {ran.returncode} and told no count:\n{ran.stderr[-2000:]}")
    new = len(findings(door) - before)
    return f"{door}: {int(counted[1]):,} inputs in {seconds} s, {new} new findings, {len(before)} of earlier runs"


def main() -> None:
    """Print a line a door."""
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else int(os.environ.get("FUZZ_SECONDS", "600"))
    for door in DOORS:
        print(search(door, seconds), flush=True)


if __name__ == "__main__":
    main()
