"""Compute `reference_curves/spreads.toml` again from published model cards and data sheets.

    python -m benchmarks.population_spreads [--write]

The collected facts are looked for beside the checkout, or where PARTSCREEN_FACTS says. Figures of basis "assumption"
are kept as they stand in the file; everything of basis "computed" is computed here. Without --write the differences
are printed.
"""

from __future__ import annotations

import json
import os
import sys
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np

from partscreen.device.parameters import INDEX
from partscreen.reference.library import Library, packaged_directory
from partscreen.reference.models import Characteristic, Curve, ReferenceType
from partscreen.reference.population_constants import gain_temperature_exponent, rated_current
from partscreen.reference.population_regression import FROM_CARDS, Card, bare_card, median_figure, read_cards, regress
from partscreen.reference.population_spreads import SPREADS_FILE, load_spreads

JUDGED = ("nkf",)  # half of the cards hold a simulator's default: chosen by hand in the file
FACTS = Path(os.environ.get("PARTSCREEN_FACTS", Path(__file__).resolve().parents[2] / "shared" / "facts"))


def single_types() -> list[ReferenceType]:
    """Types of the packaged library that the device model describes."""
    return [t for t in Library.load() if not t.is_darlington]


def capacitance_cards(types: list[ReferenceType], cards: list[Card]) -> list[Card]:
    """Types as cards of which only capacitances are known: typical values and curves of sheets, and published
    readings of sound parts.
    """
    out = []
    for of in types:
        ic, vceo = rated_current(of), of.rating("VCEO")
        if ic is None or vceo is None or ic < min(card.ic_rated for card in cards):
            continue
        table = load_spreads().constants["NPN" if of.polarity == "NPN" else "PNP"]
        known = {}
        for quantity, key, vj, m in (("C_BE", "cje", "vje", "mje"), ("C_CB", "cjc", "vjc", "mjc")):
            axis = "VEB" if quantity == "C_BE" else "VCB"
            points = [p for curve in of.curves if curve.quantity == quantity for p in curve.points[:1]]
            rows = [row for row in of.characteristics if row.symbol == quantity and row.typ and axis in row.conditions]
            points = points or [(row.conditions[axis], row.typ) for row in rows if row.typ]
            if points:
                bias, value = points[0]
                known[key] = value * (1 + bias / table[vj].value) ** table[m].value
        if known:
            out.append(bare_card(of.name, of.polarity, (ic, vceo), "data sheets", known))
        for reading in of.readings:  # bias not stated: taken as none
            if reading.quantity == "C_BE" and reading.author_judgement == "sound" and reading.bound == "value":
                read = {"cje": reading.value}
                out.append(bare_card(of.name, of.polarity, (ic, vceo), "published readings", read))
    return out


def rating_tables(cards: list[Card]) -> dict[str, Any]:
    """Regression over all cards, with residuals of predictions that left the card's own source out."""
    found = regress(cards)
    basis = "computed from published model cards (capacitances: also sheets, readings); sd: of a source not seen"
    names = list(FROM_CARDS)
    at = [INDEX[name] for name in names]
    ratings = {
        name: {"coefficients": found.coefficients[i], "sd": found.sd[i], "n": int(found.n[i]), "basis": basis}
        for name, i in zip(names, at, strict=True)
        if name not in JUDGED
    }
    rows = np.round(found.correlation[np.ix_(at, at)], 3) + 0.0
    return {
        "leverage": found.leverage,
        "ratings": ratings,
        "correlation": {"basis": "computed from the same residuals, shrunk by n/(n+20)", "names": names, "rows": rows},
    }


def _log_per_ampere(name: str) -> Callable[[Card], float | None]:
    return lambda card: float(np.log(card.figures[name] / card.ic_rated)) if card.figures.get(name, 0.0) > 0 else None


def _plain(name: str) -> Callable[[Card], float | None]:
    return lambda card: card.figures.get(name)


def constant_tables(cards: list[Card], types: list[ReferenceType]) -> dict[str, Any]:
    """Medians over the cards of each polarity; XTB from the temperature curves of the sheets."""
    out: dict[str, Any] = {}
    for polarity in ("NPN", "PNP"):
        of = [card for card in cards if card.polarity == polarity]
        table: dict[str, Any] = {}
        for name in ("isc", "ikr"):
            value, spread, n = median_figure(of, _log_per_ampere(name))
            basis = "computed from published model cards: median of the ratio to rated current; spread of its logarithm"
            table[name] = {"value": float(np.exp(value)), "spread": spread, "n": n, "per_ampere": True, "basis": basis}
        for name in ("nc", "vje", "mje", "vjc", "mjc"):
            value, spread, n = median_figure(of, _plain(name))
            table[name] = {
                "value": value,
                "spread": spread,
                "n": n,
                "basis": "computed from published model cards: median",
            }
        of_polarity = [t for t in types if t.polarity == polarity]
        found = (gain_temperature_exponent(t.curves, rated_current(t) or np.inf) for t in of_polarity)
        slopes = [slope for slope in found if slope is not None]
        table["xtb"] = {
            "value": float(np.median(slopes)), "spread": float(np.std(slopes, ddof=1)), "n": len(slopes),
            "basis": "computed from digitised hFE curves at several temperatures, median over types",
        }  # fmt: skip
        out[polarity] = table
    return out


