"""The invented type cards against the published typical curves they imitate."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from partscreen.errors import UnknownType
from partscreen.simulate.cards import card_names, type_card
from partscreen.simulate.physics import capacitance_points, gain_points, sat_points
from tests.facts import FACTS, needs_facts

TYPES = ("2SC5200", "2SA1943", "MJL21194", "MJL21193")


def curve(type_number: str, quantity: str, highest: float, **conditions: float) -> np.ndarray:
    sheet = tomllib.loads((FACTS / "datasheets" / f"{type_number.lower()}.toml").read_text(encoding="utf-8"))
    for entry in sheet["curves"]:
        same = all(entry["conditions"].get(k) == v for k, v in conditions.items())
        if entry["quantity"] == quantity and entry.get("temperature_c", 25) == 25 and same:
            points = np.array(entry["points"])
            return points[points[:, 0] <= highest]
    raise LookupError((type_number, quantity))


def at(value: float, like: np.ndarray) -> np.ndarray:
    return np.full((1, len(like)), value)


@needs_facts
@pytest.mark.parametrize(
    ("type_number", "vce", "highest"),
    [("2SC5200", 5.0, 20.0), ("2SA1943", 5.0, 20.0), ("MJL21194", 20.0, 10.0), ("MJL21193", 5.0, 15.0)],
)
def test_typical_gain_follows_the_digitised_curve_within_twelve_percent(type_number, vce, highest):
    # Digitised typical curves of the data sheets named in demo_cards.toml.
    points = curve(type_number, "hFE", highest, VCE=vce)
    card = type_card(type_number)
    read = gain_points(card.theta[None], card.constants, points[None, :, 0], at(vce, points), at(298.15, points))
    assert np.max(np.abs(read.hfe[0] / points[:, 1] - 1)) < 0.12


@needs_facts
@pytest.mark.parametrize("type_number", TYPES)
def test_typical_saturation_follows_the_digitised_curve_within_a_third(type_number):
    points = curve(type_number, "VCEsat", 10.0, IC_over_IB=10.0)
    card = type_card(type_number)
    ic = points[None, :, 0]
    read = sat_points(card.theta[None], card.constants, ic, ic / 10, at(298.15, points))
    assert np.max(np.abs(np.log(read.vce[0] / points[:, 1]))) < np.log(4 / 3)


@pytest.mark.parametrize(
    ("type_number", "farad"), [("2SC5200", 200e-12), ("2SA1943", 360e-12), ("MJL21194", 206e-12), ("MJL21193", 413e-12)]
)
def test_output_capacitance_at_ten_volts_is_the_published_one(type_number, farad):
    # Cob at 10 V: Fairchild Rev. A2 (typical row) and onsemi MJL21193/D Rev. 7 (figures 14 and 15).
    card = type_card(type_number)
    assert capacitance_points(card.theta[None], card.constants, 1, 10.0)[0] == pytest.approx(farad, rel=0.05)


def test_every_card_says_what_it_was_shaped_after():
    assert set(card_names()) == set(TYPES)
    assert all("at" in type_card(name).shaped_after and type_card(name).final_test for name in TYPES)


def test_a_type_without_card_is_named_with_those_that_have_one():
    with pytest.raises(UnknownType, match="2SC5200"):
        type_card("2N3055")
