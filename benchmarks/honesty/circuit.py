"""Readings of many transistors from ngspice: forced collector currents at a fixed VCE, and saturation at a forced gain.

Nothing of the toolkit's own device model is used here. PNP parts are simulated as NPN parts of the same magnitudes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Cards = Mapping[str, Floats]
"""SPICE names (lower case) to values of n parts, shape (n,)."""

NGSPICE = shutil.which("ngspice")
MOST_PARTS = 200  # per netlist: a hard part only holds up its neighbours
FORCED_GAIN = 10.0
_OPTIONS = ".options reltol=1e-7 abstol=1e-13 vntol=1e-9 gmin=1e-17 itl1=800 itl2=400 tnom=27 noacct"
_LEFT_OUT_AT_ZERO = ("vaf", "var", "ikf", "ikr", "irb", "ise", "isc", "rb", "re", "rc", "rco")
_COLLECTOR_CLAMP = 3.0  # [V] where a part that cannot carry the current is caught
_ROUNDS = 10


def gain_sweep(cards: Cards, ic: Floats, vce: float, temp: Floats) -> tuple[Floats, Floats]:
    """hFE and VBE of n parts at forced collector currents.

    Parameters
    ----------
    cards : SPICE figures, arrays of shape (n,); temperature of the figures 27 degC
    ic : array, shape (k,), ascending [A]
    vce : [V]
    temp : array, shape (n,), junction temperature [K]

    Returns
    -------
    hfe [1], vbe [V] : arrays, shape (n, k). NaN where a part cannot carry the current.

    Notes
    -----
    The base current is forced and moved by secant steps in ln IB, a run of ngspice each, until IC is the target to
    1e-7: no interpolation.
    """
    ib, vbe = _in_batches(_gain_netlist, cards, ic, temp, vce)
    return ic / ib, vbe


def saturation_sweep(cards: Cards, ic: Floats, temp: Floats) -> Floats:
    """VCE(sat) at a forced gain of 10, shape (n, k). NaN above 2 V. [V]"""
    return _in_batches(_saturation_netlist, cards, ic, temp, 0.0)[0]


def depletion(zero_bias: npt.ArrayLike, bias: float, vj: npt.ArrayLike, m: npt.ArrayLike) -> Floats:
    """Capacitance of a junction at a reverse bias >= 0: C0 (1 + V/VJ)^-M. [F]"""
    return np.asarray(zero_bias, dtype=float) * (1.0 + bias / np.asarray(vj, dtype=float)) ** -np.asarray(m)


def _in_batches(netlist, cards: Cards, ic: Floats, temp: Floats, vce: float) -> tuple[Floats, Floats]:  # type: ignore[no-untyped-def]
    n = temp.shape[0]
    rows = [np.arange(begin, min(begin + MOST_PARTS, n)) for begin in range(0, n, MOST_PARTS)]
    found = [_halving(netlist, cards, ic, temp, vce, of) for of in rows]
    return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])


def _halving(netlist, cards: Cards, ic: Floats, temp: Floats, vce: float, rows) -> tuple[Floats, Floats]:  # type: ignore[no-untyped-def]
    """Where a netlist does not settle, its halves are tried; a single part that does not is all NaN."""
    try:
        return netlist({k: v[rows] for k, v in cards.items()}, ic, temp[rows], vce)  # type: ignore[no-any-return]
    except DidNotSettle:
        if rows.size == 1:
            nothing = np.full((1, ic.size), np.nan)
            return nothing, nothing
        halves = [_halving(netlist, cards, ic, temp, vce, half) for half in np.array_split(rows, 2)]
        return np.concatenate([h[0] for h in halves]), np.concatenate([h[1] for h in halves])


class DidNotSettle(RuntimeError):
    """ngspice gave no operating point."""


def _gain_netlist(cards: Cards, ic: Floats, temp: Floats, vce: float) -> tuple[Floats, Floats]:
    n, ln_ic = temp.size, np.log(ic)
    ln_ib = np.tile(ln_ic - np.log(50.0), (n, 1))
    before, slope = None, np.ones((n, ic.size))
    for _ in range(_ROUNDS):
        carried, vbe = _driven(cards, np.exp(ln_ib), temp, vce)
        with np.errstate(invalid="ignore", divide="ignore"):
            miss = np.log(carried) - ln_ic
            if before is not None:
                step = ln_ib - before[0]
                rise = (miss - before[1]) / step
                slope = np.where(np.isfinite(rise) & (np.abs(step) > 1e-9), np.clip(rise, 0.15, 3.0), slope)
        if np.all(np.abs(miss) < 1e-7):
            break
        before = (ln_ib, miss)
        ln_ib = ln_ib - np.clip(np.nan_to_num(miss / slope), -2.0, 2.0)
    ln_ib, miss = before if before is not None and not np.all(np.abs(miss) < 1e-7) else (ln_ib, miss)
    reached = np.abs(miss) < 1e-5
    return np.where(reached, np.exp(ln_ib), np.nan), np.where(reached, vbe, np.nan)


def _driven(cards: Cards, ib: Floats, temp: Floats, vce: float) -> tuple[Floats, Floats]:
    """Collector current and VBE of parts whose base currents are forced, shapes (n, k)."""
    lines = []
    for i in range(temp.size):
        lines += [
            _model(cards, i),
            f"Q{i} c{i} b{i} 0 m{i} temp={float(temp[i]) - 273.15!r}",
            f"Vc{i} c{i} 0 {vce!r}",
            f"B{i} 0 b{i} i=pwl(v(step),{_points(ib[i])})",
            f".nodeset v(b{i})=0.6",
        ]
    raw = _run(lines, ib[0])
    k = range(temp.size)
    return -np.stack([raw[f"i(vc{i})"] for i in k]), np.stack([raw[f"v(b{i})"] for i in k])


def _saturation_netlist(cards: Cards, ic: Floats, temp: Floats, _: float) -> tuple[Floats, Floats]:
    lines = [f"Vtop top 0 {_COLLECTOR_CLAMP}", ".model dtop d(is=1e-12)"]
    for i in range(temp.size):
        lines += [
            _model(cards, i),
            f"Q{i} c{i} b{i} 0 m{i} temp={float(temp[i]) - 273.15!r}",
            f"Gc{i} 0 c{i} target 0 1",
            f"Gb{i} 0 b{i} target 0 {1.0 / FORCED_GAIN!r}",
            f"D{i} c{i} top dtop",
            f".nodeset v(b{i})=0.7 v(c{i})=0.1",
        ]
    raw = _run(lines, ic)
    vce = np.stack([raw[f"v(c{i})"] for i in range(temp.size)])
    reached = (vce < 2.0) & (vce > 0.0)
    return np.where(reached, vce, np.nan), vce


def _model(cards: Cards, i: int) -> str:
    pairs = [
        f"{name}={float(values[i])!r}"
        for name, values in cards.items()
        if name != "area"
        and not (name in _LEFT_OUT_AT_ZERO and not (0.0 < values[i] < np.inf))
        and not (name in ("vo", "gamma") and not cards["rco"][i] > 0.0)
    ]
    return f".model m{i} npn(" + " ".join(pairs) + ")"


def _run(lines: Sequence[str], ic: Floats) -> dict[str, Floats]:
    if NGSPICE is None:
        raise RuntimeError("ngspice is missing: apt-get install ngspice")
    text = [
        "lots", *lines, "Vstep step 0 0", f"Btarget target 0 v=pwl(v(step),{_points(ic)})", _OPTIONS,
        ".control", f"dc Vstep 0 {ic.size - 1} 1", "write out.raw", "quit 0", ".endc", ".end",
    ]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "lots.cir").write_text("\n".join(text) + "\n")
        subprocess.run(
            [NGSPICE, "-b", "lots.cir"], cwd=folder, capture_output=True, timeout=600, check=False,
            env={**os.environ, "OMP_NUM_THREADS": "1"},
        )  # fmt: skip
        path = Path(folder, "out.raw")
        raw = _read(path.read_bytes()) if path.exists() else {}
    if not raw or next(iter(raw.values())).size != ic.size:
        raise DidNotSettle
    return raw


def _points(values: Floats) -> str:
    ends = [*values, values[-1]]  # ngspice wants two points at least
    return ",".join(f"{k},{float(v)!r}" for k, v in enumerate(ends))


def _read(content: bytes) -> dict[str, Floats]:
    head, _, body = content.partition(b"Binary:\n")
    lines = head.decode().splitlines()
    numbers = {line.split(":")[0]: line.split(":")[1] for line in lines if line.startswith("No. ")}
    n, points = int(numbers["No. Variables"]), int(numbers["No. Points"])
    first = next(i for i, line in enumerate(lines) if line.startswith("Variables:")) + 1
    names = [line.split()[1] for line in lines[first : first + n]]
    table = np.frombuffer(body, dtype=np.float64, count=n * points).reshape(points, n)
    return {name: table[:, i].copy() for i, name in enumerate(names)}
