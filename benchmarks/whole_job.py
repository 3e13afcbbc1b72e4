"""The whole job, measured in one run: 10,000 parts (22 sweep rows each) CSV in to JSON out, the demo, and `--help`.

Run: python -m benchmarks.whole_job [PARTS]. Prints seconds, processor seconds (which other work on the machine
lengthens less) and peak memory of child processes, beside the time pandas alone needs to read the same file (the floor
for import). Aims are for two quiet cores.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMAND = [sys.executable, "-c", "from partscreen.cli.app import main; main()"]


def timed(arguments: list[str], accept: tuple[int, ...] = (0,)) -> tuple[float, float]:
    """Wall and processor seconds a child process takes; the exit code must be one of `accept`."""
    start, cpu = time.perf_counter(), _children_seconds()
    ran = subprocess.run(arguments, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
    if ran.returncode not in accept:
        raise SystemExit(f"{arguments} ended with {ran.returncode}:\n{ran.stderr}")
    return time.perf_counter() - start, _children_seconds() - cpu


def _children_seconds() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def peak_gib() -> float:
    """Largest resident size of any child process so far. [GiB]"""
    return resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20


def main() -> None:
    """Print the table."""
    n_parts = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    wall, cpu = min(timed([*COMMAND, "--help"]) for _ in range(3))
    print(f"--help: {wall:.2f} s, {cpu:.2f} processor seconds (aim: under 0.5 s)")
    wall, cpu = min(timed([*COMMAND, "check", "2SC5200", "C_BE=5 nF"], (0, 4, 5)) for _ in range(3))
    print(f"check of one reading: {wall:.2f} s, {cpu:.2f} processor seconds (aim: about a second)")
    with tempfile.TemporaryDirectory() as folder:
        wall, cpu = timed([*COMMAND, "demo", "--out", f"{folder}/demo"])
        print(f"demo, all lots with report: {wall:.1f} s, {cpu:.1f} processor seconds (aim: under 10 s)")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bag.csv"
        make = "from benchmarks.make_bag import write_bag; import sys; write_bag(sys.argv[1], int(sys.argv[2]))"
        timed([sys.executable, "-c", make, str(path), str(n_parts)])
        floor, _ = timed([sys.executable, "-c", f"import pandas; pandas.read_csv({str(path)!r})"])
        for extra in ([], ["--brief"]):
            out = Path(folder) / "result.json"
            seconds, cpu = timed(
                [*COMMAND, "screen", str(path), "--type", "2SC5200", "--json", str(out), *extra], (0, 3, 4, 5)
            )
            size = out.stat().st_size / 1e6
            name = " ".join(["CSV to JSON", *extra])
            print(
                f"{name}, {n_parts} parts: {seconds:.1f} s, {cpu:.1f} processor seconds, {seconds / floor:.1f} x "
                f"pandas reading the file, JSON {size:.0f} MB"
            )
        print(f"peak memory of any child: {peak_gib():.2f} GiB (aim: under 1.5 GiB; 10,000 parts in under 30 s)")


if __name__ == "__main__":
    main()
