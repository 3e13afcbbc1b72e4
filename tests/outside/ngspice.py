"""Run a netlist in ngspice, an independent circuit simulator, and read its figures back.

A machine without ngspice skips the tests that need it with one line; in CI (environment variable CI set) its absence
is a failure.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

Floats = npt.NDArray[np.float64]

NGSPICE = shutil.which("ngspice")
needs_ngspice = pytest.mark.skipif(
    NGSPICE is None and not os.environ.get("CI"), reason="ngspice is not installed (apt-get install ngspice)"
)

OPTIONS = ".options reltol=1e-8 abstol=1e-15 vntol=1e-10 gmin=1e-18 itl1=2000 itl2=2000 tnom=27 noacct"


def run(elements: Sequence[str], analyses: Sequence[str], *, seconds: float = 120.0) -> list[dict[str, Any]]:
    """Run one netlist in batch; one dictionary per analysis, from vector name (`v(b)`, `i(vc)`) to its points
    (complex after `ac`).

    `elements` are netlist lines. `analyses` are commands of the control block such as `dc vx 0 1 0.1` or `op`; a
    command
    that starts with `set`, `option` or `alter` is carried out and gives no dictionary.

    Raises
    ------
    AssertionError
        The simulator gave up (its last words are shown).
    """
    if NGSPICE is None:
        pytest.fail("ngspice is missing: apt-get install ngspice")
    control: list[str] = []
    n_results = 0
    for line in analyses:
        control.append(line)
        if line.split()[0] not in ("set", "option", "alter"):
            control.append(f"write out{n_results}.raw")
            n_results += 1
    text = ["partscreen check", *elements, OPTIONS, ".control", "set noaskquit", *control, "quit 0", ".endc", ".end"]
    with tempfile.TemporaryDirectory() as folder:
        netlist = Path(folder) / "check.cir"
        netlist.write_text("\n".join(text) + "\n")
        done = subprocess.run(
            [NGSPICE, "-b", netlist.name], cwd=folder, capture_output=True, text=True, timeout=seconds, check=False
        )
        results: list[dict[str, Any]] = []
        for index in range(n_results):
            path = Path(folder) / f"out{index}.raw"
            if not path.exists():
                raise AssertionError(f"ngspice wrote nothing:\n{done.stdout[-3000:]}\n{done.stderr[-3000:]}")
            results.append(_read_raw(path.read_bytes()))
        return results


def _read_raw(content: bytes) -> dict[str, Any]:
    head, _, body = content.partition(b"Binary:\n")
    lines = head.decode().splitlines()
    n_variables = int(next(line for line in lines if line.startswith("No. Variables:")).split(":")[1])
    n_points = int(next(line for line in lines if line.startswith("No. Points:")).split(":")[1])
    first = next(i for i, line in enumerate(lines) if line.startswith("Variables:")) + 1
    names = [line.split()[1] for line in lines[first : first + n_variables]]
    kind = np.complex128 if any(line.startswith("Flags: complex") for line in lines) else np.float64
    table = np.frombuffer(body, dtype=kind, count=n_points * n_variables).reshape(n_points, n_variables)
    return {name: table[:, i].copy() for i, name in enumerate(names)}


def model_line(name: str, gp: Mapping[str, float], polarity: str, **changes: float) -> str:
    """A .model line from the figures of a published card; `changes` replace or add parameters."""
    values = {**gp, **changes}
    return f".model {name} {polarity.upper()}(" + " ".join(f"{key}={value!r}" for key, value in values.items()) + ")"


def steps(values: Sequence[float] | Floats) -> str:
    """A piecewise linear function of V(step): entry k at V(step) = k; run `dc Vstep 0 N 1`."""
    return "pwl(v(step)," + ",".join(f"{k},{float(v)!r}" for k, v in enumerate(values)) + ")"
