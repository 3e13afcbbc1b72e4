"""How far a type's population may be trusted: predictions from which a source was left out, against that source.

    python -m benchmarks.population_study [cards | curves | fits | pairs | capacitance | all]

Prints the tables that docs/population.md quotes. The collected facts are looked for beside the checkout, or where
PARTSCREEN_FACTS says.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.stats import chi2

from benchmarks.population_spreads import FACTS, single_types
from partscreen.device.fit import fit_parts
from partscreen.device.observations import Observations
from partscreen.device.parameters import INDEX
from partscreen.reference.models import Curve, ReferenceType
from partscreen.reference.population import population_for
from partscreen.reference.population_constants import rated_current
from partscreen.reference.population_fit import fit_centre, predict
from partscreen.reference.population_regression import FROM_CARDS, Card, design, read_cards, regress
from partscreen.reference.population_spreads import load_spreads
from partscreen.reference.population_witnesses import LINEAR_REGION, Kind, Witnesses, gather

Floats = npt.NDArray[np.float64]
Z95 = 1.96
DRAWS = 1500


def cards_left_out(cards: list[Card]) -> dict[str, Floats]:
    """Per parameter, standardised residuals of every card about a regression made without the card's own collection."""
    out: dict[str, list[float]] = defaultdict(list)
    for group in sorted({card.group for card in cards}):
        held = [card for card in cards if card.group == group]
        found = regress([card for card in cards if card.group != group])
        for card in held:
            x = design(card.ic_rated, card.vceo)
            sd = found.sd * np.sqrt(1.0 + float(x @ found.leverage @ x))
            z = (card.theta - found.coefficients @ x) / sd
            for name in FROM_CARDS:
                if np.isfinite(z[INDEX[name]]):
                    out[name].append(float(z[INDEX[name]]))
    return {name: np.array(values) for name, values in out.items()}


@dataclass(frozen=True, slots=True)
class CurveCheck:
    """A drawn curve read as a part of its type, against the population.

    difference : to the population's centre, one a point (V or relative); rank : share of the population's parts below;
    rated_share : collector current over rated current;
    chi_square, dof : of the fit of the curve with the population as prior.
    """

    type_number: str
    kind: Kind
    source: str
    difference: Floats
    rank: Floats
    rated_share: Floats
    chi_square: float
    dof: int

    @property
    def p(self) -> float:
        """Probability of a larger misfit."""
        return float(chi2.sf(self.chi_square, self.dof))


def check_curve(of: ReferenceType, curve: Curve, *, without: tuple[str, ...]) -> CurveCheck | None:
    """A curve against the population made without some sources; None where the curve is no DC reading of the
    library's model.
    """
    spreads, ic_rated = load_spreads(), rated_current(of)
    population = population_for(of, leave_out_sources=without)
    alone = of.model_copy(update={"curves": (curve,), "characteristics": ()})
    if population is None or ic_rated is None:
        return None
    witnesses = gather(alone, spreads, ic_rated)
    if not len(witnesses):
        return None
    kind = witnesses.kind[0]
    if kind >= Kind.C_BE:  # the fit takes the grading as given; its uncertainty belongs to the reading
        extra = population.gradings[0 if kind is Kind.C_BE else 1].ln_std(witnesses.second)
        witnesses.shape = list(np.hypot(witnesses.shape, extra))
    prior = population.part_prior()
    rng = np.random.default_rng(3)
    theta = rng.multivariate_normal(prior.mean, prior.covariance, DRAWS, method="eigh")
    noise = rng.multivariate_normal(np.zeros(len(witnesses)), witnesses.covariance(), DRAWS, method="eigh")
    drawn = predict(theta, witnesses, population.constants, jacobian=False)[0]
    # A part that cannot be there has no gain left, or a voltage without bound.
    drawn = np.where(np.isfinite(drawn), drawn, -np.inf if kind is Kind.HFE else np.inf) + noise
    value = np.array(witnesses.value)
    centre = predict(prior.mean[None], witnesses, population.constants, jacobian=False)[0][0]
    if kind is Kind.VCE_SAT:  # the typical part has left saturation there: no voltage to compare
        centre = np.where(centre > LINEAR_REGION, np.nan, centre)
    difference = value - centre
    fitted = fit_centre(
        prior.mean, prior.covariance, witnesses, population.constants, np.zeros_like(prior.covariance), forgiving=False
    )
    rank = np.mean(drawn < value, axis=0)
    share = np.array(witnesses.ic) / ic_rated
    return CurveCheck(of.name, kind, curve.source[0], difference, rank, share, fitted.chi_square, fitted.dof)


