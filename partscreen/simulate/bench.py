"""A simulated bench: what a kit would write down of parts whose truth is known. Vectorised; SI units; magnitudes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import KITS, BenchKit, Plan, Sitting, plan_up_to
from partscreen.simulate.parts import Alternatives, Kind, Parts, TruePart, draw_lot
from partscreen.simulate.states import Truth, true_states

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Readings:
    """What was written down of one lot in one session.

    gain_* : shape (n_parts, n_gain), in the order of reading; `hfe` is IC/IB as read; NaN where nothing could be read.
    sat_* : shape (n_parts, n_sat). cap : shape (n_parts, n_cap), bias and junction as in `plan.capacitance`.
    case_temp : shape (n_parts, n_gain + n_sat), NaN where not logged [K]; time : start of each point [s], same shape.
    clipped : the supply limited the current at this gain point.
    """

    names: tuple[str, ...]
    plan: Plan
    gain_ic: Floats
    gain_ib: Floats
    gain_vce: Floats
    gain_vbe: Floats
    hfe: Floats
    sat_ic: Floats
    sat_ib: Floats
    vce_sat: Floats
    sat_vbe: Floats
    cap: Floats
    case_temp: Floats
    time: Floats
    clipped: npt.NDArray[np.bool_]

    def to_frame(self) -> pd.DataFrame:
        """Long table, one row a sweep point: part, sweep, time_s, ic_a, ib_a, vce_v, vbe_v, hfe, case_temp_k."""
        import pandas as pd

        n, n_gain = self.gain_ic.shape
        n_sat = self.sat_ic.shape[1]

        def join(gain: Floats, sat: Floats) -> Floats:
            return np.concatenate([gain, sat], axis=1).ravel()

        with np.errstate(divide="ignore", invalid="ignore"):
            frame = {
                "part": np.repeat(np.array(self.names, dtype=object), n_gain + n_sat),
                "sweep": np.tile(np.array(["gain"] * n_gain + ["saturation"] * n_sat, dtype=object), n),
                "time_s": self.time.ravel(),
                "ic_a": join(self.gain_ic, self.sat_ic),
                "ib_a": join(self.gain_ib, self.sat_ib),
                "vce_v": join(self.gain_vce, self.vce_sat),
                "vbe_v": join(self.gain_vbe, self.sat_vbe),
                "hfe": join(self.hfe, np.full((n, n_sat), np.nan)),
                "case_temp_k": self.case_temp.ravel(),
            }
        return pd.DataFrame(frame)


def read_lot(
    parts: Parts, kit: BenchKit, plan: Plan, seed: int | Sequence[int], sitting: Sitting | None = None
) -> Readings:
    """Read every part of a lot once, one after the other, in one session.

    Raises
    ------
    ValueError
        The plan asks for more collector current than the kit forces.
    """
    where = sitting or Sitting()
    top = max(np.max(plan.gain_ic, initial=0.0), np.max(plan.sat_ic, initial=0.0))
    if top > kit.ic_max * (1 + 1e-9):
        raise ValueError(f"the plan asks for {top:g} A, kit {kit.name} forces {kit.ic_max:g} A")
    rng = np.random.default_rng(seed)
    shared = rng if where.session is None else np.random.default_rng([where.session, 77])
    gain_factor = 1 + kit.gain_error * shared.standard_normal()
    volt_factor = 1 + kit.voltage_error * shared.standard_normal()
    truth = true_states(parts, kit, plan, where)
    ic, ib = _gain_currents(truth, kit, plan, gain_factor, rng)

    def volts(value: Floats, noise: float | Floats, step: float) -> Floats:
        return rounded(value * volt_factor + noise * rng.standard_normal(value.shape), step)

    with np.errstate(divide="ignore", invalid="ignore"):
        hfe = np.where(ib > 0, ic / ib, np.nan)
    sat_noise = kit.sat_noise + kit.sat_noise_relative * truth.vce_sat
    cap = (truth.cap + kit.fixture) * (1 + kit.capacitance_noise * rng.standard_normal(truth.cap.shape))
    return Readings(
        names=parts.names,
        plan=plan,
        gain_ic=ic,
        gain_ib=ib,
        gain_vce=volts(truth.gain_vce, kit.vbe_noise, 1e-3),
        gain_vbe=volts(truth.gain_vbe, kit.vbe_noise, kit.step_voltage),
        hfe=hfe,
        sat_ic=truth.sat_ic,
        sat_ib=truth.sat_ib,
        vce_sat=volts(truth.vce_sat + kit.lead * truth.sat_ic, sat_noise, kit.step_voltage),
        sat_vbe=volts(truth.sat_vbe, kit.vbe_noise, kit.step_voltage),
        cap=rounded(cap, kit.step_capacitance),
        case_temp=rounded(truth.case, 0.1) if where.logged else np.full_like(truth.case, np.nan),
        time=truth.time,
        clipped=truth.clipped,
    )


def _gain_currents(
    truth: Truth, kit: BenchKit, plan: Plan, factor: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Collector and base current as written down: the forced one is known, the other carries the error of the gain."""
    error = factor * (1 + kit.gain_noise * rng.standard_normal(truth.gain_ic.shape))
    if plan.base_steps is None:
        return truth.gain_ic, last_digit(truth.gain_ib / error, kit.step_current)
    return last_digit(truth.gain_ic * np.where(truth.clipped, 1.0, error), kit.step_current), truth.gain_ib


