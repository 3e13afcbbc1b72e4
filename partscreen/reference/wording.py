"""Figures and conditions in the words a data sheet uses."""

from __future__ import annotations

from collections.abc import Mapping

from partscreen.reference.symbols import CONDITIONS

_PREFIXES = ((1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"), (1e-12, "p"))
_PLAIN = frozenset({"1", "degC", "degC/W", "W/degC", "dB"})


def figure_text(value: float, unit: str) -> str:
    """A figure with an engineering prefix: 2.2e-10 F is "220 pF"; at most six digits."""
    if unit == "kg":
        value, unit = 1e3 * value, "g"
    if unit in _PLAIN or value == 0:
        return f"{value:.6g}" + ("" if unit == "1" else f" {unit}")
    scale, prefix = next((p for p in _PREFIXES if abs(value) >= p[0] * (1 - 1e-9)), _PREFIXES[-1])
    return f"{value / scale:.6g} {prefix}{unit}"


def conditions_text(conditions: Mapping[str, float]) -> str:
    """Conditions as one line: "VCE=5 V, IC=8 A"."""
    bits = []
    for key, value in conditions.items():
        name = "IC/IB" if key == "IC_over_IB" else key
        bits.append(f"{name}={figure_text(value, CONDITIONS.get(key, '1'))}")
    return ", ".join(bits)
