"""A figure before it is drawn: axes with ticks, and marks. Data first, drawing second.

`partscreen.report.drawing` puts a panel on a matplotlib axes, `partscreen.report.svg` writes it as a small SVG;
both look alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.report.numbers import MINUS, exact

Floats = npt.NDArray[np.float64]

INK = (27, 38, 54)  # one ink on paper; every tone is a mix of the two
PAPER = (255, 255, 255)
_ROW_HEIGHT = 14.0  # of a word at the left axis [px]


def tint(tone: float) -> str:
    """The ink thinned to `tone` (1: full ink, 0: paper), as a hexadecimal colour."""
    mixed = (round(p + (i - p) * tone) for i, p in zip(INK, PAPER, strict=True))
    return "#" + "".join(f"{c:02x}" for c in mixed)


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: label with unit, range, and ticks as (position, text)."""

    label: str
    low: float
    high: float
    log: bool
    ticks: tuple[tuple[float, str], ...]

    def place(self, value: Floats) -> Floats:
        """Where values lie on the axis, 0 at its low end and 1 at its high end. NaN stays NaN."""
        if not self.log:
            return (np.asarray(value, dtype=float) - self.low) / (self.high - self.low)
        with np.errstate(invalid="ignore", divide="ignore"):
            logs = np.log(np.where(np.asarray(value) > 0, value, np.nan))
        return np.asarray((logs - math.log(self.low)) / (math.log(self.high) - math.log(self.low)))


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points; NaN breaks it. `dash`: lengths on and off."""

    x: Floats
    y: Floats
    weight: float = 0.8
    tone: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Points:
    """Marks of one shape: disc, ring, diamond, cross, up, down or bar."""

    x: Floats
    y: Floats
    shape: str
    tone: float = 1.0
    size: float = 3.0
    filled: bool = False


@dataclass(frozen=True, slots=True)
class Band:
    """A filled band between two curves; an open side runs to the edge of the axes (NaN)."""

    x: Floats
    low: Floats
    high: Floats
    tone: float


@dataclass(frozen=True, slots=True)
class Label:
    """A word beside a point."""

    x: float
    y: float
    text: str
    anchor: str = "start"  # start, middle, end


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of the current axis over which the band has one origin; drawn as a bar along the top."""

    low: float
    high: float
    text: str
    tone: float


Mark = Line | Points | Band | Label


@dataclass(frozen=True, slots=True)
class Sign:
    """A shape or a line and the word for it. `shape` "": a line with `dash` and `weight`."""

    shape: str
    word: str
    filled: bool = False
    dash: tuple[float, ...] = ()
    weight: float = 0.8


@dataclass(frozen=True, slots=True)
class Panel:
    """One figure: its name, what it shows in words (for those who cannot see it), its axes, its marks back to front.

    `key`: its signs in words, drawn where the figure stands alone; pages say them once for all their figures.
    """

    title: str
    description: str
    x: Axis
    y: Axis
    marks: tuple[Mark, ...]
    stretches: tuple[Stretch, ...] = ()
    key: tuple[Sign, ...] = ()

    @property
    def left_letters(self) -> int:
        """Letters of the longest word at the left axis, for which room must be left."""
        return max((len(text) for _, text in self.y.ticks), default=0)

    def tall(self, usual: float) -> float:
        """Height on a page [px]: the usual one, or what the words at the left axis need below each other."""
        return max(usual, _ROW_HEIGHT * len(self.y.ticks) + 80.0)


def category_axis(label: str, words: Sequence[str | None]) -> Axis:
    """An axis with one place a word, the first on top, at n, n-1 ... 1; None: a place without a word."""
    n = len(words)
    ticks = tuple((float(n - i), word) for i, word in enumerate(words) if word is not None)
    return Axis(label, 0.4, n + 0.6, False, ticks)


def log_axis(label: str, low: float, high: float, unit: str, *, scale: float = 1.0) -> Axis:
    """A logarithmic axis with a tick a decade, more where few decades are shown; `scale` as in `linear_axis`."""
    wide = math.log10(high / low)
    steps: tuple[float, ...] = (1, 2, 5) if wide < 1.7 else (1,) if wide > 2.4 else (1, 3)
    if wide < 0.6:  # less than a factor of four
        steps = (1, 1.5, 2, 3, 4, 5, 6, 8)
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    places = [step * 10.0**decade for decade in decades for step in steps]
    ticks = tuple((p, exact(float(f"{p / scale:.6g}"), unit)) for p in places if low * 0.999 <= p <= high * 1.001)
    return Axis(label, low, high, True, ticks)


def linear_axis(label: str, low: float, high: float, *, scale: float = 1.0, about: int = 5) -> Axis:
    """A linear axis with round ticks, printed in units of `scale` (1e-9 where the label says nF)."""
    rough = (high - low) / scale / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough * 0.999)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9) + (1 if round(step / power, 3) == 2.5 else 0))
    first, last = math.ceil(low / scale / step - 1e-9), math.floor(high / scale / step + 1e-9)
    ticks = tuple(
        (k * step * scale, f"{k * step:.{decimals}f}".replace("-", MINUS) if k else "0") for k in range(first, last + 1)
    )
    return Axis(label, low, high, False, ticks)


def span(arrays: Iterable[Floats], *, positive: bool = False) -> tuple[float, float] | None:
    """Lowest and highest finite (and positive) value of several arrays, or None where there is none."""
    joined = np.concatenate([np.zeros(0), *(np.ravel(np.asarray(a, dtype=float)) for a in arrays)])
    joined = joined[np.isfinite(joined) & ((joined > 0) | (not positive))]
    return (float(joined.min()), float(joined.max())) if joined.size else None


def decade_range(low: float, high: float, room: float = 1.25) -> tuple[float, float]:
    """A logarithmic range with room at both ends, never narrower than a factor four."""
    low, high = low / room, high * room
    if high / low < 4:
        middle = math.sqrt(low * high)
        low, high = middle / 2, middle * 2
    return low, high


def padded(low: float, high: float, share: float = 0.08, least: float = 0.0) -> tuple[float, float]:
    """A linear range with room at both ends, at least `least` wide."""
    wide = max(high - low, least, abs(high) * 1e-6, 1e-30)
    middle = (low + high) / 2
    return middle - wide * (0.5 + share), middle + wide * (0.5 + share)


def spread_labels(labels: list[Label], y: Axis, gap: float = 0.06) -> list[Label]:
    """Move labels apart along y until each has `gap` of the axis to itself; order kept."""
    if not labels:
        return []
    order = sorted(labels, key=lambda label: label.y)
    places = [float(y.place(np.array([label.y]))[0]) for label in order]
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + gap)
    over = max(0.0, places[-1] - 0.98)
    moved = []
    for label, place in zip(order, places, strict=True):
        at = max(0.02, place - over)
        value = y.low * (y.high / y.low) ** at if y.log else y.low + at * (y.high - y.low)
        moved.append(Label(label.x, value, label.text, label.anchor))
    return moved