def rounded(value: Floats, step: float) -> Floats:
    """Nearest multiple of `step`, a power of ten at most 1 (or 1e-12 F and the like)."""
    # Dividing by the whole number 1/step gives the shortest decimals; multiplying by step would not.
    per = round(1 / step)
    return np.asarray(np.round(value * per) / per)


def last_digit(value: Floats, relative_step: float) -> Floats:
    """Round to the last digit of an autoranging meter: `relative_step` of the decade of the value."""
    with np.errstate(divide="ignore", invalid="ignore"):
        places = -np.floor(np.log10(np.abs(value) * relative_step))
        scale = np.where(np.isfinite(places), 10.0**places, 1.0)
        return np.asarray(np.where(np.isfinite(value), np.round(value * scale) / scale, np.nan))


def simulate_lot(
    type_number: str,
    n: int,
    seed: int,
    *,
    kit: BenchKit | float = 10.0,
    plan: Plan | None = None,
    bad: Mapping[Kind, float] | None = None,
    alternatives: Alternatives | None = None,
    sitting: Sitting | None = None,
) -> tuple[Readings, tuple[TruePart, ...]]:
    """Readings and truths of one seeded lot of `n` parts.

    Parameters
    ----------
    type_number : a type the simulator has a card of
    kit : a `BenchKit`, or the range of one of `KITS` [A]
    plan : defaults to `plan_up_to` of the kit, at most 8 A
    bad : share of each kind of unfit part, 0 to 1; the rest is sound. Numbers of parts are rounded, order is drawn.

    Raises
    ------
    UnknownType, KeyError, ValueError
    """
    used = kit if isinstance(kit, BenchKit) else KITS[kit]
    kinds: list[Kind] = []
    for kind, share in (bad or {}).items():
        kinds += [kind] * round(share * n)
    if len(kinds) > n:
        raise ValueError(f"shares of unfit parts sum to {len(kinds)} of {n}")
    kinds += [Kind.SOUND] * (n - len(kinds))
    order = np.random.default_rng([seed, 1]).permutation(n)
    parts = draw_lot(type_card(type_number), [kinds[i] for i in order], [seed, 2], alternatives=alternatives)
    return read_lot(parts, used, plan or plan_up_to(min(used.ic_max, 8.0)), [seed, 3], sitting), parts.truth
