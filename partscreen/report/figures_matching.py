"""Matched curves on top of each other: gain, and what VBE differs by. Ready arrays in, no statistics."""

from __future__ import annotations

import numpy as np

from partscreen.matching.overlay import Overlay
from partscreen.report.figures import ic_label, short
from partscreen.report.panels import (
    Band,
    Label,
    Line,
    Mark,
    Panel,
    Sign,
    decade_range,
    linear_axis,
    log_axis,
    spread_labels,
)

_ROOM = 1.9  # of the current axis to the right, for the names
_DASHES: tuple[tuple[float, ...], ...] = ((), (5.0, 2.5), (1.2, 2.0), (7.0, 2.0, 1.2, 2.0))
_KEY = (Sign("", "NPN", weight=1.3), Sign("", "PNP", weight=0.8))


def _dash(position: str) -> tuple[float, ...]:
    """NPN and PNP of one place share a dash; the word beside the line says which is which."""
    return _DASHES[(int(position[1:]) - 1) % len(_DASHES)]


def _weight(position: str) -> float:
    return 1.3 if position.startswith("N") else 0.8


def matched_gain_panel(found: Overlay, number: int, tolerance_percent: float, conditions: str = "") -> Panel:
    """hFE of every part of a set; the band is the tolerance about the first part, where currents were compared.

    `conditions`: of the curves, for the axis.
    """
    low, high = decade_range(float(found.ic[0]), float(found.ic[-1]), room=1.0)
    x = log_axis(ic_label(conditions), low, high * _ROOM, "A")
    y = linear_axis("hFE (fitted curves)", 0.0, float(found.hfe.max()) * 1.2, about=4)
    inside = (found.ic >= found.low * (1 - 1e-9)) & (found.ic <= found.high * (1 + 1e-9))
    share = 1.0 + tolerance_percent / 100.0
    marks: list[Mark] = []
    if inside.any():
        first = found.hfe[0, inside]
        marks.append(Band(found.ic[inside], first / share, first * share, 0.12))
    lines, labels = [], []
    for position, hfe, name in zip(found.positions, found.hfe, found.names, strict=True):
        lines.append(Line(found.ic, hfe, _weight(position), 1.0, _dash(position)))
        labels.append(Label(float(found.ic[-1]) * 1.06, float(hfe[-1]), f"{position} {short(name)}"))
    words = f"Gain of the parts of set {number} over collector current; band: {tolerance_percent:g} % about the first."
    return Panel(f"Set {number}: gain", words, x, y, (*marks, *lines, *spread_labels(labels, y)), key=_KEY)


def matched_vbe_panel(found: Overlay, number: int, tolerance: float, conditions: str = "") -> Panel:
    """What the VBE of every part differs by from the mean of its rail; the band is the tolerance [V] between two.

    `conditions`: of the curves, for the axis.
    """
    low, high = decade_range(float(found.ic[0]), float(found.ic[-1]), room=1.0)
    x = log_axis(ic_label(conditions), low, high * _ROOM, "A")
    far = max(0.65 * tolerance, 1.15 * float(np.abs(found.vbe_from_rail).max()))
    y = linear_axis("VBE from the mean [mV]", -far, far, scale=1e-3, about=5)
    edge = np.array([found.low, found.high])
    marks: list[Mark] = [Band(edge, np.full(2, -tolerance / 2), np.full(2, tolerance / 2), 0.12)]
    labels = []
    for position, vbe, name in zip(found.positions, found.vbe_from_rail, found.names, strict=True):
        marks.append(Line(found.ic, vbe, _weight(position), 1.0, _dash(position)))
        labels.append(Label(float(found.ic[-1]) * 1.06, float(vbe[-1]), f"{position} {short(name)}"))
    words = (
        f"Base-emitter voltage of the parts of set {number} less the mean of their rail; band: {tolerance * 1e3:g} mV "
        "wide, the most two of them may differ by."
    )
    return Panel(f"Set {number}: base-emitter voltage", words, x, y, (*marks, *spread_labels(labels, y)), key=_KEY)
