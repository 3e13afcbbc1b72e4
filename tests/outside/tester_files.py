"""Digitised data-sheet curves as the files a tester would write: one part for each type and sheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from partscreen.readings.import_files import import_files
from partscreen.readings.instruments.corrections import correct
from partscreen.readings.instruments.uncertainty import SessionUncertainty, apply_kit, session_uncertainty
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Batch, Floats, Sweep
from partscreen.reference.library import Library
from partscreen.reference.rows import Curve

HEADER = (
    "lot", "part", "session", "sweep", "run", "ic [A]", "ib [A]", "vce [V]", "vbe [V]", "hfe", "case temp [degC]",
    "pulse",
)  # fmt: skip
NEGLIGIBLE = 1e-3  # relative; the error along the axis is counted in that of the value


@dataclass(frozen=True, eq=False)
class DrawnCurve:
    """A curve as arrays with rising current. `condition`: VCE [V], or the forced gain of a saturation curve."""

    index: int
    condition: float
    stated_celsius: float | None
    ic: Floats
    value: Floats
    reading_error: float


@dataclass(frozen=True, eq=False)
class DrawnPart:
    """What one sheet draws of one type at 25 degC, or without saying a temperature."""

    type: str
    polarity: str
    source: str
    gain: tuple[DrawnCurve, ...]
    vbe: tuple[DrawnCurve, ...]
    saturation: tuple[DrawnCurve, ...]

    @property
    def name(self) -> str:
        return f"{self.type} of {self.source}"

    @property
    def curve_indices(self) -> tuple[int, ...]:
        return tuple(c.index for c in (*self.gain, *self.vbe, *self.saturation))

    def error(self, kind: str) -> float:
        """Largest relative reading error of its curves of a kind (gain, vbe, saturation); NaN where it has none."""
        return max((c.reading_error for c in getattr(self, kind)), default=float("nan"))


def _drawn(curve: Curve, index: int, condition: str) -> DrawnCurve:
    points = np.array(sorted(curve.points))
    assert curve.reading_error, "every curve used here states how well it could be read"
    return DrawnCurve(
        index, curve.conditions[condition], curve.temperature_c, points[:, 0], points[:, 1], curve.reading_error
    )


def drawn_parts(library: Library, polarity: str) -> list[DrawnPart]:
    """Every type of a polarity whose hFE is drawn against IC, once for each sheet that draws it."""
    out: list[DrawnPart] = []
    for kind in library:
        if kind.polarity != polarity:
            continue
        found: dict[str, list[tuple[str, DrawnCurve]]] = {}
        for index, curve in enumerate(kind.curves):
            condition = {"hFE": "VCE", "VBE": "VCE", "VCE(sat)": "IC_over_IB"}.get(curve.quantity)
            usable = condition in curve.conditions and curve.x == "IC" and curve.temperature_c in (25.0, None)
            if condition is not None and usable and not curve.doubt:
                found.setdefault(" ".join(curve.source), []).append((curve.quantity, _drawn(curve, index, condition)))
        for source, drawn in found.items():
            # A session states its temperature or does not: curves without one stand aside where the gain has one.
            stated = any(q == "hFE" and c.stated_celsius is not None for q, c in drawn)
            kept = [(q, c) for q, c in drawn if (c.stated_celsius is not None) == stated]
            gain, vbe, sat = (tuple(c for q, c in kept if q == wanted) for wanted in ("hFE", "VBE", "VCE(sat)"))
            if gain:
                out.append(DrawnPart(kind.name, polarity, source, gain, vbe, sat))
    return out


def write_bag(path: Path, parts: Sequence[DrawnPart], markings: Iterable[str]) -> None:
    """One file of readings: every part once in each lot, a lot for each marking. PNP readings are signed.

    Each sheet is a session of its own: nothing is shared between the reading errors of two figures. A sheet draws its
    curves for the case or junction at the temperature it states, so the rows say pulsed.
    """
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file)
        out.writerow(HEADER)
        for lot in markings:
            for part in parts:
                out.writerows((lot, f"{part.name} as {lot}", part.name, *row) for row in _rows(part))


def _rows(part: DrawnPart) -> list[tuple[str | float, ...]]:
    sign = -1.0 if part.polarity == "PNP" else 1.0
    rows: list[tuple[str | float, ...]] = []
    for run, curve in enumerate((*part.gain, *part.vbe, *part.saturation), start=1):
        celsius = "" if curve.stated_celsius is None else curve.stated_celsius
        for ic, value in zip(curve.ic.tolist(), curve.value.tolist(), strict=True):
            if curve in part.saturation:
                shown = ("saturation", run, sign * ic, sign * ic / curve.condition, sign * value, "", "")
            elif curve in part.vbe:
                shown = ("gain", run, sign * ic, "", sign * curve.condition, sign * value, "")
            else:
                shown = ("gain", run, sign * ic, "", sign * curve.condition, "", value)
            rows.append((*shown, celsius, "yes"))
    return rows


def imported(folder: Path, parts: Sequence[DrawnPart], markings: Sequence[str]) -> tuple[Batch, SessionUncertainty]:
    """The bag written, then read by the ordinary reader, checked and corrected.

    Every point is read anew from its figure, so the reading error belongs to the point and the session shares nothing
    but its temperature. A kit shares most of a percentage between the points of a session, which is right for an
    instrument and wrong for a figure; so the uncertainties are set here, where a kit file would otherwise set them.
    """
    write_bag(folder / "bag.csv", parts, markings)
    sheet = folder / "lots.csv"
    sheet.write_text("lot,type\n" + "".join(f"{name},{name}\n" for name in markings), encoding="utf-8")
    raw = import_files([folder / "bag.csv"], lot_sheet=sheet)
    assert raw.problems == ()
    batch = apply_kit(_with_reading_errors(raw, parts), None)
    batch, _ = correct(batch, None)
    shared = session_uncertainty(batch, None)
    nothing = np.zeros(len(batch.sessions))
    checked = check_quality(batch, None, lambda lot: parts[0].polarity)
    return checked, SessionUncertainty(shared.temp_std, nothing, nothing)


def _with_reading_errors(raw: Batch, parts: Sequence[DrawnPart]) -> Batch:
    """Standard uncertainty of each value as its curve states it, relative; the currents of the axis as well."""
    points, by_name = raw.points, {part.name: part for part in parts}
    hfe, vbe, sat = (
        np.array([by_name[raw.sessions[i]].error(kind) for i in points.session])
        for kind in ("gain", "vbe", "saturation")
    )
    saturated = points.sweep == Sweep.SATURATION
    return replace(
        raw,
        points=replace(
            points,
            hfe_std=hfe * points.hfe,
            vbe_std=vbe * points.vbe,
            vce_std=np.where(saturated, sat * points.vce, NEGLIGIBLE * points.vce),
            ic_std=NEGLIGIBLE * points.ic,
        ),
    )
