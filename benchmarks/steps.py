"""Processor seconds of single steps of the job, the least of three runs: where to look if the whole job slows down.

Run: python -m benchmarks.steps. The whole job is timed by `benchmarks.whole_job`.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.make_bag import write_bag
from partscreen.readings.import_files import read_files
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.reference.library import Library
from partscreen.reference.population_store import load_store
from partscreen.simulate.bench import simulate_lot

N_PARTS = 10_000


def seconds(step: Callable[[], object], runs: int = 3) -> float:
    """Least processor time of a step."""
    took = []
    for _ in range(runs):
        start = time.process_time()
        step()
        took.append(time.process_time() - start)
    return min(took)


def _store() -> None:
    load_store.cache_clear()
    load_store()


def main() -> None:
    """Print the table."""
    print(f"all types of the library: {seconds(lambda: list(Library.load())):.2f} s (aim: under 1 s)")
    print(f"stored populations: {1e3 * seconds(_store):.0f} ms (aim: under 30 ms)")
    simulated = seconds(lambda: simulate_lot("2SC5200", N_PARTS, 1), runs=1)
    print(f"{N_PARTS} simulated parts, 22 rows each: {simulated:.1f} s (aim: under 10 s)")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bag.csv"
        write_bag(str(path), N_PARTS)
        read = seconds(lambda: read_files([path], type_name="2SC5200"), runs=1)
        print(f"{N_PARTS} parts read from a file: {read:.1f} s")
        batch = apply_kit(read_files([path], type_name="2SC5200").batch, None)
        checked = seconds(lambda: check_quality(batch, None, lambda lot: "NPN"), runs=1)
        print(f"their {22 * N_PARTS} rows checked: {checked:.1f} s (aim: under 6 s)")


if __name__ == "__main__":
    main()
