"""Clean simulated sweeps for the tests of the checks: Gummel-Poon in closed form (VBC = 0 plus a linear Early term).

IC = IS (1 + VCE/VAF) x / q, with q from high injection at the forward knee; the base carries the ideal and the
recombination term; VBE adds RE and RB. Parts differ as a lot does; noise is what the kit states, drawn anew at every
point.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.device.temperature import thermal_voltage
from partscreen.readings.tables import Batch, Floats, Lot, Points, Spots, Sweep
from partscreen.results import InputFile

TEMP = 298.15


def lot_parameters(
    n: int, rng: np.random.Generator, lot_size: int = 1, sizes: tuple[float, float] = (0.05, 20.0)
) -> dict[str, Floats]:
    """Parameters of `n` parts spread over small-signal to 20 A power parts; one size per `lot_size` parts."""
    size = np.exp(rng.uniform(*np.log(sizes), n))  # amperes the die is made for
    size = size[np.arange(n) // lot_size * lot_size]
    return {
        "rated": size,
        "is": 2e-12 * size * np.exp(rng.normal(0, 1.0, n)),
        "nf": rng.normal(1.0, 0.01, n),
        "bf": np.exp(rng.normal(np.log(120.0), 0.4, n)),
        "ikf": 0.6 * size * np.exp(rng.normal(0, 0.6, n)),
        "ise": 1e-11 * size * np.exp(rng.normal(0, 1.0, n)),
        "ne": rng.normal(2.0, 0.1, n),
        "vaf": np.exp(rng.normal(np.log(80.0), 0.4, n)),
        "re": 0.15 / size * np.exp(rng.normal(0, 0.4, n)),
        "rb": 5.0 / size * np.exp(rng.normal(0, 0.4, n)),
    }


def gain_and_vbe(p: dict[str, Floats], ic: Floats, vce: Floats | float, temp: float = TEMP) -> tuple[Floats, Floats]:
    """hFE and VBE at forced collector current, shape (n_parts, n_points)."""
    vt = float(thermal_voltage(temp))
    col = {k: v[:, None] for k, v in p.items()}
    ideal = ic / (1.0 + np.asarray(vce) / col["vaf"])
    # ideal = x / qb, qb = (1 + sqrt(1 + 4 x/ikf)) / 2 solves to x = ideal * (1 + ideal/ikf)
    x = ideal * (1.0 + ideal / col["ikf"])
    v = col["nf"] * vt * np.log(x / col["is"] + 1.0)
    ib = x / col["bf"] + col["ise"] * np.expm1(v / (col["ne"] * vt))
    vbe = v + (ic + ib) * col["re"] + ib * col["rb"] / np.sqrt(1.0 + ib / (0.01 * col["rated"]))
    return ic / ib, vbe


def batch_of(
    hfe: Floats,
    vbe: Floats,
    ic: Floats,
    *,
    vce: Floats | float = 5.0,
    sweep: int = Sweep.GAIN,
    part: Floats | None = None,
) -> Batch:
    """A batch of one run a part from arrays of shape (n_parts, n_points); no uncertainties yet."""
    n, k = hfe.shape
    return assemble(
        part=np.repeat(np.arange(n), k),
        ic=np.broadcast_to(ic, (n, k)).ravel(),
        hfe=hfe.ravel(),
        vbe=vbe.ravel(),
        vce=np.broadcast_to(vce, (n, k)).ravel(),
        sweep=np.full(n * k, int(sweep)),
    )


def assemble(part: Floats, ic: Floats, hfe: Floats, vbe: Floats, vce: Floats, sweep: Floats, **more: Floats) -> Batch:
    """A batch with one lot, one session and one file. One run per part and kind of sweep unless `run` is given."""
    n = part.shape[0]
    n_parts = int(part.max()) + 1 if n else 0
    nan = np.full(n, np.nan)
    yes, no = np.ones(n, dtype=bool), np.zeros(n, dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        ib = more.get("ib", ic / hfe)
    points = Points(
        part=part.astype(np.int64),
        run=more.get("run", part * 4 + sweep).astype(np.int64),
        sweep=sweep.astype(np.int64),
        session=more.get("session", np.zeros(n)).astype(np.int64),
        ic=ic.astype(float).copy(),
        ib=np.array(ib, dtype=float),
        vce=vce.astype(float).copy(),
        vbe=vbe.astype(float).copy(),
        hfe=hfe.astype(float).copy(),
        case_temp=np.array(more.get("case_temp", nan), dtype=float),
        ambient=nan.copy(),
        time=np.array(more.get("time", nan), dtype=float),
        pulsed=no.copy(),
        control=more.get("control", no).astype(bool),
        file=np.zeros(n, dtype=np.int64),
        row=np.arange(1, n + 1),
        ic_std=nan.copy(),
        hfe_std=nan.copy(),
        vbe_std=nan.copy(),
        vce_std=nan.copy(),
        use=yes,
    )
    return Batch(
        part_names=tuple(f"p{i + 1}" for i in range(n_parts)),
        part_lot=np.zeros(n_parts, dtype=np.int64),
        lots=(Lot("A1", type="TEST"),),
        sessions=("s1",),
        points=points,
        spots=no_spots(),
        inputs=(InputFile(file="test.csv"),),
    )


def no_spots() -> Spots:
    empty = np.zeros(0, dtype=np.int64)
    return Spots(
        empty, empty, np.zeros(0, dtype="<U16"), np.zeros(0), np.zeros(0), (), empty, empty, empty > 0, empty > 0
    )


def spots_of(rows: list[tuple[int, str, float, dict[str, float | str]]]) -> Spots:
    n = len(rows)
    zero = np.zeros(n, dtype=np.int64)
    return Spots(
        part=np.array([r[0] for r in rows], dtype=np.int64),
        session=zero,
        quantity=np.array([r[1] for r in rows], dtype="<U16"),
        value=np.array([r[2] for r in rows], dtype=float),
        std=np.full(n, np.nan),
        conditions=tuple(dict(r[3]) for r in rows),
        file=zero,
        row=zero,
        control=zero > 0,
        use=zero == 0,
    )


def clean_lot(n: int, seed: int, *, points: int = 22, low: float = 1e-3, noise: bool = True) -> Batch:
    """Gain sweeps to the rated current, lots of 20 parts of one size, 1 % and 2 mV of noise."""
    rng = np.random.default_rng(seed)
    p = lot_parameters(n, rng, lot_size=20)
    ic = p["rated"][:, None] * np.geomspace(low, 1.0, points)[None, :]
    hfe, vbe = gain_and_vbe(p, ic, 5.0)
    if noise:
        hfe = hfe * (1.0 + 0.01 * rng.standard_normal(hfe.shape))
        vbe = vbe + 2e-3 * rng.standard_normal(vbe.shape)
    batch = batch_of(hfe, vbe, ic)
    lot = np.arange(n) // 20
    return replace(batch, part_lot=lot, lots=tuple(Lot(f"A{i}", type="TEST") for i in range(int(lot.max()) + 1)))


def with_points(batch: Batch, **columns: Floats) -> Batch:
    return replace(batch, points=replace(batch.points, **columns))