def all_curves(*, ratings_only: bool) -> list[CurveCheck]:
    """Every usable 25 degC curve, its own source left out; `ratings_only`: every source left out."""
    out = []
    for of in single_types():
        everything = tuple(source.id for source in of.sources)
        for curve in of.curves:
            found = check_curve(of, curve, without=everything if ratings_only else curve.source)
            if found is not None:
                out.append(found)
    return out


def low_current(checks: list[CurveCheck], top: float = 0.1) -> dict[str, float]:
    """rms difference to the centre of points below a share of the rated current, per gain and saturation quantity."""
    out = {}
    for kind in (Kind.HFE, Kind.VBE, Kind.VCE_SAT, Kind.VBE_SAT):
        low = [check.difference[check.rated_share <= top] for check in checks if check.kind is kind]
        out[kind.name] = float(np.sqrt(np.nanmean(np.concatenate(low) ** 2)))
    return out


def by_kind(checks: list[CurveCheck]) -> dict[str, tuple[int, int, float, float, float]]:
    """Per quantity: types, points, rms difference to the centre, share of points inside the 95 % band, smallest p of
    a fit.
    """
    out = {}
    for kind in Kind:
        of = [check for check in checks if check.kind is kind]
        if of:
            difference, rank = (
                np.concatenate([getattr(check, name) for check in of]) for name in ("difference", "rank")
            )
            rms = float(np.sqrt(np.nanmean(difference**2)))
            inside = float(np.mean(np.abs(rank - 0.5) <= 0.475))
            out[kind.name] = (len({c.type_number for c in of}), len(rank), rms, inside, min(c.p for c in of))
    return out


@dataclass(frozen=True, slots=True)
class SourceFit:
    """All gain and saturation curves of one source fitted as the readings of one part, that source left out of the
    prior.
    """

    type_number: str
    source: str
    chi_square: float
    dof: int
    p: float


def fit_source(of: ReferenceType, source: tuple[str, ...], *, misfit: bool = True) -> SourceFit | None:
    """Fit what a source draws as one part of the type, by the toolkit's own fit.

    `misfit`: widen each reading by what the device model may be off there (`ReadingFigure.misfit_std`). None without
    such curves.
    """
    curves = tuple(curve for curve in of.curves if curve.source == source)
    population, ic_rated = population_for(of, leave_out_sources=source), rated_current(of)
    if population is None or ic_rated is None:
        return None
    drawn = gather(of.model_copy(update={"curves": curves, "characteristics": ()}), load_spreads(), ic_rated)
    std = np.hypot(drawn.point, drawn.shape) if misfit else np.array(drawn.point)
    if not any(kind in (Kind.HFE, Kind.VBE, Kind.VCE_SAT) for kind in drawn.kind):
        return None
    prior = population.part_prior()
    found = fit_parts(_as_readings(drawn, std), prior.mean, prior.covariance, prior.constants)
    return SourceFit(of.name, source[0], float(found.chi_square[0]), int(found.dof[0]), float(found.p[0]))


def _as_readings(drawn: Witnesses, std: Floats) -> Observations:
    """Drawn points as readings of one part at a known case temperature, pulsed."""
    kind, ic, second, temp = (np.array(v) for v in (drawn.kind, drawn.ic, drawn.second, drawn.temp))
    value = np.array(drawn.value)
    gain, sat = (kind == Kind.HFE) | (kind == Kind.VBE), kind == Kind.VCE_SAT

    def row(values: npt.ArrayLike) -> Floats:
        return np.asarray(values, dtype=float)[None]

    def only(which: Kind, values: Floats) -> Floats:
        return row(np.where(kind[gain] == which, values[gain], np.nan))

    none, one = np.zeros((1, 0)), np.zeros(1)
    return Observations(
        gain_ic=row(ic[gain]), gain_vce=row(second[gain]), gain_temp=row(temp[gain]),
        gain_pulsed=np.ones((1, gain.sum()), bool),
        hfe=np.exp(only(Kind.HFE, value)), hfe_ln_std=only(Kind.HFE, std),
        vbe=only(Kind.VBE, value), vbe_std=only(Kind.VBE, std),
        sat_ic=row(ic[sat]), sat_ib=row(second[sat]), sat_temp=row(temp[sat]), sat_pulsed=np.ones((1, sat.sum()), bool),
        vce_sat=row(value[sat]), vce_sat_std=row(std[sat]),
        cap_junction=none.astype(np.int64), cap_bias=none, cap=none, cap_ln_std=none,
        session=np.zeros(1, np.int64), session_temp_std=one + 0.5, session_gain_ln_std=one + 0.01, session_lead_std=one,
    )  # fmt: skip


