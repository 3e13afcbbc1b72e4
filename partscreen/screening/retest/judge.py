"""Did a part change? Its own first readings against those of now.

Limits of change are those of two parts specifications (check values 10.2): MIL-PRF-19500/439H (2N5038, 2N5039) and
MIL-PRF-19500/368F (2N3439, 2N3440). Applied to other types they are an assumption, and the result says so. Kits,
sessions and temperatures differ between the sittings: what each shares within itself is not cancelled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtr

from partscreen.results.base import Reason
from partscreen.results.retest import ChangeWord, RetestChange, RetestResult, RetestVerdict
from partscreen.screening.limits.conformance import DEFAULT_RISK, Tolerance, conformance_probability
from partscreen.screening.retest.pairs import Pair, Sitting, pairs_of

POWER = "MIL-PRF-19500/439H (2N5038, 2N5039)"
SMALL = "MIL-PRF-19500/368F (2N3439, 2N3440)"
NOTE = (
    f"Limits of change come from two parts specifications, {POWER} and {SMALL}; for other types they are an assumption."
)

SATURATION_CHANGE = 0.050  # [V], POWER: VCE(sat) at 10 A or 12 A
GAIN_CHANGE, LOW_GAIN_CHANGE = 0.25, 0.15  # POWER: hFE at 10 A or 12 A; SMALL: hFE at 20 mA
LOW_CURRENT = 0.1  # [A] up to which the limit of 20 mA is used (assumption: nearer to 20 mA than to 10 A)
LEAK_FLOORS = {"ICEX": (1e-6, POWER), "ICBO": (200e-9, SMALL)}
OTHER_LEAK_FLOOR = 1e-6  # [A], other leakages: as ICEX (assumption)

FALSE_ALARM = 0.01
"""Most probability of calling an unchanged part changed, over all comparisons together (assumption)."""

VBE_TELLS = 3.0  # standard uncertainties of VBE beyond which its change is remarked on (assumption)


@dataclass(frozen=True, slots=True)
class _Allowed:
    """stated : as the change is told. words, source : as printed."""

    stated: float
    words: str
    source: str


def compare_retest(
    first: Sitting,
    now: Sitting,
    *,
    part: str,
    lot: str | None = None,
    supplier: str | None = None,
    type_number: str | None = None,
    risk: float = DEFAULT_RISK,
) -> RetestResult:
    """Compare a part that was taken out with its own first readings.

    Parameters
    ----------
    first, now : from `sitting_of`
    risk : most probability of calling a part unchanged whose true change lies outside a limit (JCGM 106, as for limits)

    Returns
    -------
    RetestResult
        "changed": some true change lies outside its limit with a probability above 1 - `FALSE_ALARM` over the number
        of comparisons. "unchanged": every change lies inside with at most `risk` of error. Else "cannot_tell".

    Raises
    ------
    ValueError
        risk is not a share.
    """
    if not 0.0 < risk <= 0.5:
        raise ValueError(f"risk is {risk}; between 0 and 0.5 is expected (2 % is 0.02)")
    pairs, alone = pairs_of(first, now)
    limited = sum(pair.quantity != "VBE" for pair in pairs)
    changes = [_change(pair, risk, FALSE_ALARM / max(limited, 1)) for pair in pairs]
    died = now.condition if not first.condition else ""
    verdict = _verdict(changes, died, bool(first.condition))
    return RetestResult(
        part=part,
        lot=lot,
        supplier=supplier,
        type=type_number,
        first_session=first.session,
        now_session=now.session,
        verdict=verdict,
        sentence=_sentence(verdict, changes, died, first.condition),
        advice=_advice(verdict, changes, died),
        changes=changes,
        not_compared=alone,
        remarks=_remarks(changes),
        assumption=NOTE,
    )


def _change(pair: Pair, risk: float, alarm: float) -> RetestChange:
    own = float(np.sqrt(pair.first_std**2 + pair.now_std**2 + pair.shared**2))
    step = pair.now - pair.first
    if pair.quantity == "hFE":
        limit = LOW_GAIN_CHANGE if pair.ic <= LOW_CURRENT else GAIN_CHANGE
        words = f"{limit:.0%} either way" + (", low current" if pair.ic <= LOW_CURRENT else "")
        allowed = _Allowed(limit, words, SMALL if pair.ic <= LOW_CURRENT else POWER)
        inside = _inside(step, own, Tolerance(float(np.log1p(-limit)), float(np.log1p(limit))))
        first, now = float(np.exp(pair.first)), float(np.exp(pair.now))
        ratio = now / first
        return _told(pair, "1", first, now, ratio - 1.0, own * ratio, True, allowed, 1.0 - inside, risk, alarm)
    if pair.quantity == "VCE(sat)":
        allowed = _Allowed(SATURATION_CHANGE, "50 mV either way", POWER)
        inside = _inside(step, own, Tolerance(-SATURATION_CHANGE, SATURATION_CHANGE))
        return _told(pair, "V", pair.first, pair.now, step, own, False, allowed, 1.0 - inside, risk, alarm)
    if pair.quantity == "VBE":
        return _told(pair, "V", pair.first, pair.now, step, own, False, None, None, risk, alarm)
    return _leak_change(pair, own, risk, alarm)


def _inside(step: float, std: float, limits: Tolerance) -> float:
    return float(conformance_probability(np.array([step]), np.array([std]), limits)[0])


def _leak_change(pair: Pair, own: float, risk: float, alarm: float) -> RetestChange:
    """Leakage may rise by its own first value, or by the floor where that is more; a fall is no fault."""
    floor, source = LEAK_FLOORS.get(pair.quantity, (OTHER_LEAK_FLOOR, f"as ICEX of {POWER}: assumption"))
    first = max(pair.first, 1e-15)
    if first > floor:  # now must not exceed twice the first, which is itself uncertain
        beyond = pair.now - 2.0 * pair.first
        std = float(np.sqrt(pair.now_std**2 + pair.shared**2 + 4.0 * pair.first_std**2))
    else:
        beyond, std = pair.now - pair.first - floor, own
    outside = float(ndtr(beyond / std)) if std > 0.0 else float(beyond > 0.0)
    words = f"100 % of the first or {floor * 1e9:.0f} nA, whichever is more"
    stated = max(first, floor) / first
    change = (pair.now - pair.first) / first
    return _told(
        pair,
        "A",
        pair.first,
        pair.now,
        change,
        own / first,
        True,
        _Allowed(stated, words, source),
        outside,
        risk,
        alarm,
    )


def _told(
    pair: Pair,
    unit: str,
    first: float,
    now: float,
    change: float,
    std: float,
    relative: bool,
    allowed: _Allowed | None,
    outside: float | None,
    risk: float,
    alarm: float,
) -> RetestChange:
    word: ChangeWord = "no_limit"
    if outside is not None:
        word = "outside" if outside >= 1.0 - alarm else "inside" if outside <= risk else "undecided"
    return RetestChange(
        quantity=pair.quantity,
        conditions=pair.conditions,
        unit=unit,
        first=first,
        now=now,
        change=change,
        std=std,
        relative=relative,
        allowed=allowed.stated if allowed else None,
        allowed_words=allowed.words if allowed else "no published limit",
        probability_outside=outside,
        word=word,
        carried=pair.carried,
        source=allowed.source if allowed else None,
    )


def _verdict(changes: list[RetestChange], died: str, dead_at_first: bool) -> RetestVerdict:
    words = {change.word for change in changes} - {"no_limit"}
    if died or "outside" in words:
        return "changed"
    return "unchanged" if words == {"inside"} and not dead_at_first else "cannot_tell"


def _sentence(verdict: RetestVerdict, changes: list[RetestChange], died: str, dead_at_first: str) -> str:
    read = sorted({c.quantity for c in changes if c.word != "no_limit"})
    if verdict == "changed":
        if died:
            return f"The part changed: {died}"
        out = [c for c in changes if c.word == "outside"]
        most = max(out, key=lambda c: abs(c.change) / (c.allowed or 1.0))
        return (
            f"The part changed: {most.quantity} at {most.conditions} by {_size(most)} (allowed: {most.allowed_words})."
        )
    if verdict == "unchanged":
        return f"The part is unchanged, as far as it was read again: {', '.join(read)}."
    if dead_at_first:
        return f"Cannot tell: the part could not be read at first ({dead_at_first})."
    if not read:
        return "Cannot tell: nothing was read now that was read at first under the same conditions."
    doubt = next(c for c in changes if c.word == "undecided")
    return (
        f"Cannot tell: {doubt.quantity} at {doubt.conditions} moved by {_size(doubt)}, with a standard uncertainty of "
        f"{_figure(doubt, doubt.std)} (allowed: {doubt.allowed_words})."
    )


def _size(change: RetestChange) -> str:
    return ("+" if change.change >= 0 else "-") + _figure(change, abs(change.change))


def _figure(change: RetestChange, value: float) -> str:
    return f"{100.0 * value:.3g} %" if change.relative else f"{1e3 * value:.3g} mV"


_STAGE = (
    "Look at the stage: drive, bias, emitter resistors, the other devices of the channel, mounting and insulator. "
    "Mains off and capacitors discharged before you touch it; follow local codes, leave live work to licensed people."
)


def _advice(verdict: RetestVerdict, changes: list[RetestChange], died: str) -> list[str]:
    if verdict == "unchanged":
        return [_STAGE]
    if verdict == "cannot_tell":
        doubtful = sorted({f"{c.quantity} at {c.conditions}" for c in changes if c.word == "undecided"})
        again = "; ".join(doubtful) if doubtful else "what was read at first, at the same currents and voltages"
        return [f"Read again: {again}; case temperature logged, four-wire leads, the mean of several readings."]
    out = {(c.quantity, c.change > 0, "low current" in c.allowed_words) for c in changes if c.word == "outside"}
    advice = []
    if ("hFE", False, True) in out:
        advice.append(
            "Gain lost at low current is what a base-emitter junction driven into reverse breakdown looks like "
            "(common practice, no source): look for what reverses it, at switching on and off too."
        )
    if ("VCE(sat)", True, False) in out:
        advice.append("More VCE(sat) may be a bond or a contact: read it once more with four-wire leads.")
    if any(quantity in LEAK_FLOORS or quantity.upper().startswith("I") for quantity, rose, _ in out if rose):
        advice.append("More leakage may be a damaged junction, or a dirty package: clean, dry, and read it once more.")
    why = "Find out what did it before another part goes in there. " if died or advice else ""
    return [*advice, why + _STAGE]


def _remarks(changes: list[RetestChange]) -> list[Reason]:
    """VBE has no published limit of change; moved beyond its uncertainty at every current it says: another temperature,
    or another part."""
    moved = [c for c in changes if c.quantity == "VBE" and c.std > 0.0]
    if not moved:
        return []
    far = [c for c in moved if abs(c.change) > VBE_TELLS * c.std]
    sign: Literal[1, -1] = 1 if sum(c.change for c in moved) > 0 else -1
    if len(far) < len(moved) or any(c.change * sign < 0.0 for c in moved):
        return []
    mean = float(np.mean([c.change for c in moved]))
    sentence = (
        f"VBE moved by {1e3 * mean:+.3g} mV at every current, more than its uncertainty: the case was at another "
        "temperature than stated, or this is another part than the one first read."
    )
    return [Reason(code="VBE_MOVED", sentence=sentence, figures={"vbe_change": mean, "currents": len(moved)})]
