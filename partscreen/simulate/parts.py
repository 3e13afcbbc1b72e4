"""Seeded parts with known truth: sound ones, and every way a part can be other than its print says.

All spreads and ranges here are assumptions (no maker publishes them), of the size found workable in studies on
simulated lots; they are the simulator's own and are not read by the screening.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import AREA_DIRECTION, INDEX, N_PARAMETERS
from partscreen.device.prior import TypeConstants
from partscreen.simulate.cards import TypeCard
from partscreen.simulate.physics import gain_points

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

# Standard deviations of ln(parameter), part to part within a lot and lot to lot (assumptions, see above).
WITHIN_LOT: dict[str, float] = {
    "is": 0.25, "nf": 0.002, "bf": 0.15, "ikf": 0.12, "leak": 0.40, "ne": 0.01, "vaf": 0.15, "rb": 0.10, "irb": 0.10,
    "re": 0.10, "rc": 0.10, "br": 0.15, "cje": 0.06, "cjc": 0.06, "nkf": 0.01, "qs": 0.0, "rth": 0.05,
}  # fmt: skip
BETWEEN_LOTS: dict[str, float] = {
    "is": 0.20, "nf": 0.004, "bf": 0.18, "ikf": 0.12, "leak": 0.45, "ne": 0.01, "vaf": 0.15, "rb": 0.12, "irb": 0.12,
    "re": 0.12, "rc": 0.12, "br": 0.15, "cje": 0.05, "cjc": 0.05, "nkf": 0.02, "qs": 0.0, "rth": 0.05,
}  # fmt: skip
AREA_WITHIN_LOT = 0.03  # ln area, part to part: etching and mask tolerance (assumption)
LOT_BOUND = 2.0  # lot effects are drawn within +-2 sd: a maker scraps a wafer lot further off (assumption)
FINAL_TEST_MARGIN = 0.03  # a maker tests to 3 % inside the printed limit (assumption)


class Kind(StrEnum):
    """What a part is in truth."""

    SOUND = "sound"
    SMALLER_DIE = "smaller_die"
    OTHER_TYPE = "other_type"
    LEAK = "base_emitter_leak"
    WORN = "worn"
    BOND = "damaged_bond"
    LOW_GAIN = "lower_gain"
    VOLTAGE_GRADE = "lower_voltage_grade"
    OPEN = "open"
    SHORT = "short"
    REVERSED = "reversed_leads"


NOT_BY_THE_MAKER = (
    Kind.SMALLER_DIE,
    Kind.OTHER_TYPE,
    Kind.LOW_GAIN,
    Kind.VOLTAGE_GRADE,
)  # never saw the type's last test


@dataclass(frozen=True, slots=True)
class Alternatives:
    """How far each alternative goes; a part draws uniformly from the range. All assumptions.

    `area`: die area ratio of a smaller die. `leak_gain_loss`: factor by which hFE at 10 mA falls. `worn_shunt`: ohmic
    path across base and emitter after wear [ohm]. `bond`: resistance added to the emitter [ohm]. `gain`: factor on hFE
    of a lower gain group. `grade`: lower voltage grade: factor on RC and VAF down, on CJC up. `other`: card of the die
    under the print.
    """

    area: tuple[float, float] = (0.45, 0.60)
    leak_gain_loss: tuple[float, float] = (1.5, 5.0)
    worn_shunt: tuple[float, float] = (2e3, 2e4)
    bond: tuple[float, float] = (0.02, 0.08)
    gain: tuple[float, float] = (0.50, 0.72)
    grade: tuple[float, float] = (1.2, 1.5)
    other: TypeCard | None = None


@dataclass(frozen=True, slots=True)
class TruePart:
    """The truth about one part. `area` is the die area against the print's; NaN where the die is another type's."""

    name: str
    lot: str
    marked: str
    true_type: str
    kind: Kind
    area: float

    @property
    def sound(self) -> bool:
        """Is it what its print says, and whole?"""
        return self.kind is Kind.SOUND


@dataclass(frozen=True, slots=True)
class Parts:
    """Parts of one lot with all that decides their readings.

    theta : shape (n_parts, n_parameters); shunt : ohm across base and emitter, infinite where none, shape (n_parts,)
    card : index into `constants`, shape (n_parts,).
    """

    truth: tuple[TruePart, ...]
    theta: Floats
    shunt: Floats
    card: Ints
    constants: tuple[TypeConstants, ...]

    @property
    def n_parts(self) -> int:
        """Number of parts."""
        return len(self.truth)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parts."""
        return tuple(t.name for t in self.truth)

    def of_kind(self, *kinds: Kind) -> npt.NDArray[np.bool_]:
        """Which parts are of these kinds; shape (n_parts,)."""
        return np.array([t.kind in kinds for t in self.truth], dtype=bool)


