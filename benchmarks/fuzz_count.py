"""How many inputs the coverage-guided search tried on a parser, and what it found (needs atheris).

Run: python -m benchmarks.fuzz_count DOOR [SECONDS]. A door of tests/fuzz is searched so long (600 s if not said). A
finding is a file in tests/fuzz/found: those there before are kept regression tests, a new one is a fault to mend, ends
the search, and the command with it: only a search that ran to its end without a finding is kept as a figure.
"""

from __future__ import annotations

import os
import re
import resource
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOUND = ROOT / "tests" / "fuzz" / "found"


def findings(door: str) -> set[str]:
    """Names of the files that broke a door once."""
    return {path.name for path in (FOUND / door).glob("*")}


def search(door: str, seconds: int) -> str:
    """Search one door; the line that is told."""
    before = findings(door)
    command = [sys.executable, "-m", "tests.fuzz.run", door, "--seconds", str(seconds)]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, errors="replace", check=False)
    counted = re.search(r"stat::number_of_executed_units:\s*(\d+)", ran.stderr)
    new = findings(door) - before
    if counted is None or ran.returncode or new:
        what = f"new findings: {', '.join(sorted(new)) or 'none'}"
        raise SystemExit(f"{door}: ended with {ran.returncode}, {what}:\n{ran.stdout[-4000:]}\n{ran.stderr[-4000:]}")
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (
        f"{door}: {int(counted[1]):,} inputs in {seconds} s ({used.ru_utime + used.ru_stime:.0f} processor seconds), "
        f"0 new findings, {len(before)} of earlier runs"
    )


def main() -> None:
    """Print the line of one door."""
    seconds = int(sys.argv[2]) if len(sys.argv) > 2 else int(os.environ.get("FUZZ_SECONDS", "600"))
    print(search(sys.argv[1], seconds), flush=True)


if __name__ == "__main__":
    main()
