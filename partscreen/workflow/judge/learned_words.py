"""Learned spreads in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partscreen.reference.learned import LearnedFigure, LearnedSpreads


def learned_lines(learned: LearnedSpreads) -> list[str]:
    """What was learned, one parameter a line."""
    lines = [
        f"Learned from {learned.parts} parts of {learned.lots} lots: {', '.join(learned.types)}",
        "Standard deviations, of natural logarithms except qs [V]; in brackets 95 % interval, default, lots behind it",
    ]
    for name, within in learned.within.items():
        between = learned.between[name]
        if within.lots or between.lots:
            lines.append(f"  {name:5} within a lot {_figure(within)}; between lots {_figure(between)}")
    for name, centre in learned.centres.items():
        lines.append(f"  centre of {name}: from {centre.parts} parts of {centre.lots} known-good lots")
    return lines


def _figure(of: LearnedFigure) -> str:
    if not of.lots:
        return f"{of.default:.3g} (default, not seen)"
    held = ", held at 0.8 of it" if of.held else ""
    return f"{of.value:.3g} ({of.low:.3g} to {of.high:.3g}; default {of.default:.3g}{held}; {of.lots} lots)"
