"""Type worlds: what a type truly is, and what a screener may know of it.

Kind "prior": a type of the shipped library, its truth drawn from the shipped population. Kind "card": a published model
card is the truth, its ratings and one row of hFE limits all that is known.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from benchmarks.honesty.circuit import gain_sweep, saturation_sweep
from benchmarks.honesty.parts import card_of
from partscreen.device.parameters import NAMES, PARAMETERS
from partscreen.reference.library import Library
from partscreen.reference.limits import limits
from partscreen.reference.models import Device, ReferenceType, Source
from partscreen.reference.population import Population, population_for
from partscreen.reference.population_constants import rated_current
from partscreen.reference.rows import Characteristic, Rating

Floats = npt.NDArray[np.float64]
FACTS = Path(os.environ.get("PARTSCREEN_FACTS", Path(__file__).resolve().parents[3] / "shared" / "facts"))
LEAST_CURRENT = 7.0  # [A] rated: output transistors
ROOM = 298.15  # [K]
_DRAWS = 120
_AS_THEY_STAND = ("is", "nf", "bf", "ikf", "ne", "vaf", "rb", "irb", "re", "rc", "br", "cje", "cjc", "nkf")


@dataclass(frozen=True, slots=True)
class World:
    """One type.

    card : truth, SPICE names. reference : what is known. hfe_limits : rows (IC [A], VCE [V], min, max) that a maker's
    last test applies; infinite where open.
    """

    name: str
    kind: str
    polarity: str
    ic_rated: float
    card: dict[str, float]
    reference: ReferenceType
    hfe_limits: tuple[tuple[float, float, float, float], ...]

    def population(self) -> Population:
        """What the toolkit makes of the reference."""
        found = population_for(self.reference)
        assert found is not None
        return found


@lru_cache(maxsize=1)
def library() -> tuple[ReferenceType, ...]:
    """Single transistors of the shipped library rated at 7 A or more."""
    out = []
    for of in Library.load():
        ic = rated_current(of)
        if not of.is_darlington and ic is not None and ic >= LEAST_CURRENT:
            out.append(of)
    return tuple(sorted(out, key=lambda t: t.name))


def card_worlds() -> list[World]:
    """Every published card of a power transistor with believable gain, saturation and capacitances."""
    types = tomllib.loads((FACTS / "model_cards.toml").read_text(encoding="utf-8"))["types"]
    out = []
    for name, entry in types.items():
        believable = entry["cap_ok"] and entry["sat_ok"] and entry["gain_ok"]
        if believable and entry["ic_a"] >= LEAST_CURRENT and "same_figures_as" not in entry:
            out.append(_card_world(name, entry))
    return out


def _card_world(name: str, entry: dict) -> World:  # type: ignore[type-arg]
    card = card_of(entry["gp"])
    rng = np.random.default_rng([17, *name.encode()])
    ic, vce = 0.2 * entry["ic_a"], 5.0
    typical = float(typical_gain(card, ic, vce))
    # A sheet's band of about three to one, the typical part not quite in its middle (assumption).
    shift = rng.normal(0.0, 0.1)
    low, high = typical / 1.7 * np.exp(shift), typical * 1.7 * np.exp(shift)
    reference = ReferenceType(
        device=Device(type_number=name, polarity=entry["polarity"].upper(), role="output"),
        sources=(Source(id="SHEET", title="ratings and one hFE row around the card", basis="stored copy"),),
        ratings=(
            Rating(symbol="IC", value=entry["ic_a"], unit="A", source=("SHEET",)),
            Rating(symbol="VCEO", value=entry["vceo_v"], unit="V", source=("SHEET",)),
        ),
        characteristics=(
            Characteristic(
                symbol="hFE", min=low, max=high, unit="1", conditions={"IC": ic, "VCE": vce}, case_temperature_c=25.0,
                source=("SHEET",),
            ),
        ),
    )  # fmt: skip
    return World(
        f"card {name}", "card", reference.polarity, float(entry["ic_a"]), card, reference, ((ic, vce, low, high),)
    )


def typical_gain(card: dict[str, float], ic: float, vce: float) -> float:
    """hFE of a card at one point."""
    one = {k: np.array([v]) for k, v in card.items()}
    return float(gain_sweep(one, np.array([ic]), vce, np.array([ROOM]))[0][0, 0])


def prior_world(of: ReferenceType, seed: int) -> World | None:
    """A type whose truth is drawn from its shipped population, edition included; None where no draw is like the sheet.

    A draw must lie inside the type's own printed limits of hFE, VBE and VCE(sat) (a maker sells no type outside its
    sheet) and carry its rated current at 5 V.
    """
    population = population_for(of)
    ic_rated = rated_current(of)
    if population is None or ic_rated is None:
        return None
    rng = np.random.default_rng([23, seed, *of.name.encode()])
    theta = rng.multivariate_normal(population.centre, population.centre_covariance, _DRAWS, method="eigh")
    theta = theta[np.exp(theta[:, NAMES.index("nkf")]) < 1.0]
    cards = [card_from_coordinates(t, population) for t in theta]
    together = {k: np.array([c[k] for c in cards]) for k in cards[0]}
    rows = hfe_rows(of)
    fits = _like_the_sheet(together, of, rows, ic_rated)
    if not fits.any():
        return None
    card = cards[int(np.flatnonzero(fits)[0])]
    return drawn_world(of, card, f"{of.name} #{seed}")


def drawn_world(of: ReferenceType, card: dict[str, float], name: str) -> World:
    """A library type with its drawn truth."""
    ic_rated = rated_current(of)
    assert ic_rated is not None
    return World(name, "prior", of.polarity, ic_rated, card, of, hfe_rows(of))


def card_from_coordinates(theta: Floats, population: Population) -> dict[str, float]:
    """A card from fit coordinates by their definitions (partscreen/device/parameters.py), written here anew."""
    v = {p.name: float(np.exp(x)) if p.log else float(x) for p, x in zip(PARAMETERS, theta, strict=True)}
    k = population.constants
    figures = {name: v[name] for name in _AS_THEY_STAND}
    figures |= {"vje": k.vje, "mje": k.mje, "vjc": k.vjc, "mjc": k.mjc, "xtb": k.xtb, "xti": k.xti, "eg": k.eg}
    figures |= {"isc": k.isc, "nc": k.nc}
    figures |= {name: value for name, value in (("ikr", k.ikr), ("var", k.var)) if np.isfinite(value)}
    figures["ise"] = v["leak"] * (0.01 / v["is"]) ** (-v["nf"] / v["ne"])
    card = card_of(figures)
    card["rbm"] = min(1e-4, card["rb"])  # the coordinates have a base resistance that falls towards nothing
    return card


def hfe_rows(of: ReferenceType) -> tuple[tuple[float, float, float, float], ...]:
    """Printed hFE limits at IC and VCE, 25 degC, the widest edition."""
    found: dict[tuple[float, float], list[float]] = {}
    for limit in limits(of):
        if limit.symbol != "hFE" or not limit.is_limit or limit.gain_group or abs(limit.temperature - ROOM) > 3:
            continue
        if not {"IC", "VCE"} <= set(limit.conditions):
            continue
        row = found.setdefault((limit.conditions["IC"], limit.conditions["VCE"]), [0.0, np.inf])
        if limit.side == "min":
            row[0] = min(row[0], limit.value) if row[0] else limit.value
        else:
            row[1] = max(row[1], limit.value) if np.isfinite(row[1]) else limit.value
    return tuple((ic, vce, low, high) for (ic, vce), (low, high) in sorted(found.items()))


def _like_the_sheet(cards: dict[str, Floats], of: ReferenceType, rows, ic_rated: float):  # type: ignore[no-untyped-def]
    n = cards["is"].size
    temp = np.full(n, ROOM)
    hfe, vbe = gain_sweep(cards, np.array([0.01, 0.3 * ic_rated, min(10.0, 0.7 * ic_rated)]), 5.0, temp)
    fits = np.isfinite(hfe).all(axis=1) & (vbe[:, 0] > 0.45) & (vbe[:, 0] < 0.75) & (vbe[:, 2] < 4.0)
    for ic, vce, low, high in rows:
        at, _ = gain_sweep(cards, np.array([ic]), vce, temp)
        with np.errstate(invalid="ignore"):
            fits &= (at[:, 0] > 1.15 * low) & (at[:, 0] < high / 1.15)
    tops = [x for x in limits(of) if x.symbol == "VCE(sat)" and x.is_limit and x.side == "max" and "IC" in x.conditions]
    for limit in tops:
        ic, ib = limit.conditions["IC"], limit.conditions.get("IB", 0.0)
        if ib and abs(ic / ib - 10.0) < 0.5:
            with np.errstate(invalid="ignore"):
                fits &= saturation_sweep(cards, np.array([ic]), temp)[:, 0] < 0.95 * limit.value
    sat = saturation_sweep(cards, np.array([0.1, min(1.0, 0.1 * ic_rated)]), temp)
    return fits & np.isfinite(sat).all(axis=1)
