"""A kit in words and words to a kit: accuracies as makers print them, what is not believable, what is overdue."""

from __future__ import annotations

import calendar
import re
from datetime import date

from partscreen.quantities import QUANTITIES
from partscreen.readings.columns.numbers import MIXED, BadCell, read_cell
from partscreen.readings.columns.units import DoubtfulUnit, read_unit

# Best limit of error that any bench instrument holds over a year, as a share of a large reading (memory: laboratory
# multimeters, bridges and source-measure sets; a tenth of it is asked to be sure that nobody is turned away).
BEST = {"V": 1e-6, "A": 1e-5, "F": 1e-5, "1": 1e-5, "K": 1e-5, "Hz": 1e-12, "s": 1e-12, "m": 1e-6}
WORST = 0.5  # share of the largest reading from which on a limit of error leaves no reading (assumption)
MOST_COUNTS = 1e8  # steps that a display has over its range (memory: eight and a half digits)

_DIGITS = re.compile(
    r"(?P<counts>[\d.,]+)\s*(?:digits?|counts?|dgts?|d|lsd)?\s*(?:of|x|\*|×|at|@)\s*(?P<size>.+)", re.IGNORECASE
)


def parse_accuracy(text: str, quantity: str) -> dict[str, float]:
    """`1 % + 2 digits of 1 pF`, `0.5 % + 0.2 mV`: percent, counts, count_size, absolute (SI) as a kit file has them.

    Raises
    ------
    ValueError
        It cannot be read, or no instrument is as good or as bad: what, and how to write it.
    """
    unit = QUANTITIES[quantity].unit
    out: dict[str, float] = {}

    def put(key: str, value: float) -> None:
        if key in out:
            raise ValueError(f"{text!r} says {'percent' if key == 'percent' else 'the same thing'} twice; {_FORM}")
        out[key] = value

    for piece in filter(None, (bit.strip() for bit in re.split(r"\+(?!/)|\band\b|;", text.replace("±", "")))):
        digits = _DIGITS.fullmatch(piece)
        if digits:
            put("counts", figure(digits["counts"], "1"))
            put("count_size", figure(digits["size"], unit))
        elif piece.endswith(("%", "percent")):
            put("percent", 100.0 * figure(piece, "1"))
        else:
            put("absolute", figure(piece, unit))
    if not any(out.get(key, 0.0) > 0.0 for key in ("percent", "counts", "absolute")):
        raise ValueError(f"an accuracy of zero is not believable: no instrument is without error; {_FORM}")
    return out


_FORM = 'write it as on the data sheet, say "1 % + 2 digits of 1 pF" or "0.5 % + 0.2 mV"'


def figure(text: str, si_unit: str) -> float:
    """A magnitude with its unit, in SI.

    Raises
    ------
    ValueError
        No figure, another unit, or two readings.
    """
    read = read_cell(text.strip(), MIXED)
    if isinstance(read, BadCell):
        raise ValueError(f"{read.what}; {read.fix}")
    value, unit = read
    if value != value:
        raise ValueError(f"{text!r} is no figure; write one, say {_example(si_unit)}")
    if value < 0.0:
        raise ValueError(f"{text!r} is below zero; write a magnitude, say {_example(si_unit)}")
    if not unit and si_unit not in ("1",):
        raise ValueError(f"{text!r} has no unit; write it, say {_example(si_unit)}")
    try:
        reading = read_unit(unit, si_unit)
    except DoubtfulUnit as doubt:
        raise ValueError(f"{doubt}; write the unit with its proper case") from doubt
    except ValueError as error:
        raise ValueError(f"{unit!r} does not fit here; write it with a unit such as {_example(si_unit)}") from error
    return float(f"{reading.factor * value + reading.offset:.12g}")


def _example(si_unit: str) -> str:
    return {"A": "10 mA", "V": "5 V", "F": "20 nF", "Hz": "1 MHz", "s": "300 us", "ohm": "30 mohm", "1": "10",
            "K": "25 degC", "m": "2 mm"}[si_unit]  # fmt: skip


def not_believable(quantity: str, accuracy: dict[str, float], top: float | None) -> str:
    """Why no instrument has this limit of error; "" where one may. `top`: largest reading of its range (SI)."""
    symbol, unit = QUANTITIES[quantity].symbol, QUANTITIES[quantity].unit
    percent, absolute = accuracy.get("percent", 0.0), accuracy.get("absolute", 0.0)
    counts, size = accuracy.get("counts", 0.0), accuracy.get("count_size", 0.0)
    if percent > 100.0 * WORST:
        return f"{symbol}: {percent:g} % of reading leaves no reading; is it {percent / 100:g} %?"
    if top is None:
        best = 100.0 * BEST.get(unit, 0.0)
        if 0.0 < percent < best and not (counts or absolute):
            return f"{symbol}: {percent:g} % is better than any bench instrument holds; is a unit or a zero missing?"
        return ""
    share = percent / 100.0 + (counts * size + absolute) / top
    if share < BEST.get(unit, 0.0):
        return (
            f"{symbol}: a limit of error of {100 * share:.2g} % at {_shown(top, unit)} is better than any bench "
            "instrument holds; is a unit or a zero missing?"
        )
    if share > WORST:
        return (
            f"{symbol}: a limit of error of {100 * share:.3g} % at its largest reading of {_shown(top, unit)} "
            "leaves no reading; look at the unit of the digit and of the range"
        )
    if size and top / size > MOST_COUNTS:
        return f"{symbol}: {top / size:.0e} steps of {_shown(size, unit)} up to {_shown(top, unit)} are on no display"
    return ""


def _shown(value: float, unit: str) -> str:
    for factor, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n")):
        if value >= factor * 0.999 and unit != "1":
            return f"{value / factor:.4g} {prefix}{unit}"
    return f"{value / 1e-12:.4g} p{unit}" if unit != "1" and value > 0.0 else f"{value:.4g}"


def months_after(day: date, months: int) -> date:
    """The same day so many months later, or the last one of that month."""
    month = day.month - 1 + months
    year, month = day.year + month // 12, month % 12 + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def overdue(name: str, calibrated_on: date | None, months: int | None, today: date) -> str:
    """A warning where the calibration is overdue, or dated in the future; "" where it is not."""
    if calibrated_on is None:
        return ""
    if calibrated_on > today:
        return f"Kit {name!r}: calibrated on {calibrated_on.isoformat()}, which is still to come; look at the date."
    if months is None or months_after(calibrated_on, months) >= today:
        return ""
    due = months_after(calibrated_on, months)
    return (
        f"Kit {name!r}: calibration is overdue. Last on {calibrated_on.isoformat()}, every {months} months, so due on "
        f"{due.isoformat()}, {(today - due).days} days ago. Accuracies are taken as the file states them; check the "
        "instruments against something known."
    )