def draw_lot(
    card: TypeCard,
    kinds: Sequence[Kind],
    seed: int | Sequence[int],
    *,
    lot: str = "L1",
    alternatives: Alternatives | None = None,
    prefix: str | None = None,
) -> Parts:
    """One lot of parts printed as `card`'s type, in the given order of kinds.

    Parts from the type's own maker share one lot effect, parts from elsewhere another, drawn alike.

    Raises
    ------
    ValueError
        A kind needs the card of another type and `alternatives.other` is None, or no part passes its last test.
    """
    rng = np.random.default_rng(seed)
    ways = alternatives or Alternatives()
    elsewhere = np.array([kind in NOT_BY_THE_MAKER for kind in kinds], dtype=bool)
    own = card.theta + _lot_effect(rng)
    foreign_effect = _lot_effect(rng)
    theta = np.empty((len(kinds), N_PARAMETERS))
    theta[~elsewhere] = _passing_final_test(card, own, int((~elsewhere).sum()), rng)
    theta[elsewhere] = card.theta + foreign_effect + _part_effect(rng, int(elsewhere.sum()))
    shunt = np.full(len(kinds), np.inf)
    which = np.zeros(len(kinds), dtype=np.int64)
    constants = [card.constants]
    if ways.other is not None:
        constants.append(ways.other.constants)
    truths = []
    stem = prefix if prefix is not None else f"{lot}-"
    for i, kind in enumerate(kinds):
        area = 1.0
        true_type = card.type_number
        if kind is Kind.SMALLER_DIE:
            area = float(rng.uniform(*ways.area))
            theta[i] += np.log(area) * AREA_DIRECTION
        elif kind is Kind.OTHER_TYPE:
            if ways.other is None:
                raise ValueError("a part with another type's die needs that type's card: give Alternatives(other=...)")
            theta[i] += ways.other.theta - card.theta
            area, true_type, which[i] = float("nan"), ways.other.type_number, 1
        else:
            shunt[i] = _spoil(theta[i], kind, ways, card.constants.ic_rated, rng)
        truths.append(TruePart(f"{stem}{i + 1:02d}", lot, card.type_number, true_type, kind, area))
    return Parts(tuple(truths), theta, shunt, which, tuple(constants))


def rename(parts: Parts, names: Sequence[str]) -> Parts:
    """The same parts under other names, one name a part (else ValueError)."""
    truth = tuple(replace(t, name=name) for t, name in zip(parts.truth, names, strict=True))
    return replace(parts, truth=truth)


def in_order(pieces: Sequence[Parts]) -> Parts:
    """Parts of several draws one after the other, as they come to the bench; a part may come more than once."""
    constants: list[TypeConstants] = []
    card = []
    for piece in pieces:
        for constant in piece.constants:
            if constant not in constants:
                constants.append(constant)
        card.append(np.array([constants.index(piece.constants[k]) for k in piece.card], dtype=np.int64))
    return Parts(
        tuple(t for piece in pieces for t in piece.truth),
        np.concatenate([piece.theta for piece in pieces]),
        np.concatenate([piece.shunt for piece in pieces]),
        np.concatenate(card),
        tuple(constants),
    )


def take(parts: Parts, rows: slice) -> Parts:
    """Some of the parts, in order."""
    return Parts(parts.truth[rows], parts.theta[rows], parts.shunt[rows], parts.card[rows], parts.constants)


