"""Small batches and a plain device for the tests of this folder."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from partscreen.readings.tables import Batch, Lot, PartCondition, Points, Spots, Sweep

ROOM = 298.15


@dataclass(frozen=True)
class Limit:
    """A limit as the judge needs it."""

    symbol: str
    side: str
    value: float
    conditions: dict
    quantity: str | None = None
    unit: str = "1"
    temperature: float = ROOM
    editions: tuple = ("sheet",)
    basis: str = "stored copy"
    doubt: str = ""
    source: str = "a data sheet"
    is_limit: bool = True
    why_not: str = ""
    conditions_text: str = field(default="conditions")


def gain_limit(side, value, ic, vce=5.0, **more):
    return Limit("hFE", side, value, {"IC": ic, "VCE": vce}, "hfe", **more)


class TextbookDevice:
    """hFE = h0 (T/T0)^1.5 (1 + VCE/VA) / (1 + IC/IK); VBE exponential; VCE(sat) = IC R (1 + forced gain / 50)."""

    def __init__(self, h0, ik, va=100.0, r=0.1, std=0.05):
        self.h0, self.ik = np.atleast_1d(np.asarray(h0, float)), np.atleast_1d(np.asarray(ik, float))
        self.va, self.r, self.std = va, r, std

    def gain(self, rows, ic, vce, temperature, pulsed):
        h0, ik = self.h0[rows][:, None], self.ik[rows][:, None]
        hfe = h0 * (temperature / ROOM) ** 1.5 * (1 + vce / self.va) / (1 + ic / ik)
        return hfe, 0.65 + 0.0257 * np.log(ic) - 2e-3 * (temperature - ROOM)

    def gain_std(self, rows, ic, vce, temperature):
        hfe, vbe = self.gain(rows, ic, vce, temperature, True)
        return hfe, vbe, np.full(hfe.shape, self.std), np.full(hfe.shape, 0.005)

    def saturation(self, rows, ic, ib, temperature, pulsed):
        return self.r * ic * (1 + ic / ib / 50) + 0 * temperature

    def saturation_std(self, rows, ic, ib, temperature):
        vce = self.saturation(rows, ic, ib, temperature, True)
        return vce, 0.1 * vce


def points(part, ic, *, sweep=Sweep.GAIN, ib=np.nan, vce=5.0, vbe=np.nan, hfe=np.nan, temp=ROOM, run=None, **more):
    part, ic = np.broadcast_arrays(np.asarray(part), np.asarray(ic, float))
    n = part.size

    def column(value):
        return np.broadcast_to(np.asarray(value, float), part.shape).ravel().copy()

    part = part.ravel().astype(np.int64)
    hfe = column(hfe)
    columns = {
        "part": part,
        "run": part.copy() if run is None else np.broadcast_to(run, (n,)).astype(np.int64),
        "sweep": np.full(n, int(sweep)),
        "session": np.zeros(n, np.int64),
        "ic": ic.ravel().copy(),
        "ib": column(ib),
        "vce": column(vce),
        "vbe": column(vbe),
        "hfe": hfe,
        "case_temp": column(temp),
        "ambient": column(np.nan),
        "time": column(np.nan),
        "pulsed": np.ones(n, bool),
        "control": np.zeros(n, bool),
        "file": np.zeros(n, np.int64),
        "row": np.arange(2, n + 2),
        "ic_std": column(0.0),
        "hfe_std": 0.01 * hfe,
        "vbe_std": column(2e-3),
        "vce_std": column(np.nan),
        "use": np.ones(n, bool),
    }
    columns.update(more)
    return Points(**columns)


def join(*tables):
    names = [n for n in Points.__dataclass_fields__ if all(getattr(t, n) is not None for t in tables)]
    merged = {n: np.concatenate([getattr(t, n) for t in tables]) for n in names}
    order = np.argsort(merged["part"], kind="stable")
    return Points(**{n: v[order] for n, v in merged.items()})


def spots(rows=()):
    """Rows of (part, quantity, value, conditions[, relative std])."""
    n = len(rows)
    value = np.array([r[2] for r in rows], float)
    return Spots(
        part=np.array([r[0] for r in rows], np.int64),
        session=np.zeros(n, np.int64),
        quantity=np.array([r[1] for r in rows], dtype=np.str_),
        value=value,
        std=value * np.array([r[4] if len(r) > 4 else 0.02 for r in rows], float),
        conditions=tuple(r[3] for r in rows),
        file=np.zeros(n, np.int64),
        row=np.arange(2, n + 2),
        control=np.zeros(n, bool),
        use=np.ones(n, bool),
    )


def batch(
    n_parts, point_table=None, spot_table=None, *, type_name="X1", lots=None, part_lot=None, condition=None, **more
):
    dead = condition or {}
    return Batch(
        part_names=tuple(str(i + 1) for i in range(n_parts)),
        part_lot=np.zeros(n_parts, np.int64) if part_lot is None else np.asarray(part_lot),
        lots=(Lot("A1", type=type_name),) if lots is None else lots,
        sessions=("bench",),
        points=points(np.zeros(0), np.zeros(0)) if point_table is None else point_table,
        spots=spots() if spot_table is None else spot_table,
        inputs=(),
        condition={k: v if isinstance(v, PartCondition) else PartCondition(*v) for k, v in dead.items()},
        **more,
    )