def limit_table(types: list[ReferenceType]) -> dict[str, Any]:
    """How far typical values and typical curves lie from the limits at the same condition, one figure a type."""
    found: dict[str, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for t in types:
        for row in t.characteristics:
            if row.limit_refused or (row.temperature[0] or 25.0) > 35 or row.rank:
                continue
            typical = [row.typ] if row.typ else [v for curve in t.curves if (v := _value_at(curve, row)) is not None]
            for value in typical:
                key, position = _position(row, value)
                found[key][t.name].append(position)
    out = {}
    for key, by_type in sorted(found.items()):
        means = np.array([np.mean(v) for v in by_type.values()])
        n = len(means)
        if n < 3:
            continue
        # A mean of few types is itself uncertain: Student's 95 % quantile over the normal one widens it.
        from scipy.stats import t as student

        sd = float(np.std(means, ddof=1) * np.sqrt(1 + 1 / n) * student.ppf(0.975, n - 1) / 1.96)
        basis = "computed from typical values and digitised curves at the limit's condition, one figure a type"
        out[key] = {"mean": float(np.mean(means)), "sd": sd, "types": n, "basis": basis}
    return out


def _position(row: Characteristic, value: float) -> tuple[str, float]:
    if row.min is not None and row.max is not None:
        return "hfe_band", float(np.log(value / row.min) / np.log(row.max / row.min))
    side = "min" if row.max is None else "max"
    limit = row.min if row.max is None else row.max
    return f"{row.symbol} {side}", float(np.log(value / (limit or value)))


def _value_at(curve: Curve, row: Characteristic) -> float | None:
    """Value of a 25 degC curve at a row's condition, where the curve's own condition is near it (VCE within 1.65,
    IC/IB within 1.35 times).
    """
    c, k = row.conditions, curve.conditions
    if curve.quantity != row.symbol or not 15 <= (25 if curve.temperature_c is None else curve.temperature_c) <= 35:
        return None
    if row.symbol in ("hFE", "VBE"):
        x, near = c["IC"], abs(np.log(c["VCE"] / k.get("VCE", 5.0))) < 0.5
    elif row.symbol in ("VCE(sat)", "VBE(sat)"):
        x, near = c["IC"], abs(np.log(c["IC"] / c["IB"] / k.get("IC_over_IB", 1e9))) < 0.3
    elif row.symbol in ("C_CB", "C_BE"):
        x, near = c["VCB" if row.symbol == "C_CB" else "VEB"], True
    else:
        return None
    points = np.array(sorted(curve.points))
    if not near or not points[0, 0] * 0.99 <= x <= points[-1, 0] * 1.01:
        return None
    return float(np.exp(np.interp(np.log(x), np.log(points[:, 0]), np.log(points[:, 1]))))


def computed() -> dict[str, Any]:
    """Every table of basis "computed"."""
    cards, types = read_cards(FACTS / "model_cards.toml"), single_types()
    return {
        **rating_tables(cards + capacitance_cards(types, cards)),
        "constants": constant_tables(cards, types),
        "limits": limit_table(types),
    }


def _text(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_text(v)}" for key, v in value.items()) + " }"
    if isinstance(value, np.ndarray | list | tuple):
        return "[" + ", ".join(_text(v) for v in value) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value)
    return str(value) if isinstance(value, int) else f"{float(value):.4g}"


def dump(tables: dict[str, Any]) -> str:
    """The file's text: plain keys first, then one table a heading with one line an entry."""
    heads = [key for key, value in tables.items() if not isinstance(value, dict)]
    lines = [f"{key} = {_text(tables[key])}" for key in heads]
    lines = [line.replace("], [", "],\n  [") for line in lines]
    for key, value in tables.items():
        if key in heads:
            continue
        for name, table in _tables(key, value):
            lines += [
                "",
                f"[{name}]",
                *(f"{_key(k)} = {_text(v)}".replace("], [", "],\n  [") for k, v in table.items()),
            ]
    return "\n".join(lines) + "\n"


def _tables(key: str, value: dict[str, Any]) -> Iterable[tuple[str, dict[str, Any]]]:
    return [(f"{key}.{sub}", table) for sub, table in value.items()] if key == "constants" else [(key, value)]


def _key(key: str) -> str:
    return key if key.replace("_", "").isalnum() else json.dumps(key)


def merged(old: dict[str, Any], new: dict[str, Any]) -> dict[str, Any]:
    """The old file with its computed figures replaced; figures of basis "assumption" stay."""
    out = dict(old)
    for key, value in new.items():
        if not isinstance(value, dict) or "basis" in value:
            out[key] = value
        else:
            kept = old.get(key, {})
            out[key] = {
                **kept,
                **{
                    name: merged(kept.get(name, {}), entry) if key == "constants" else entry
                    for name, entry in value.items()
                },
            }
    return out


def main() -> None:
    """Print or write."""
    file = packaged_directory() / SPREADS_FILE
    old = tomllib.loads(file.read_text(encoding="utf-8"))
    head = "".join(line + "\n" for line in file.read_text(encoding="utf-8").splitlines() if line.startswith("#"))
    text = head + dump(merged(old, computed()))
    if "--write" in sys.argv[1:]:
        file.write_text(text, encoding="utf-8")
        print(f"written: {file}")
    else:
        print(text)


if __name__ == "__main__":
    main()
