"""Figures per specimen from the measured files, which are not ours to publish: the committed table carries only these.

Run from the checkout's root to write the table anew: python -m tests.reference.measured_figures
"""

from __future__ import annotations

import csv
import sys
from collections import defaultdict
from pathlib import Path

import numpy as np
from scipy.constants import Boltzmann, elementary_charge

from tests.facts import MEASURED

TABLE = Path(__file__).resolve().parents[2] / "reference_curves" / "measured_specimens.csv"
COLUMNS = ("type_number", "specimen", "figure", "value", "unit", "conditions", "source", "commit")
# Repository and commit of each file, as the list of sources beside the files names them.
SOURCES = {
    "mjl21193.csv": ("GitHub mbrennwa/curvetracedata, MJL21193/data", "01c7cd172b55f533d97f033f4754043b69e6c5a1"),
    "mjl21194.csv": ("GitHub mbrennwa/curvetracedata, MJL21194/data", "01c7cd172b55f533d97f033f4754043b69e6c5a1"),
    "2n3904_lab2020.csv": (
        "GitHub ThomasJagielski/MicroelectronicCircuits, lab3",
        "f17330953e577218f02930eb6645e0678365222c",
    ),
    "npn_quad_arrays.csv 2020": (
        "GitHub ThomasJagielski/MicroelectronicCircuits, lab4",
        "f17330953e577218f02930eb6645e0678365222c",
    ),
    "npn_quad_arrays.csv 2013": ("GitHub TheoT/Circuits-Lab-4", "cfa6181a9bdcc70c3efb3279e98cee3626fed177"),
    "npn_lab2026.csv": ("GitHub H-TejadaDeras/ENGR2420-01.26SP, Lab3", "f47f74e3eac0ef3518e33568a8802ac896defde7"),
    "npn_lab2020_given.csv": ("GitHub slkaplan/olin-circuits, lab-3", "1fbaa4be0bb92aa221510bd88ce72314790aafe7"),
    "ihp_npn13g2.csv": (
        "GitHub IHP-GmbH/IHP-Open-PDK, npn13g2 (Apache License 2.0)",
        "5cccb161f7492697cfa52eb14dc03beb00bdca9e",
    ),
    "ihp_npn13g2l.csv": (
        "GitHub IHP-GmbH/IHP-Open-PDK, npn13g2l (Apache License 2.0)",
        "5cccb161f7492697cfa52eb14dc03beb00bdca9e",
    ),
}
GUMMEL_FILES = [f for f in SOURCES if f.endswith(".csv") and not f.startswith("mjl")] + ["npn_quad_arrays.csv"]


def _read(name: str) -> dict[tuple[str, str], list[dict[str, str]]]:
    parts: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
    with (MEASURED / name).open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            parts[row["type_number"], row["specimen"]].append(row)
    return parts


def gain_steps(rows: list[dict[str, str]], vce: float = 10.0) -> list[tuple[float, float]]:
    """(IC [A], hFE) at VCE by interpolation on every base step that reaches it with IB resolved, in order of IC."""
    steps: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    for row in rows:
        if row["sweep"] == "output" and row["ib_a"] and "limiting" not in row["note"]:
            # Steps are told apart by the drive, which reads back within a millivolt of itself.
            drive = f"{float(row['note'].split()[1]):.1f}"
            steps[drive].append((abs(float(row["vce_v"])), abs(float(row["ic_a"])), abs(float(row["ib_a"]))))
    out = []
    for points in steps.values():
        table = np.array(sorted(points))
        if table[0, 0] <= vce <= table[-1, 0]:
            ic = float(np.interp(vce, table[:, 0], table[:, 1]))
            out.append((ic, ic / float(np.interp(vce, table[:, 0], table[:, 2]))))
    return sorted(out)


def gummel_figures(rows: list[dict[str, str]]) -> dict[str, float]:
    """Slope of ln IC against VBE between 1 and 100 uA as mV per decade and as NF, and hFE at 1 mA."""
    # The wafer set was run at several collector voltages: 1 V is clear of saturation and of breakdown.
    wafer = any("Nx=" in r["note"] for r in rows)
    forward = [r for r in rows if r["sweep"] == "gummel" and r["vbe_v"]]
    if wafer:
        forward = [r for r in forward if "VCB" not in r["note"] and float(r["vce_v"]) == 1.0]
    table = np.array([(float(r["vbe_v"]), float(r["ic_a"]), float(r["ib_a"] or "nan")) for r in forward])
    table = table[table[:, 1] > 0]
    low = table[(table[:, 1] >= 1e-6) & (table[:, 1] <= 1e-4)]
    slope = float(np.polyfit(low[:, 0], np.log(low[:, 1]), 1)[0])
    degrees = {r["temp_c"] for r in forward}
    kelvin = 273.15 + (float(degrees.pop()) if degrees != {""} else 25.0)
    out = {"NF": elementary_charge / (Boltzmann * kelvin * slope), "slope": np.log(10.0) / slope * 1e3}
    high = table[np.isfinite(table[:, 2]) & (table[:, 2] > 0)]
    high = high[np.argsort(high[:, 1])]
    if high[0, 1] <= 1e-3 <= high[-1, 1]:
        out["hFE"] = float(np.exp(np.interp(np.log(1e-3), np.log(high[:, 1]), np.log(high[:, 1] / high[:, 2]))))
    at = high[np.isclose(high[:, 0], 0.70, atol=1e-4)]
    if len(at) == 1:
        out["hFE at 0.70 V"] = float(at[0, 1] / at[0, 2])
    return out


def rows() -> list[tuple[str, ...]]:
    """The table: one figure a row."""
    out: list[tuple[str, ...]] = []
    for name in ("mjl21193.csv", "mjl21194.csv"):
        for (kind, specimen), readings in _read(name).items():
            steps = gain_steps(readings)
            (ic1, first), (ic2, last) = steps[0], steps[-1]
            at = "VCE = 10 V, heater block 50 degC, base current worked out from the drive"
            tail = (at, *SOURCES[name])
            out.append(
                (kind, specimen, "hFE first usable step", f"{first:.4g}", "1", f"IC = {ic1:.4g} A, {at}", *tail[1:])
            )
            out.append((kind, specimen, "hFE last step", f"{last:.4g}", "1", f"IC = {ic2:.4g} A, {at}", *tail[1:]))
            out.append((kind, specimen, "hFE last over first", f"{last / first:.4f}", "1", *tail))
    for name in dict.fromkeys(f.split(" ")[0] for f in GUMMEL_FILES):
        for (kind, specimen), readings in _read(name).items():
            source = SOURCES.get(name) or SOURCES[f"{name} {specimen[:4]}"]
            stated = "VCE = 1 V, 27 degC" if name.startswith("ihp") else "25 degC assumed"
            figures = gummel_figures(readings)
            band = f"IC 1 to 100 uA, {stated}"
            out.append((kind, specimen, "NF", f"{figures['NF']:.4f}", "1", band, *source))
            out.append((kind, specimen, "VBE per decade of IC", f"{figures['slope']:.2f}", "mV", band, *source))
            if "hFE" in figures:
                out.append((kind, specimen, "hFE", f"{figures['hFE']:.4g}", "1", "IC = 1 mA", *source))
            if name.startswith("ihp"):
                out.append(
                    (kind, specimen, "hFE", f"{figures['hFE at 0.70 V']:.4g}", "1", "VBE = 0.70 V, VCE = 1 V", *source)
                )
    return out


def main() -> int:
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows())
    return 0


if __name__ == "__main__":
    sys.exit(main())
