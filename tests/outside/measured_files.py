"""A small reader of the measured files of the collected facts, for tests only: columns straight into a batch."""

from __future__ import annotations

import csv

import numpy as np

from partscreen.readings.tables import Batch, Bools, Floats, Points, Sweep
from tests.facts import MEASURED
from tests.readings.sweeps import assemble

SWEEPS = {"gain": Sweep.GAIN, "saturation": Sweep.SATURATION, "output": Sweep.OUTPUT, "gummel": Sweep.GUMMEL}


def measured(name: str, *, junction_forward: bool = True) -> tuple[Batch, list[str]]:
    """All rows of a file and the note of each; one part a specimen.

    PNP files are turned round as a whole, so that offsets keep their sign. `junction_forward` leaves out rows below 0.2
    V of VBE (the wafer files sweep through zero).
    """
    with open(MEASURED / f"{name}.csv", encoding="utf-8", newline="") as handle:
        rows = [row for row in csv.DictReader(handle) if row["sweep"] != "sweep"]
    figures = {
        key: np.array([float(row[key]) if row[key] else np.nan for row in rows])
        for key in ("ic_a", "ib_a", "vce_v", "vbe_v", "hfe", "temp_c")
    }
    sign = -1.0 if name in ("mjl21193", "2sa872") else 1.0
    keep = np.ones(len(rows), dtype=bool)
    if junction_forward:
        keep = ~(sign * figures["vbe_v"] < 0.2)
    rows = [row for row, kept in zip(rows, keep, strict=True) if kept]
    figures = {key: values[keep] for key, values in figures.items()}
    specimens = list(dict.fromkeys(row["specimen"] for row in rows))
    part = np.array([specimens.index(row["specimen"]) for row in rows])
    sweep = np.array([int(SWEEPS[row["sweep"]]) for row in rows])
    order = np.lexsort((np.arange(len(rows)), sweep, part))
    run = np.cumsum(_new_run(part[order], sweep[order], sign * figures["vbe_v"][order], sign * figures["vce_v"][order]))
    batch = assemble(
        part=part[order],
        ic=sign * figures["ic_a"][order],
        ib=sign * figures["ib_a"][order],
        vce=sign * figures["vce_v"][order],
        vbe=sign * figures["vbe_v"][order],
        hfe=figures["hfe"][order],
        sweep=sweep[order],
        run=run,
        case_temp=figures["temp_c"][order] + 273.15,
    )
    notes = [rows[i]["note"] for i in order]
    return batch, notes


def _new_run(part: Floats, sweep: Floats, vbe: Floats, vce: Floats) -> Bools:
    """A new part, a new kind of sweep, or a Gummel sweep begun again (VBE steps back) at another bias."""
    new = np.ones(part.shape[0], dtype=bool)
    step = np.diff(vbe)
    back = np.abs(step) > 0.15
    new[1:] = (np.diff(part) != 0) | (np.diff(sweep) != 0) | (back & (sweep[1:] == int(Sweep.GUMMEL)))
    return new


def of_part(points: Points, part: int) -> Bools:
    rows: Bools = points.part == part
    return rows
