"""A delivery of simulated lots of known truth written as one file: what the benchmark of volume reads.

Run: python -m benchmarks.volume_bag PARTS FILE [LOT_SIZE]; FILE ends in .csv or .parquet.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.simulate.bench import simulate_lot
from partscreen.simulate.kits import plan_up_to
from partscreen.simulate.parts import Kind

if TYPE_CHECKING:
    import pandas as pd

TYPE = "2SC5200"
LOT_SIZE = 400
BAD_EVERY, BAD_SHARE = 5, 0.1  # every fifth lot holds one part in ten with a smaller die

_SEEDS = 5  # tried for a lot


def lot_frame(number: int, n_parts: int) -> tuple[pd.DataFrame, list[bool]]:
    """Rows of a lot, 22 a part (14 of gain and VBE, 8 of VCE(sat)) read with short pulses; and which parts are bad."""
    bad = {Kind.SMALLER_DIE: BAD_SHARE} if number % BAD_EVERY == 0 else {}
    for again in range(_SEEDS):
        seed = number + 1 + again * 100_000
        try:
            read, truth = simulate_lot(TYPE, n_parts, seed, plan=plan_up_to(8.0, with_c=False), bad=bad)
            break
        except ValueError:  # a lot whose centre its maker's last test turns away is never sold: another one
            if again == _SEEDS - 1:
                raise
    frame = read.to_frame().drop(columns="time_s")
    frame["part"] = [f"{number:05d}-{part}" for part in frame["part"]]
    frame.insert(0, "lot", f"L{number:05d}")
    frame.insert(3, "session", f"S{number:05d}")
    frame["pulse"] = "yes"
    return frame, [one.kind != Kind.SOUND for one in truth]


def write_delivery(path: Path, n_parts: int, lot_size: int = LOT_SIZE) -> None:
    """Write `n_parts` parts in lots of `lot_size`, lot by lot."""
    writer = None
    with path.open("wb") as sink:
        for number, first in enumerate(range(0, n_parts, lot_size)):
            frame, _ = lot_frame(number, min(lot_size, n_parts - first))
            if path.suffix == ".parquet":
                import pyarrow as pa
                import pyarrow.parquet as pq

                table = pa.Table.from_pandas(frame, preserve_index=False)
                writer = writer or pq.ParquetWriter(sink, table.schema)
                writer.write_table(table)
            else:
                frame.to_csv(sink, header=number == 0, index=False, float_format="%.6g")
        if writer is not None:
            writer.close()


if __name__ == "__main__":
    write_delivery(Path(sys.argv[2]), int(sys.argv[1]), int(sys.argv[3]) if len(sys.argv) > 3 else LOT_SIZE)
