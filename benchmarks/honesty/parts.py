"""Parts drawn around a type's card: lot effects, spread within a lot, and what can be wrong with a part.

All spreads are assumptions (standard deviations of natural logarithms), no source; they are the ones a feasibility
study of the method used, and were not tuned on results of the engine.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

WITHIN = {
    "bf": 0.15, "is": 0.25, "ikf": 0.12, "rb": 0.10, "re": 0.10, "rc": 0.10, "irb": 0.10, "cje": 0.06, "cjc": 0.06,
    "leak": 0.40, "nf": 0.002, "ne": 0.01, "vaf": 0.15, "br": 0.15, "nkf": 0.02, "rco": 0.10,
}  # fmt: skip
AREA_WITHIN = 0.03
BETWEEN = {
    "bf": 0.18, "is": 0.25, "ikf": 0.12, "rb": 0.12, "re": 0.12, "rc": 0.12, "irb": 0.12, "cje": 0.05, "cjc": 0.05,
    "leak": 0.45, "nf": 0.004, "ne": 0.02, "vaf": 0.15, "br": 0.15, "nkf": 0.04, "rco": 0.12,
}  # fmt: skip

_WITH_AREA = ("is", "ise", "isc", "ikf", "ikr", "irb", "cje", "cjc")
_AGAINST_AREA = ("rb", "rbm", "re", "rc", "rco")
_AT_10_MA = 0.01  # [A]
CARD_DEFAULTS = {
    "nf": 1.0, "nkf": 0.5, "ise": 0.0, "ne": 1.5, "vaf": 0.0, "ikf": 0.0, "var": 0.0, "ikr": 0.0, "isc": 0.0, "nc": 2.0,
    "rb": 0.0, "irb": 0.0, "re": 0.0, "rc": 0.0, "xtb": 0.0, "xti": 3.0, "eg": 1.11, "br": 1.0, "bf": 100.0,
    "vje": 0.75, "mje": 0.33, "vjc": 0.75, "mjc": 0.33, "rco": 0.0, "vo": 10.0, "gamma": 1e-11,
}  # fmt: skip
CARD_NAMES = ("is", "cje", "cjc", "nr", "rbm", *CARD_DEFAULTS)


def card_of(figures: Mapping[str, float]) -> dict[str, float]:
    """A whole card from published figures: simulator defaults filled in, NR = NF, NKF at most 1 as ngspice has it."""
    card = {**CARD_DEFAULTS, **{k: float(v) for k, v in figures.items() if k in CARD_NAMES}}
    card["nkf"] = min(card["nkf"], 1.0)
    card["nr"] = card["nf"]
    card["rbm"] = card.get("rbm") or card["rb"]
    return card


def lot_effect(rng: np.random.Generator) -> dict[str, float]:
    """How one lot of a type lies off the type, natural logarithms."""
    return {name: rng.normal(0.0, sd) for name, sd in BETWEEN.items()}


def draw_parts(
    card: Mapping[str, float], lot: Mapping[str, float], n: int, rng: np.random.Generator, *, area: npt.ArrayLike = 1.0
) -> dict[str, Floats]:
    """Cards of n parts of one lot, values of shape (n,). `area`: of the die, against the type's."""
    shift = {name: lot[name] + rng.normal(0.0, sd, n) for name, sd in WITHIN.items()}
    total_area = np.asarray(area) * np.exp(rng.normal(0.0, AREA_WITHIN, n))
    out = {name: np.full(n, value) for name, value in card.items()}
    leak = recombination(out)
    for name, ln in shift.items():
        if name != "leak":
            out[name] = out[name] * np.exp(ln)
    out["rbm"] = out["rbm"] * np.exp(shift["rb"])
    out["nkf"] = np.minimum(out["nkf"], 1.0)
    out["nr"] = out["nf"].copy()
    set_recombination(out, leak * np.exp(shift["leak"]))
    for name in _WITH_AREA:
        out[name] = out[name] * total_area
    for name in _AGAINST_AREA:
        out[name] = out[name] / total_area
    out["area"] = total_area
    return out


def recombination(cards: Mapping[str, Floats]) -> Floats:
    """Recombination base current at a transport current of 10 mA. [A]"""
    return np.asarray(cards["ise"] * (_AT_10_MA / cards["is"]) ** (cards["nf"] / cards["ne"]))


def set_recombination(cards: dict[str, Floats], leak: Floats) -> None:
    """Choose ISE so that the recombination base current at 10 mA is `leak`."""
    cards["ise"] = leak * (_AT_10_MA / cards["is"]) ** (-cards["nf"] / cards["ne"])


def with_leak(cards: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
    """Base-emitter leak: hFE at 10 mA down by a factor of 1.5 to 5.

    Recombination with an emission coefficient outside 1.4 to 2.5, where a card has such a one, gives way to one of 1.5
    to 2.2: leaks of real junctions lie there (common practice, no source).
    """
    out = dict(cards)
    before = recombination(out)
    whole = _AT_10_MA / out["bf"] + before
    usual = (out["ne"] > 1.4) & (out["ne"] < 2.5)
    out["ne"] = np.where(usual, out["ne"], rng.uniform(1.5, 2.2, before.size))
    set_recombination(out, before + whole * (rng.uniform(1.5, 5.0, before.size) - 1.0))
    return out


def with_gain(cards: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
    """Gain lower by a factor of 0.5 to 0.72 at every current."""
    out = dict(cards)
    factor = rng.uniform(0.5, 0.72, out["bf"].size)
    out["bf"] = out["bf"] * factor
    out["ise"] = out["ise"] / factor
    return out


def with_bond(cards: dict[str, Floats], rng: np.random.Generator) -> dict[str, Floats]:
    """A damaged bond: 10 to 60 milliohm more in the emitter, half of that in the collector."""
    out = dict(cards)
    more = rng.uniform(0.01, 0.06, out["re"].size)
    out["re"], out["rc"] = out["re"] + more, out["rc"] + 0.5 * more
    return out


def pick(cards: Mapping[str, Floats], rows: npt.ArrayLike) -> dict[str, Floats]:
    """Some of the parts."""
    return {name: values[rows] for name, values in cards.items()}


def join(*several: Mapping[str, Floats]) -> dict[str, Floats]:
    """Parts one after another."""
    return {name: np.concatenate([cards[name] for cards in several]) for name in several[0]}
