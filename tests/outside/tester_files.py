"""Digitised data-sheet curves as the files a tester would write: one part for each type and sheet."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from partscreen.readings.corrections import correct
from partscreen.readings.import_files import import_files
from partscreen.readings.kit import Kit, load_kit
from partscreen.readings.quality import check_quality
from partscreen.readings.tables import Batch, Floats
from partscreen.readings.uncertainty import SessionUncertainty, apply_kit, session_uncertainty
from partscreen.reference.library import Library
from partscreen.reference.rows import Curve

HEADER = (
    "lot", "part", "session", "sweep", "run", "ic [A]", "ib [A]", "vce [V]", "vbe [V]", "hfe", "case temp [degC]",
    "pulse",
)  # fmt: skip


@dataclass(frozen=True)
class DrawnCurve:
    """A curve as arrays with rising current. `condition`: VCE [V], or the forced gain of a saturation curve."""

    index: int
    condition: float
    stated_celsius: float | None
    ic: Floats
    value: Floats
    reading_error: float


@dataclass(frozen=True)
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

    @property
    def errors(self) -> tuple[float, float, float]:
        """Largest relative reading error of its gain, VBE and saturation curves (0.03 where it has none)."""
        kinds = (self.gain, self.vbe, self.saturation)
        hfe, vbe, sat = (max((c.reading_error for c in kind), default=0.03) for kind in kinds)
        return hfe, vbe, sat


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


def write_kit(path: Path, errors: tuple[float, float, float]) -> None:
    """A kit as accurate as the figure could be read.

    A kit prints a limit of error; the reading error is a standard uncertainty. The importer takes the limit as that of
    a rectangular distribution (JCGM 100:2008, 4.3.7), hence the square root of three; of a gain 0.3 of it differs from
    point to point and the whole is shared by the session, which makes 1.044 of the reading error together.
    """
    hfe, vbe, sat = (100.0 * np.sqrt(3.0) * error for error in errors)
    path.write_text(
        f"""name = "a figure, read to {errors[0]:.1%} in gain"
temperature = 25.0
[[instruments]]
name = "a digitised figure"
reads = ["ic", "ib", "hfe", "vbe", "vce_sat"]
accuracy.ic = {{ percent = 0.1 }}
accuracy.ib = {{ percent = 0.1 }}
accuracy.hfe = {{ percent = {hfe:.6f} }}
accuracy.vbe = {{ percent = {vbe:.6f} }}
accuracy.vce_sat = {{ percent = {sat:.6f} }}
""",
        encoding="utf-8",
    )


def imported(folder: Path, parts: Sequence[DrawnPart], markings: Sequence[str]) -> tuple[Batch, SessionUncertainty]:
    """The bag written, then read by the ordinary reader, checked and corrected; every sheet with the kit it deserves.

    The command takes one kit a run; here one run holds sheets read to 1 % and to 6 %, so the uncertainties of each
    session come from its own kit file.
    """
    write_bag(folder / "bag.csv", parts, markings)
    sheet = folder / "lots.csv"
    sheet.write_text("lot,type\n" + "".join(f"{name},{name}\n" for name in markings), encoding="utf-8")
    raw = import_files([folder / "bag.csv"], lot_sheet=sheet)
    assert raw.problems == ()
    by_session: dict[str, Kit] = {}
    for number, part in enumerate(parts):
        write_kit(folder / f"kit{number}.toml", part.errors)
        by_session[part.name] = load_kit(folder / f"kit{number}.toml")
    batch, shared = _with_kits(raw, by_session)
    batch, _ = correct(batch, None)
    return check_quality(batch, None, lambda lot: parts[0].polarity), shared


def _with_kits(raw: Batch, by_session: dict[str, Kit]) -> tuple[Batch, SessionUncertainty]:
    batch, shared = apply_kit(raw, None), session_uncertainty(raw, None)
    points, gain, lead, temp = batch.points, shared.gain_ln_std, shared.lead_std, shared.temp_std
    for number, name in enumerate(batch.sessions):
        kit = by_session[name]
        read = apply_kit(raw, kit)
        of_kit = session_uncertainty(read, kit)
        mine = points.session == number
        stds = ("ic_std", "hfe_std", "vbe_std", "vce_std")
        points = replace(
            points, **{key: np.where(mine, getattr(read.points, key), getattr(points, key)) for key in stds}
        )
        at = np.arange(len(batch.sessions)) == number
        gain, temp = np.where(at, of_kit.gain_ln_std, gain), np.where(at, of_kit.temp_std, temp)
        lead = np.where(at, of_kit.lead_std, lead)
    return replace(batch, points=points), SessionUncertainty(temp, gain, lead)
