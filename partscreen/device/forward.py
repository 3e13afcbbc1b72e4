"""What a transistor described by a card reads at its terminals: gain, saturation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.card import Card
from partscreen.device.intrinsic import base_resistance, currents, point_from_card
from partscreen.device.solve import (
    VCE_SAT_MAX,
    Forced,
    gain_system,
    newton,
    saturation_system,
    start_gain,
    start_saturation,
)

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class GainPoint:
    """Readings at forced IC and VCE. Arrays of one shape; NaN and `reached` False where it cannot be."""

    hfe: Floats
    vbe: Floats
    ib: Floats
    junction_temp: Floats
    reached: Bools


@dataclass(frozen=True, slots=True)
class SaturationPoint:
    """Readings at forced IC and IB. Arrays of one shape; NaN and `reached` False where it cannot be."""

    vce: Floats
    vbe: Floats
    junction_temp: Floats
    reached: Bools


def gain_at(
    card: Card, ic: npt.ArrayLike, vce: npt.ArrayLike, temp: npt.ArrayLike, rth: npt.ArrayLike = 0.0
) -> GainPoint:
    """hFE and VBE at the terminals, at forced collector current and collector-emitter voltage.

    Parameters
    ----------
    card : Card
        Values of shape (n_parts, 1) or scalars.
    ic, vce, temp : array, broadcastable to (n_parts, n_points)
        Collector current > 0 [A], collector-emitter voltage [V], case temperature [K]. `vce` NaN: not known; the Early
        effect of the collector and self-heating are left out.
    rth : array
        Junction to case, as far as it acts during the reading: TJ = Tcase + rth IC VCE. Zero for pulsed readings. [K/W]

    Returns
    -------
    GainPoint
        Shape of the broadcast inputs.
    """
    ic_, vce_, temp_, rth_ = (np.asarray(v, dtype=float) for v in (ic, vce, temp, rth))
    ic_, vce_, temp_, rth_, _ = np.broadcast_arrays(ic_, vce_, temp_, rth_, np.asarray(card.is_))
    shape = ic_.shape
    junction = temp_ + np.nan_to_num(rth_ * ic_ * vce_)
    p = point_from_card(card.at(junction), shape)
    forced = Forced(ic_.ravel(), vce_.ravel(), _flat(card.rc, shape), _flat(card.re, shape))
    vbe, vbc, reached = newton(p, forced, gain_system, *start_gain(p, forced))
    with np.errstate(all="ignore"):
        c = currents(p, vbe, vbc)
        reached &= (c.q1 > 0.0) & (c.ib > 0.0) & (forced.ic > 0.0)
        rb, _ = base_resistance(c.ib, c.qb, *_resistances(card, shape))
        terminal = vbe + c.ib * rb + (forced.ic + c.ib) * forced.re
    ib = np.where(reached, c.ib, np.nan)
    return GainPoint(
        hfe=(forced.ic / ib).reshape(shape),
        vbe=np.where(reached, terminal, np.nan).reshape(shape),
        ib=ib.reshape(shape),
        junction_temp=junction,
        reached=reached.reshape(shape),
    )


def saturation_at(
    card: Card, ic: npt.ArrayLike, ib: npt.ArrayLike, temp: npt.ArrayLike, rth: npt.ArrayLike = 0.0
) -> SaturationPoint:
    """VCE(sat) and VBE(sat) at forced collector and base current.

    Parameters
    ----------
    card, temp, rth
        As in `gain_at`; the junction is heated by IC VCE(sat).
    ic, ib : array, broadcastable to (n_parts, n_points)
        Forced currents. [A]

    Returns
    -------
    SaturationPoint
        A point that needs more than 5 V counts as not reached.
    """
    ic_, ib_, temp_, rth_ = (np.asarray(v, dtype=float) for v in (ic, ib, temp, rth))
    ic_, ib_, temp_, rth_, _ = np.broadcast_arrays(ic_, ib_, temp_, rth_, np.asarray(card.is_))
    shape = ic_.shape
    forced = Forced(ic_.ravel(), ib_.ravel(), _flat(card.rc, shape), _flat(card.re, shape))
    junction = temp_.astype(float)
    heated = bool(np.any(rth_ > 0.0))
    for round_ in range(12 if heated else 1):
        p = point_from_card(card.at(junction), shape)
        if round_ == 0:
            vbe, vbc = start_saturation(p, forced)
        vbe, vbc, reached = newton(p, forced, saturation_system, vbe, vbc)
        vce = vbe - vbc + forced.ic * forced.rc + (forced.ic + forced.other) * forced.re
        before = junction
        junction = temp_ + np.where(reached, rth_.ravel() * forced.ic * vce, 0.0).reshape(shape)
        if np.max(np.abs(junction - before), initial=0.0) < 1e-6:
            break
    with np.errstate(all="ignore"):
        c = currents(p, vbe, vbc)
        reached = reached & (c.q1 > 0.0) & (vce <= VCE_SAT_MAX) & (forced.ic > 0.0)
        rb, _ = base_resistance(forced.other, c.qb, *_resistances(card, shape))
        terminal = vbe + forced.other * rb + (forced.ic + forced.other) * forced.re
    return SaturationPoint(
        vce=np.where(reached, vce, np.nan).reshape(shape),
        vbe=np.where(reached, terminal, np.nan).reshape(shape),
        junction_temp=junction,
        reached=reached.reshape(shape),
    )


def _flat(value: npt.ArrayLike, shape: tuple[int, ...]) -> Floats:
    return np.ascontiguousarray(np.broadcast_to(np.asarray(value, dtype=float), shape)).ravel()


def _resistances(card: Card, shape: tuple[int, ...]) -> tuple[Floats, Floats, Floats]:
    rb = _flat(card.rb, shape)
    rbm = _flat(card.rbm, shape)
    return rb, np.where(np.isnan(rbm), rb, rbm), _flat(card.irb, shape)
