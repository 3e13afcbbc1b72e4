"""Figures as people read them: engineering prefixes, and no more digits than the uncertainty allows."""

from __future__ import annotations

import math

COVERAGE = 2.0  # k of the expanded uncertainty (JCGM 100:2008, 6.2 and 6.3: about 95 % for a normal distribution)

_PREFIXES = {-15: "f", -12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
_PREFIXED = frozenset({"A", "V", "F", "Hz", "W", "s", "m", "Ω"})
_PLAIN = {"1": "", "ohm": "Ω", "degC": "°C", "degC/W": "°C/W"}
_SPACE = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"


def unit_symbol(unit: str) -> str:
    """The printed symbol of a unit of the results; the unit of a ratio is empty."""
    return _PLAIN.get(unit, unit)


def _scale(value: float, symbol: str) -> tuple[float, str]:
    """Factor and prefixed symbol that bring a value between 1 and 1000."""
    if symbol not in _PREFIXED or value == 0 or not math.isfinite(value):
        return 1.0, symbol
    # The small step keeps 999.6 mA from being printed as "1000 mA".
    exponent = 3 * math.floor(math.log10(abs(value) * 1.0005) / 3)
    exponent = min(9, max(-15, exponent))
    return 10.0**exponent, _PREFIXES[exponent] + symbol


def _fixed(value: float, decimals: int) -> str:
    rounded = round(value, decimals)
    text = f"{rounded:.{max(0, decimals)}f}"
    return (MINUS + text[1:] if text.startswith("-") else text) if rounded else text.lstrip("-")


def _significant(value: float, digits: int) -> str:
    if value == 0:
        return "0"
    exponent = int(f"{value:.{digits - 1}e}".split("e")[1])  # after rounding: 0.9996 to three digits is 1.00
    return _fixed(value, digits - 1 - exponent)


def _join(number: str, symbol: str) -> str:
    return f"{number}{_SPACE}{symbol}" if symbol else number


def figure(value: float | None, unit: str, digits: int = 3) -> str:
    """A value without a stated uncertainty, to `digits` significant digits: `13.4 mA`. None and NaN: `not known`."""
    if value is None or math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "unbounded"
    factor, symbol = _scale(value, unit_symbol(unit))
    return _join(_significant(value / factor, digits), symbol)


def exact(value: float, unit: str) -> str:
    """A printed limit as it stands in its source, prefixed but not rounded: `400 mV`, `55`."""
    factor, symbol = _scale(value, unit_symbol(unit))
    text = f"{value / factor:.10g}"
    return _join(MINUS + text[1:] if text.startswith("-") else text, symbol)


def measured(value: float | None, std: float | None, unit: str) -> str:
    """A value with its expanded uncertainty (k = 2), both rounded to two digits of it: `104.3 ± 3.1`.

    Without an uncertainty the value is printed to three digits and says so.
    """
    if value is None or not math.isfinite(value):
        return "not known"
    if std is None or not math.isfinite(std) or std <= 0:
        return f"{figure(value, unit)} (uncertainty not known)"
    expanded = COVERAGE * std
    factor, symbol = _scale(max(abs(value), expanded), unit_symbol(unit))
    decimals = 1 - math.floor(math.log10(expanded / factor))
    # More than 9 decimals would print noise of the floating point number.
    decimals = min(decimals, 9)
    return _join(f"{_fixed(value / factor, decimals)} ± {_fixed(expanded / factor, decimals)}", symbol)


def probability(value: float | None) -> str:
    """A probability in plain digits, honest at both ends: `0.97`, `below 0.001`, `above 0.999`."""
    if value is None or math.isnan(value):
        return "not known"
    if value < 0.001:
        return "below 0.001"
    if value > 0.999:
        return "above 0.999"
    return f"{value:.3f}" if value < 0.01 or value > 0.99 else f"{value:.2f}"


def logged(theta: float, std: float | None, unit: str) -> str:
    """A positive parameter from its natural logarithm; a wide one as a factor: `3.1 pA, within a factor 1.8`."""
    value = math.exp(theta)
    if std is None or not math.isfinite(std) or std <= 0:
        return f"{figure(value, unit, 2)} (uncertainty not known)"
    if COVERAGE * std > 0.3:  # assumption: beyond 30 % a plus-minus misleads, the distribution is skew
        return f"{figure(value, unit, 2)}, within a factor {math.exp(COVERAGE * std):.2g}"
    return measured(value, value * std, unit)


def loose(value: float | int | str | None) -> str:
    """A figure of a reason or setting whose unit its key names."""
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}".replace("-", MINUS)
    return str(value)


def odds(evidence: float) -> str:
    """Evidence (natural logarithm of a likelihood ratio) as a sentence in odds."""
    against = "if the part is substituted or unfit than if it is as marked"
    marked = "if the part is as marked than if it is substituted or unfit"
    ratio = math.exp(min(abs(evidence), 50.0))
    if ratio < 1.15:  # assumption: closer than that nobody would tell the two apart
        return "The readings are about as likely either way."
    size = "more than a million" if ratio > 1e6 else f"about {float(f'{ratio:.2g}'):,.10g}"
    return f"The readings are {size} times likelier {against if evidence > 0 else marked}."
