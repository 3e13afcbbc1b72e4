"""Regression of device parameters on ratings over published model cards: what a rated current says of a die.

The figures it yields are shipped in `reference_curves/spreads.toml`; this module computes them, and computes them
again with one source of cards left out, which is how their uncertainty is measured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.device.mapping import LEAK_CURRENT
from partscreen.device.parameters import INDEX, N_PARAMETERS

Floats = npt.NDArray[np.float64]

IC_SCALE = 5.0
VCEO_SCALE = 100.0
USES_VCEO = ("bf", "vaf", "cje", "cjc")  # where leaving a source out showed it to help
FROM_CARDS = ("is", "nf", "bf", "ikf", "leak", "ne", "vaf", "rb", "re", "rc", "br", "cje", "cjc", "nkf")
MIN_OWN_RESIDUALS = 12
SHRINK = 20.0


@dataclass(frozen=True, slots=True)
class Card:
    """A published card as a parameter vector. `theta`: shape (n_parameters,), NaN where the card is silent or not
    believable.
    """

    name: str
    polarity: str
    ic_rated: float
    vceo: float
    group: str
    theta: Floats
    figures: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Regression:
    """ln parameter = coefficients @ (1, ln IC/5 A, ln VCEO/100 V) + residual.

    coefficients : shape (n_parameters, 3); sd, n : shape (n_parameters,), NaN and 0 where no card speaks;
    correlation : shape (n_parameters, n_parameters) of the residuals; leverage : shape (3, 3), inverse of the
    design's X'X.
    """

    coefficients: Floats
    sd: Floats
    n: npt.NDArray[np.int64]
    correlation: Floats
    leverage: Floats


def bare_card(name: str, polarity: str, ratings: tuple[float, float], group: str, known: Mapping[str, float]) -> Card:
    """A type of which only some parameters are known, from its sheet or from readings. `ratings`: IC [A], VCEO [V]."""
    theta = np.full(N_PARAMETERS, np.nan)
    for key, value in known.items():
        theta[INDEX[key]] = np.log(value)
    return Card(name, polarity, *ratings, group, theta, {})


def source_group(source: str) -> str:
    """Collections of cards extracted by one hand: the unit that is left out."""
    if source.startswith("madmpro"):
        return "spice-workspace"
    for mark, group in (("ZMODELS", "zetex"), ("zetex", "zetex"), ("Bordodynovs", "standard.bjt collection")):
        if mark in source:
            return group
    return "spice_complete"


def read_cards(path: Path) -> list[Card]:
    """Published cards of a TOML file of the shape [types.NAME] with a table `gp` of SPICE figures."""
    types = tomllib.loads(path.read_text(encoding="utf-8"))["types"]
    return [_card(name, entry) for name, entry in types.items()]


def _card(name: str, entry: Mapping[str, Any]) -> Card:
    figures: dict[str, float] = {key: float(value) for key, value in entry["gp"].items()}
    theta = np.full(N_PARAMETERS, np.nan)
    for key in FROM_CARDS:
        # A card without NKF was drawn up with the simulators' default of one half.
        value = figures.get("nkf", 0.5) if key == "nkf" else _leak(figures) if key == "leak" else figures.get(key)
        if value is not None and value > 0:
            theta[INDEX[key]] = np.log(value)
    if "nf" not in figures:
        theta[INDEX["nf"]] = 0.0  # the simulators' default
    if not figures.get("ise"):
        theta[[INDEX["leak"], INDEX["ne"]]] = np.nan
    if not entry.get("cap_ok", False):
        theta[[INDEX["cje"], INDEX["cjc"]]] = np.nan
    if not entry.get("gain_ok", False):
        theta[[INDEX["bf"], INDEX["ikf"], INDEX["nkf"]]] = np.nan
    if not entry.get("sat_ok", False):
        theta[[INDEX["rc"], INDEX["br"]]] = np.nan
    return Card(
        name,
        str(entry["polarity"]).upper(),
        float(entry["ic_a"]),
        float(entry["vceo_v"]),
        source_group(entry["source"]),
        theta,
        figures,
    )


def _leak(figures: Mapping[str, float]) -> float | None:
    """Recombination base current where the transport current is 10 mA."""
    ise = figures.get("ise", 0.0)
    if ise <= 0:
        return None
    return float(ise * (LEAK_CURRENT / figures["is"]) ** (figures.get("nf", 1.0) / figures.get("ne", 1.5)))


def design(ic_rated: Floats | float, vceo: Floats | float) -> Floats:
    """Regressors (1, ln IC/5 A, ln VCEO/100 V); shape (..., 3)."""
    ic, v = np.broadcast_arrays(np.asarray(ic_rated, float), np.asarray(vceo, float))
    return np.stack([np.ones_like(ic), np.log(ic / IC_SCALE), np.log(v / VCEO_SCALE)], axis=-1)


def _columns(name: str) -> list[int]:
    return [0, 1, 2] if name in USES_VCEO else [0, 1]


def _coefficients(x: Floats, y: Floats, name: str) -> Floats:
    """Least squares with Huber weights: a few cards hold figures no silicon has."""
    columns = _columns(name)
    weights = np.ones(len(y))
    beta: Floats = np.zeros(len(columns))
    for _ in range(20):
        root = np.sqrt(weights)
        beta = np.asarray(np.linalg.lstsq(x[:, columns] * root[:, None], y * root, rcond=None)[0], dtype=np.float64)
        residual = y - x[:, columns] @ beta
        # Where most cards hold the same default the median deviation is nil; half the sd is the floor.
        scale = max(
            1.4826 * float(np.median(np.abs(residual - np.median(residual)))), 0.5 * float(np.std(residual)), 1e-9
        )
        weights = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(residual), 1e-12))
    full = np.zeros(3)
    full[columns] = beta
    return full


def regress(cards: Iterable[Card]) -> Regression:
    """Coefficients over all cards; sd of the prediction for a card of a source not seen before; correlation of the
    residuals.

    Residuals are those of predictions made with the card's own source left out.
    """
    cards = list(cards)
    theta = np.array([card.theta for card in cards])
    x = design(np.array([card.ic_rated for card in cards]), np.array([card.vceo for card in cards]))
    groups = np.array([card.group for card in cards])
    coefficients = np.full((N_PARAMETERS, 3), np.nan)
    residuals = np.full(theta.shape, np.nan)
    sd = np.full(N_PARAMETERS, np.nan)
    for name in FROM_CARDS:
        column = INDEX[name]
        known = np.isfinite(theta[:, column])
        coefficients[column] = _coefficients(x[known], theta[known, column], name)
        for group in np.unique(groups):
            train, held = known & (groups != group), known & (groups == group)
            if train.sum() >= MIN_OWN_RESIDUALS and held.any():
                residuals[held, column] = theta[held, column] - x[held] @ _coefficients(
                    x[train], theta[train, column], name
                )
        sd[column] = _spread(residuals[known, column], groups[known])
    n = np.isfinite(theta).sum(axis=0)
    return Regression(
        coefficients, sd, n, _correlation(residuals, sd), np.asarray(np.linalg.inv(x.T @ x), dtype=np.float64)
    )


def _spread(left_out: Floats, groups: npt.NDArray[np.str_]) -> float:
    """sd for a card of a new source, from residuals whose own source was left out.

    The larger of their root mean square and their 95 % quantile over 1.96, so that tails are kept; widened by
    sqrt(1 + 1/sources), because the shift of a source is known from a handful of sources only.
    """
    seen = left_out[np.isfinite(left_out)]
    sd = max(float(np.sqrt(np.mean(seen**2))), float(np.quantile(np.abs(seen), 0.95)) / 1.96)
    return sd * float(np.sqrt(1.0 + 1.0 / len(np.unique(groups[np.isfinite(left_out)]))))


def _correlation(residuals: Floats, sd: Floats) -> Floats:
    """Pairwise correlation of residuals clipped at 2.5 sd, shrunk towards none by the number of cards, made positive
    definite.
    """
    z = np.clip(residuals / sd, -2.5, 2.5)
    size = residuals.shape[1]
    matrix = np.eye(size)
    for i in range(size):
        for j in range(i):
            both = np.isfinite(z[:, i]) & np.isfinite(z[:, j])
            count = int(both.sum())
            if count >= MIN_OWN_RESIDUALS:
                r = float(np.corrcoef(z[both, i], z[both, j])[0, 1]) * count / (count + SHRINK)
                # Below twice its own standard error a correlation is noise and is left out.
                matrix[i, j] = matrix[j, i] = r if abs(r) * np.sqrt(count) > 2.0 else 0.0
    values, vectors = np.linalg.eigh(matrix)
    matrix = (vectors * np.maximum(values, 0.05)) @ vectors.T
    scale = 1.0 / np.sqrt(np.diag(matrix))
    return np.asarray(matrix * scale[:, None] * scale[None, :])


def median_figure(cards: Iterable[Card], pick: Callable[[Card], float | None]) -> tuple[float, float, int]:
    """Median, half the 16-84 % range and number of the cards that state a figure."""
    values = np.array([value for card in cards if (value := pick(card)) is not None and np.isfinite(value)])
    low, middle, high = np.quantile(values, [0.16, 0.5, 0.84])
    return float(middle), float(high - low) / 2, len(values)