def _vector(spread: dict[str, float]) -> Floats:
    out = np.zeros(N_PARAMETERS)
    for name, value in spread.items():
        out[INDEX[name]] = value
    return out


def _lot_effect(rng: np.random.Generator) -> Floats:
    return np.clip(rng.standard_normal(N_PARAMETERS), -LOT_BOUND, LOT_BOUND) * _vector(BETWEEN_LOTS)


def _part_effect(rng: np.random.Generator, n: int) -> Floats:
    own: Floats = rng.standard_normal((n, N_PARAMETERS)) * _vector(WITHIN_LOT)
    return own + AREA_WITHIN_LOT * rng.standard_normal((n, 1)) * AREA_DIRECTION


def _passing_final_test(card: TypeCard, centre: Floats, n: int, rng: np.random.Generator) -> Floats:
    """Parts around `centre` that meet the maker's last test: what a maker ships is cut off at the printed limits."""
    kept: list[Floats] = []
    count = 0
    for _ in range(60):
        if count >= n:
            break
        theta = centre + _part_effect(rng, n + 8)
        passed = np.ones(len(theta), dtype=bool)
        for limit in card.final_test:
            hfe = gain_points(
                theta, card.constants, np.array([limit.ic]), np.array([limit.vce]), np.array([card.constants.tnom])
            ).hfe[:, 0]
            passed &= (hfe >= limit.low * (1 + FINAL_TEST_MARGIN)) & (hfe <= limit.high * (1 - FINAL_TEST_MARGIN))
        kept.append(theta[passed])
        count += int(passed.sum())
    if count < n:
        raise ValueError(f"{card.type_number}: this lot's centre lies outside the maker's last test; take another seed")
    return np.concatenate(kept)[:n] if kept else np.empty((0, N_PARAMETERS))


def _spoil(theta: Floats, kind: Kind, ways: Alternatives, ic_rated: float, rng: np.random.Generator) -> float:
    """Change one part's `theta` in place as its kind asks; returns its base-emitter shunt [ohm]."""
    if kind is Kind.LEAK:
        # hFE(10 mA) = 0.01 / (0.01 / BF + leak): divide it by the loss through the leak alone.
        ideal = 0.01 / np.exp(theta[INDEX["bf"]])
        base = ideal + np.exp(theta[INDEX["leak"]])
        theta[INDEX["leak"]] = np.log(base * rng.uniform(*ways.leak_gain_loss) - ideal)
    elif kind is Kind.WORN:
        theta[INDEX["ne"]] = np.log(2.0)
        theta[INDEX["leak"]] += np.log(rng.uniform(2.0, 6.0))
        return float(rng.uniform(*ways.worn_shunt))
    elif kind is Kind.BOND:
        extra = rng.uniform(*ways.bond)
        theta[INDEX["re"]] = np.log(np.exp(theta[INDEX["re"]]) + extra)
    elif kind is Kind.LOW_GAIN:
        factor = np.log(rng.uniform(*ways.gain))
        theta[INDEX["bf"]] += factor
        theta[INDEX["leak"]] -= factor
    elif kind is Kind.VOLTAGE_GRADE:
        factor = np.log(rng.uniform(*ways.grade))
        theta[INDEX["rc"]] -= factor
        theta[INDEX["vaf"]] -= factor
        theta[INDEX["cjc"]] += factor
    elif kind is Kind.REVERSED:
        _swap_collector_and_emitter(theta, ic_rated)
    return float("inf")


def _swap_collector_and_emitter(theta: Floats, ic_rated: float) -> None:
    """The same die run backwards: the reverse gain carries, the emitter's junction blocks.

    What the card does not hold: reverse Early voltage 30 V, reverse knee 0.3 of rated current (assumption: middle of
    published cards of 10 to 50 A types in a public collection, madmpro/spice-workspace).
    """
    for one, other in (("bf", "br"), ("re", "rc"), ("cje", "cjc")):
        theta[INDEX[one]], theta[INDEX[other]] = theta[INDEX[other]], theta[INDEX[one]]
    theta[INDEX["vaf"]] = np.log(30.0)
    theta[INDEX["ikf"]] = np.log(0.3 * ic_rated)
