"""Volume: a delivery CSV (or Parquet) in to JSON out at three sizes, how time grows, and ratios against other ways.

Run: python -m benchmarks.volume [PARTS ...] [--parquet] [--full] [--lot-size N]. Aims are for two quiet cores:
100,000 parts in under 120 s and 3 GiB, exponent of growth at most 1.05 from 1,000 parts on. Processor seconds are of
all processes together; other work on the machine lengthens them less than the wall seconds. The load stands beside.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.volume_bag import LOT_SIZE, TYPE
from benchmarks.whole_job import COMMAND, _children_seconds


@dataclass(frozen=True, slots=True)
class Ran:
    """Wall and processor seconds of a command, the largest memory of its processes together [GiB], load after it."""

    wall: float
    cpu: float
    memory: float
    load: float


def ran(arguments: list[str], accept: tuple[int, ...]) -> Ran:
    """Run a command and watch the memory of its processes (shared pages counted once, where Linux tells)."""
    start, cpu = time.perf_counter(), _children_seconds()
    process = subprocess.Popen(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    seen = [0.0]
    watcher = threading.Thread(target=_watch, args=(process, seen), daemon=True)
    watcher.start()
    _, errors = process.communicate()
    watcher.join()
    if process.returncode not in accept:
        raise SystemExit(f"{arguments} ended with {process.returncode}:\n{errors}")
    return Ran(time.perf_counter() - start, _children_seconds() - cpu, max(seen), os.getloadavg()[0])


def _watch(process: subprocess.Popen[str], seen: list[float]) -> None:
    while process.poll() is None:
        seen.append(sum(_pss(pid) for pid in _family(process.pid)) / 2**20)
        time.sleep(0.25)


def _family(pid: int) -> list[int]:
    out = [pid]
    try:
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text().split():
                out += _family(int(child))
    except OSError:
        pass
    return out


def _pss(pid: int) -> float:
    """Proportional size of a process [KiB]; 0 where it is gone or the system does not tell."""
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(float(line.split()[1]) for line in lines if line.startswith("Pss:"))


def exponent(parts: list[int], seconds: list[float]) -> float:
    """Power of the number of parts that the seconds grow with (least squares in logs)."""
    return float(np.polyfit(np.log(parts), np.log(seconds), 1)[0])


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser()
    asked.add_argument("parts", nargs="*", type=int, default=[1_000, 10_000, 100_000])
    asked.add_argument("--parquet", action="store_true")
    asked.add_argument("--full", action="store_true", help="also with covariances and curves")
    asked.add_argument("--lot-size", type=int, default=LOT_SIZE)
    told = asked.parse_args()
    rows: list[tuple[int, Ran]] = []
    with tempfile.TemporaryDirectory() as folder:
        for n_parts in told.parts:
            path = Path(folder) / f"delivery{n_parts}{'.parquet' if told.parquet else '.csv'}"
            make = [sys.executable, "-m", "benchmarks.volume_bag", str(n_parts), str(path), str(told.lot_size)]
            subprocess.run(make, check=True)
            floor = ran([sys.executable, "-c", _floor(path)], (0,))
            for extra in ([], ["--brief"]) if told.full else (["--brief"],):
                out = Path(folder) / "result.json"
                command = [*COMMAND, "screen", str(path), "--type", TYPE, "--json", str(out), *extra]
                took = ran(command, (0, 3, 4, 5))
                size = out.stat().st_size / 1e6
                print(
                    f"{n_parts} parts{' brief' if extra else ''}: {took.wall:.1f} s, {took.cpu:.1f} processor seconds "
                    f"({1e3 * took.cpu / n_parts:.2f} ms a part), {took.memory:.2f} GiB, JSON {size:.0f} MB, load "
                    f"{took.load:.1f}; pandas reading the file: {floor.cpu:.1f} processor seconds, ratio "
                    f"{took.cpu / floor.cpu:.0f}",
                    flush=True,
                )
                if extra:
                    rows.append((n_parts, took))
                out.unlink()
            path.unlink()
    if len(rows) > 1:
        parts = [n for n, _ in rows]
        print(f"growth with the number of parts: exponent {exponent(parts, [r.cpu for _, r in rows]):.2f} of processor "
              f"seconds, {exponent(parts, [r.wall for _, r in rows]):.2f} of seconds (aim: at most 1.05)")  # fmt: skip


def _floor(path: Path) -> str:
    reader = "read_parquet" if path.suffix == ".parquet" else "read_csv"
    return f"import pandas; pandas.{reader}({str(path)!r})"


if __name__ == "__main__":
    main()