def all_source_fits(*, misfit: bool = True) -> list[SourceFit]:
    """`fit_source` for every source of every type."""
    pairs = [(of, source) for of in single_types() for source in dict.fromkeys(curve.source for curve in of.curves)]
    fits = (fit_source(of, source, misfit=misfit) for of, source in pairs)
    return [found for found in fits if found is not None]


def maker_pairs() -> list[tuple[str, str, str, str, float, float]]:
    """Curves of one quantity and condition of one type drawn by two makers: (type, quantity, source, source, mean,
    rms difference).
    """
    out = []
    for of in single_types():
        curves = [c for c in of.curves if c.x == "IC" and (c.temperature_c is None or c.temperature_c == 25.0)]
        for i, one in enumerate(curves):
            for other in curves[i + 1 :]:
                if one.quantity == other.quantity and one.conditions == other.conditions and one.source != other.source:
                    a, b = (np.log(np.array(sorted(c.points))) for c in (one, other))
                    x = np.linspace(max(a[0, 0], b[0, 0]), min(a[-1, 0], b[-1, 0]), 12)
                    d = np.interp(x, *a.T) - np.interp(x, *b.T)
                    mean, rms = float(np.mean(d)), float(np.sqrt(np.mean(d**2)))
                    out.append((of.name, one.quantity, one.source[0], other.source[0], mean, rms))
    return out


def capacitance_from_capacitance(cards: list[Card]) -> tuple[float, float, int]:
    """sd of ln CJE of a card given its ratings alone, and given its CJC too; predictions without the card's
    collection.
    """
    alone, given = [], []
    at = [INDEX["cje"], INDEX["cjc"]]
    for group in sorted({card.group for card in cards}):
        train = [c for c in cards if c.group != group and np.isfinite(c.theta[at]).all()]
        held = [c for c in cards if c.group == group and np.isfinite(c.theta[at]).all()]
        x, held_x = (design(np.array([c.ic_rated for c in g]), np.array([c.vceo for c in g])) for g in (train, held))
        y, cjc = (np.array([c.theta[i] for c in train]) for i in at)
        true, held_cjc = (np.array([c.theta[i] for c in held]) for i in at)
        alone += list(true - held_x @ np.linalg.lstsq(x, y, rcond=None)[0])
        both = np.linalg.lstsq(np.column_stack([x, cjc]), y, rcond=None)[0]
        given += list(true - np.column_stack([held_x, held_cjc]) @ both)
    return float(np.sqrt(np.mean(np.square(alone)))), float(np.sqrt(np.mean(np.square(given)))), len(alone)


def main() -> None:
    """Print the tables asked for."""
    asked = set(sys.argv[1:]) or {"all"}
    cards = read_cards(FACTS / "model_cards.toml")
    if asked & {"cards", "all"}:
        print("Cards, their own collection left out: parameter, cards, share inside 95 %, rms of standardised residual")
        for name, z in cards_left_out(cards).items():
            print(f"  {name:5s} {len(z):4d}  {np.mean(np.abs(z) <= Z95):.3f}  {np.sqrt(np.mean(z**2)):.2f}")
    for title, only in (("their own source left out", False), ("every source left out: ratings alone", True)):
        if asked & {"curves", "all"}:
            print(f"Drawn curves, {title}: quantity, types, points, rms difference, inside 95 %, smallest p")
            checks = all_curves(ratings_only=only)
            for kind, row in by_kind(checks).items():
                print("  {:8s} {:3d} {:4d}  {:.3f}  {:.3f}  {:.2g}".format(kind, *row))
            below = ", ".join(f"{kind} {rms:.3f}" for kind, rms in low_current(checks).items())
            print(f"  rms difference below a tenth of the rated current: {below}")
            low = sorted(checks, key=lambda check: check.p)[:9]
            print("  lowest p:", ", ".join(f"{c.type_number} {c.kind.name} {c.p:.2g}" for c in low))
    if asked & {"fits", "all"}:
        print(
            "All curves of a source as one part, the source left out: chi-square, readings, p; p without model misfit"
        )
        for fit, bare in zip(all_source_fits(), all_source_fits(misfit=False), strict=True):
            print(
                f"  {fit.type_number:9s} {fit.source:10s} {fit.chi_square:6.1f} {fit.dof:3d}  {fit.p:.2g}  {bare.p:.2g}"
            )
    if asked & {"pairs", "all"}:
        print("Curves of one condition drawn by two makers: mean and rms of the difference of logarithms")
        for row in maker_pairs():
            print("  {} {} {} / {}: {:+.2f}, {:.2f}".format(*row))
    if asked & {"capacitance", "all"}:
        print(
            "ln CJE of a card: sd from ratings {:.2f}, from ratings and CJC {:.2f} ({} cards)".format(
                *capacitance_from_capacitance(cards)
            )
        )


if __name__ == "__main__":
    main()
