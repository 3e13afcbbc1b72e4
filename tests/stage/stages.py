"""Invented stages for tests: the worked example with changes."""

from __future__ import annotations

import tomllib
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from partscreen.device.parameters import INDEX, NAMES
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.results import ChiSquare, Curves, Fit
from partscreen.screening.part_results import GRID_POINTS
from partscreen.stage.devices import KnownPart, Side
from partscreen.stage.model import Stage

EXAMPLE = Path(__file__).resolve().parents[2] / "docs" / "examples" / "stage.toml"


@cache
def library() -> Library:
    return Library.load()


def raw(**changes: Any) -> dict[str, Any]:
    """The example as a dict; `rails={...}` replaces keys of a table, a value None takes a key (or a table) out."""
    data = deepcopy(tomllib.loads(EXAMPLE.read_text(encoding="utf-8")))
    for table, keys in changes.items():
        if not isinstance(keys, dict):
            data.pop(table, None) if keys is None else data.__setitem__(table, keys)
            continue
        held = data.setdefault(table, {})
        for key, value in keys.items():
            held.pop(key, None) if value is None else held.__setitem__(key, value)
    return data


def stage(**changes: Any) -> Stage:
    return Stage.model_validate(raw(**changes))


def side(name: str, *parts: KnownPart, group: str | None = None) -> Side:
    return Side(library().type(name), group, parts)


def part(name: str, of: str, *, gain: float = 1.0, std: float = 0.01, top: float = 12.0, lot: str = "lot") -> KnownPart:
    """An accepted part: the typical part of its type with `gain` times its gain, curves up to `top` amperes.

    `std`: relative standard uncertainty of its gain curve.
    """
    population = population_for(library().type(of))
    assert population is not None
    theta = population.centre.copy()
    theta[INDEX["bf"]] += np.log(gain)
    theta[INDEX["leak"]] -= np.log(gain)
    ic = np.geomspace(0.01, top, GRID_POINTS)
    found = predict_gain(theta[None, :], population.constants, ic[None, :], 5.0, 298.15, jacobian=False)
    sat = predict_saturation(
        theta[None, :], population.constants, ic[None, :], ic[None, :] / 10, 298.15, jacobian=False
    )
    hfe = np.exp(found.ln_hfe[0])
    values = {
        "hfe": hfe,
        "hfe_std": std * hfe,
        "vbe": found.vbe[0],
        "vbe_std": np.full(GRID_POINTS, 1e-3),
        "vce_sat": sat.vce[0],
    }
    listed = {key: [None if v != v else float(v) for v in column] for key, column in values.items()}
    curves = Curves(ic=ic.tolist(), vce=5.0, forced_gain=10.0, **listed)
    chi = ChiSquare(value=1.0, dof=1, p=0.5)
    fit = Fit(names=list(NAMES), theta=theta.tolist(), prior_share=[0.1] * len(NAMES), chi_square=chi)
    return KnownPart(name, lot, of, curves, fit)
