"""What measuring commands print, kept with the day and the load of the machine, so that docs/quality.md can tell it.

    python -m benchmarks.keep NAME ...               run these commands (see COMMANDS) and keep what each prints
    python -m benchmarks.keep NAME -- 1000 10000     one of them, with other arguments than it has by itself
    python -m benchmarks.keep --all                  all of them; some take many minutes

One file a command in benchmarks/kept/. A command that ends with an error is not kept. Nothing is written there by hand.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / "benchmarks" / "kept"

FUZZED = ("text", "workbook", "json", "toml", "reading_string", "archive")  # doors of tests/fuzz

# name -> arguments of `python`; what the command prints to standard output is kept
COMMANDS: dict[str, tuple[str, ...]] = {
    "volume": ("-m", "benchmarks.volume"),
    "volume_ratios": ("-m", "benchmarks.volume_ratios"),
    "whole_job": ("-m", "benchmarks.whole_job"),
    "fit_speed": ("-m", "benchmarks.fit_speed"),
    "book_volume": ("-m", "benchmarks.book_volume", "100000"),
    "report_size": ("-m", "benchmarks.report_size"),
    "page_jobs": ("-m", "benchmarks.page_jobs"),
    "page_speed": ("-m", "benchmarks.page_speed"),
    **{f"fuzz_{door}": ("-m", "benchmarks.fuzz_count", door) for door in FUZZED},
    "audit": ("-m", "tests.house.audit"),
    "tree": ("-m", "benchmarks.tree"),
}


ANSWERS = {"audit": (0, 3, 4)}  # exit codes that are an answer too


@dataclass(frozen=True, slots=True)
class Kept:
    """What one command printed; when it began (UTC), load of the machine before and after, its processors."""

    command: str
    began: str
    load: tuple[float, float]
    processors: int
    python: str
    lines: tuple[str, ...]


def now() -> str:
    """The minute, UTC."""
    return datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")


def said(arguments: Sequence[str]) -> str:
    """A command as a reader would type it."""
    return " ".join(("python", *arguments))


def keep(name: str, kept: Kept) -> None:
    """Write one file."""
    KEPT.mkdir(exist_ok=True)
    text = json.dumps(asdict(kept), indent=1, ensure_ascii=False)
    (KEPT / f"{name}.json").write_text(text + "\n", encoding="utf-8", newline="\n")


def kept(name: str) -> Kept | None:
    """What was kept of a command; None if it was never measured."""
    path = KEPT / f"{name}.json"
    if not path.exists():
        return None
    found = json.loads(path.read_text(encoding="utf-8"))
    first, last = found.pop("load")
    return Kept(**{**found, "load": (first, last), "lines": tuple(found["lines"])})


def run(name: str, arguments: Sequence[str]) -> Kept | None:
    """Run a command and keep it; None if it ended with an error."""
    began, load = now(), os.getloadavg()[0]
    ran = subprocess.run([sys.executable, *arguments], cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
    if ran.returncode not in ANSWERS.get(name, (0,)):
        print(f"{name}: ended with {ran.returncode}, not kept", file=sys.stderr)
        return None
    lines = tuple(line.strip() for line in ran.stdout.splitlines() if line.strip())
    python = ".".join(str(part) for part in sys.version_info[:3])
    loads = (round(load, 1), round(os.getloadavg()[0], 1))
    made = Kept(said(arguments), began, loads, os.cpu_count() or 1, python, lines)
    keep(name, made)
    return made


def main(names: Sequence[str]) -> int:
    """Measure and keep; 1 if a command ended with an error, 2 for a name that is not known."""
    more: tuple[str, ...] = ()
    if "--" in names:
        at = list(names).index("--")
        names, more = names[:at], tuple(names[at + 1 :])
    names = tuple(COMMANDS) if "--all" in names else names
    unknown = [name for name in names if name not in COMMANDS]
    if unknown or not names:
        print(f"not known: {', '.join(unknown) or '(no name)'}; there are {', '.join(COMMANDS)}", file=sys.stderr)
        return 2
    made = [run(name, (*COMMANDS[name][:2], *(more or COMMANDS[name][2:]))) for name in names]
    for one in made:
        print("\n".join(one.lines) if one else "")
    return int(any(one is None for one in made))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
