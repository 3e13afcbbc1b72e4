"""Simulated lots, read part by part: nothing here uses the formulas of the program."""

from __future__ import annotations

import numpy as np

from partscreen.lots.readings_power import ReadingsPower

WEAK = ReadingsPower(power=0.85, false_alarm=0.02, held_if_good=0.06, held_if_bad=0.12)
AGAINST = ReadingsPower(power=0.85, false_alarm=0.03, held_if_good=0.06, held_if_bad=0.12, held_counts="against")
DROPS = ReadingsPower(power=0.85, false_alarm=0.03, held_if_good=0.06, held_if_bad=0.12)
STRICT = ReadingsPower(power=0.85, false_alarm=0.005, held_if_good=0.01, held_if_bad=0.20, held_counts="against")


def shuffled_truth(rng, lots: int, lot_size: int, bad) -> np.ndarray:
    """Bad parts of many lots in the order they are drawn; (lots, lot_size) of bool. `bad`: number, or one a lot."""
    bad = np.broadcast_to(np.asarray(bad), (lots,))
    truth = np.arange(lot_size) < bad[:, None]
    return rng.permuted(truth, axis=1)


def read(rng, truth: np.ndarray, readings: ReadingsPower) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Failed, held and passed parts; three arrays of bool of the shape of `truth`."""
    held = rng.random(truth.shape) < np.where(truth, readings.held_if_bad, readings.held_if_good)
    failed = ~held & (rng.random(truth.shape) < np.where(truth, readings.power, readings.false_alarm))
    return failed, held, ~held & ~failed


def against(failed: np.ndarray, held: np.ndarray, readings: ReadingsPower) -> np.ndarray:
    """Parts that count against the lot."""
    return failed | held if readings.held_counts == "against" else failed


def within(seen: int, of: int, chance: float, sigmas: float = 4.0) -> bool:
    """Whether a count lies in the binomial band of a stated chance (4 standard deviations and one)."""
    return abs(seen - of * chance) <= sigmas * np.sqrt(of * chance * (1 - chance)) + 1.0
