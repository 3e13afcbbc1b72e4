"""What a bipolar transistor is: Gummel-Poon model, saturation, capacitance, heat, and the fit of many parts at once."""

from __future__ import annotations

from partscreen.device.capacitance import junction_capacitance, predict_capacitance
from partscreen.device.card import Card, card_from_spice
from partscreen.device.fit import fit_parts
from partscreen.device.fit_result import FitResult, gain_from_fit, saturation_from_fit
from partscreen.device.forward import gain_at, saturation_at
from partscreen.device.mapping import card_from_theta, constants_from_card, theta_from_card
from partscreen.device.predict import predict_gain, predict_saturation

__all__ = [
    "Card",
    "FitResult",
    "card_from_spice",
    "card_from_theta",
    "constants_from_card",
    "fit_parts",
    "gain_at",
    "gain_from_fit",
    "junction_capacitance",
    "predict_capacitance",
    "predict_gain",
    "predict_saturation",
    "saturation_at",
    "saturation_from_fit",
    "theta_from_card",
]
