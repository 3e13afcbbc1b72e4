"""The regression of parameters on ratings, on cards made up with known figures."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.device.parameters import INDEX
from partscreen.reference.population_regression import Card, bare_card, design, regress, source_group


def _cards(rng: np.random.Generator, *, shift: float = 0.0, n: int = 160) -> list[Card]:
    """Cards of four sources; ln IS = -28 + 0.8 x + noise 0.5, ln CJC also on VCEO; sources apart by `shift`."""
    out = []
    for i in range(n):
        ic, vceo = float(np.exp(rng.uniform(0, 3))), float(np.exp(rng.uniform(4, 6)))
        x = design(ic, vceo)
        known = {
            "is": float(np.exp(x @ [-28, 0.8, 0] + 0.5 * rng.normal() + shift * (i % 4 - 1.5))),
            "cjc": float(np.exp(x @ [-22, 1.1, 0.4] + 0.3 * rng.normal())),
        }
        out.append(bare_card(f"T{i}", "NPN", (ic, vceo), f"source {i % 4}", {**_others(rng), **known}))
    return out


def _others(rng: np.random.Generator) -> dict[str, float]:
    names = ("nf", "bf", "ikf", "leak", "ne", "vaf", "rb", "re", "rc", "br", "cje", "nkf")
    return {name: float(np.exp(rng.normal())) for name in names}


def test_coefficients_and_spread_of_made_up_cards_are_found_again():
    found = regress(_cards(np.random.default_rng(1)))
    assert found.coefficients[INDEX["is"]] == pytest.approx([-28, 0.8, 0], abs=0.15)
    assert found.coefficients[INDEX["cjc"]] == pytest.approx([-22, 1.1, 0.4], abs=0.12)
    # Widened by sqrt(1 + 1/4) for four sources.
    assert found.sd[INDEX["is"]] == pytest.approx(0.5 * np.sqrt(1.25), rel=0.2)


def test_sources_that_differ_widen_the_spread_because_each_is_predicted_without_itself():
    alike, apart = regress(_cards(np.random.default_rng(2))), regress(_cards(np.random.default_rng(2), shift=1.0))
    assert apart.sd[INDEX["is"]] > 2.0 * alike.sd[INDEX["is"]]
    assert apart.sd[INDEX["cjc"]] == pytest.approx(alike.sd[INDEX["cjc"]], rel=1e-9)


def test_one_absurd_card_moves_no_coefficient_by_its_standard_error():
    cards = _cards(np.random.default_rng(3))
    absurd = bare_card("X", "NPN", (5.0, 100.0), "source 0", {"is": 1e-2})
    with_it, without = regress([*cards, absurd]), regress(cards)
    standard_error = 0.5 / np.sqrt(len(cards))
    assert abs(with_it.coefficients[INDEX["is"], 0] - without.coefficients[INDEX["is"], 0]) < standard_error


def test_correlation_is_positive_definite_and_unrelated_parameters_are_left_uncorrelated():
    found = regress(_cards(np.random.default_rng(4)))
    assert np.linalg.eigvalsh(found.correlation).min() > 0
    assert np.diag(found.correlation) == pytest.approx(1.0)
    assert abs(found.correlation[INDEX["is"], INDEX["cjc"]]) < 0.05


def test_cards_of_one_author_in_two_collections_are_one_source():
    assert source_group(
        "kicad-spice-library/... Models/Manufacturer/Zetex Semiconductors/ZMODELS.LIB (model ZTX1)"
    ) == source_group("kicad-spice-library/... Models/uncategorized/spice_complete/zetex.lib (model ZTX2)")
