"""Observations without power: each answer a soft hint with a small stated weight, their sum capped.

What differs is a hint; what agrees is set against it, but never speaks for a part, since appearance is what is copied
first. The sum is capped below what a reject asks for. It moves only the hypotheses of another die or type: how a part
looks says nothing of wear. Hints are judged part by part and move no lot: parts of one bag look alike.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.special import logsumexp

from partscreen.quantities import QUANTITIES
from partscreen.readings.tables import Batch, Lot
from partscreen.reference.models import ReferenceType
from partscreen.reference.wording import figure_text
from partscreen.results import Reason
from partscreen.screening.evidence.combine import Weighed
from partscreen.screening.weighing import WeighedLot
from partscreen.screening.without_power.observation_table import BASIS, LOOKS, MOST, Answer

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

READING = "observations"
SUBSTITUTED = ("die", "type")
"""Kinds of hypotheses that appearance speaks of."""

THICKNESS_TOLERANCE = 2e-4  # of a moulded body where the drawing's is not given (assumption) [m]
WEIGHT_SHARE = 0.05  # by which pieces of one maker may differ (assumption: pins and solder differ)
SHEET_WEIGHT_SHARE = 0.10  # by which a piece may differ from a sheet's typical weight (assumption)
NEAR_END = 1.0  # years after the stated end of production that decide nothing
_SHEET_WEIGHT = re.compile(r"\bweight (?:about |of |is )?([\d.]+) g\b")


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen of one part. weight: capped sum, natural log, 0 or above. `hold` stand in the way of an accept."""

    weight: float = 0.0
    remarks: tuple[Reason, ...] = ()
    hold: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class _Met:
    """An answer that was given, or a figure that was judged; None: nothing to hold it against."""

    quantity: str
    answer: Answer | None
    value: str = ""
    reference: str = ""


def sheet_weight(kind: ReferenceType | None) -> tuple[float, str] | None:
    """Weight [kg] that a data sheet of the type states, and the source; None where none does."""
    for fact in kind.marking if kind is not None else ():
        found = _SHEET_WEIGHT.search(fact.fact)
        if found and kind is not None:
            return float(found[1]) * 1e-3, kind.source_text(fact.source)
    return None


def look_at(batch: Batch, parts: Ints, kind: ReferenceType | None = None) -> dict[int, Seen]:
    """What was seen of `parts` (numbers in the batch, of one type), by part number; the others are absent.

    Parts of known-good lots are what others are held against: they are not judged by their looks themselves.
    """
    spots = batch.spots
    rows = np.flatnonzero(spots.use & ~spots.control & np.isfinite(spots.value) & np.isin(spots.quantity, list(LOOKS)))
    if not rows.size:
        return {}
    wanted = set(parts.tolist())
    known = _known_good_figures(batch, rows, wanted)
    weight = sheet_weight(kind)
    met: dict[int, list[_Met]] = {}
    for row in rows.tolist():
        part = int(spots.part[row])
        lot = batch.lots[int(batch.part_lot[part])]
        if part in wanted and not lot.known_good:
            met.setdefault(part, []).append(_judge(batch, row, lot, known, weight))
    return {part: _sum_up(found) for part, found in met.items()}


def _known_good_figures(batch: Batch, rows: Ints, wanted: set[int]) -> dict[str, float]:
    """Median figure of the known-good parts of the type, by quantity."""
    spots = batch.spots
    found: dict[str, list[float]] = {}
    for row in rows.tolist():
        part = int(spots.part[row])
        if part in wanted and batch.lots[int(batch.part_lot[part])].known_good:
            found.setdefault(str(spots.quantity[row]), []).append(float(spots.value[row]))
    return {quantity: float(np.median(values)) for quantity, values in found.items()}


def _judge(batch: Batch, row: int, lot: Lot, known: Mapping[str, float], sheet: tuple[float, str] | None) -> _Met:
    spots = batch.spots
    quantity, value = str(spots.quantity[row]), float(spots.value[row])
    told, std = spots.conditions[row], float(spots.std[row])
    std = std if np.isfinite(std) else 0.0
    if QUANTITIES[quantity].answers:
        return _Met(quantity, LOOKS[quantity].answers[int(value)])
    if quantity == "code_year":
        return _year(value, told, lot)
    expected: float | None
    if quantity == "body_thickness":
        expected, within = _number(told, "drawn"), _number(told, "tolerance") or THICKNESS_TOLERANCE
        whose = "by the drawing"
    else:
        expected = _number(told, "known")
        within, whose = WEIGHT_SHARE * (expected or 0.0), "by a known part"
        if expected is None and quantity not in known and sheet is not None:
            expected, within, whose = sheet[0], SHEET_WEIGHT_SHARE * sheet[0], f"by {sheet[1]}"
    if expected is None and quantity in known:
        expected, whose = known[quantity], "by the known-good parts"
        within = WEIGHT_SHARE * expected if quantity == "body_weight" else THICKNESS_TOLERANCE
    shown = _shown(value, quantity)
    if expected is None:
        return _Met(quantity, None, shown)
    off = abs(value - expected) > within + 2.0 * std
    return _Met(quantity, LOOKS[quantity].answers[int(off)], shown, f"{_shown(expected, quantity)} ({whose})")


def _number(told: Mapping[str, float | str], key: str) -> float | None:
    value = told.get(key)
    return value if isinstance(value, float) and value > 0 else None


def _year(value: float, told: Mapping[str, float | str], lot: Lot) -> _Met:
    """The year of a date code against the end of production and the day the lot was bought."""
    fits, near, late = LOOKS["code_year"].answers
    year = f"{value:.0f}"
    bought = re.search(r"\b(19|20)\d\d\b", lot.extra.get("bought_on", ""))
    if bought and value > float(bought[0]):
        return _Met("code_year", late, year, f"but the lot was bought in {bought[0]}")
    ended = _number(told, "ended")
    if ended is None:
        return _Met("code_year", None, year)
    beyond = np.floor(value) - np.floor(ended)
    if beyond <= 0:
        return _Met("code_year", fits, year, f"{ended:.0f}")
    if beyond <= NEAR_END:
        return _Met("code_year", near, year, f"{ended:.0f}")
    return _Met("code_year", late, year, f"production is said to have ended in {ended:.0f}")


def _shown(value: float, quantity: str) -> str:
    return figure_text(float(f"{value:.3g}"), QUANTITIES[quantity].unit)


def _sum_up(found: Sequence[_Met]) -> Seen:
    groups: dict[str, float] = {}
    for one in found:
        if one.answer is not None:
            group, weight = LOOKS[one.quantity].group, one.answer.weight
            groups[group] = max(groups.get(group, weight), weight)
    total = float(np.clip(math.fsum(groups.values()), 0.0, MOST))
    found = list({(m.quantity, m.answer, m.value, m.reference): m for m in found}.values())  # seen by two people: once
    signs = [one for one in found if one.answer is not None and one.answer.code]
    remarks = [_sign(one) for one in signs if one.answer is not None and not one.answer.hold]
    hold = [_sign(one) for one in signs if one.answer is not None and one.answer.hold]
    agree = list(
        dict.fromkeys(QUANTITIES[m.quantity].symbol for m in found if m.answer is not None and not m.answer.code)
    )
    if agree:
        remarks.append(_agree(agree))
    remarks += [_nothing_to_compare(one) for one in found if one.answer is None]
    return Seen(total, tuple(remarks), tuple(hold))


def _sign(met: _Met) -> Reason:
    answer = met.answer
    assert answer is not None
    head = answer.sentence.format(value=met.value, reference=met.reference)
    sentence = (
        f"{head}. A weak hint (about {np.exp(answer.weight):.1f} to 1), not proof: {answer.also}. {answer.action}"
    )
    source = f"weight: {BASIS}" + (f"; the sign: {answer.source}" if answer.source else "")
    figures: dict[str, float | int | str | None] = {
        "weight": answer.weight, "seen_on_sound": answer.sound, "seen_on_substituted": answer.unfit,
        "value": met.value or None, "reference": met.reference or None,
    }  # fmt: skip
    return Reason(code=answer.code, sentence=sentence, figures=figures, source=source)


def _agree(symbols: Sequence[str]) -> Reason:
    sentence = (
        f"Looked at and found in order: {', '.join(symbols)}. This is set against what differs, but speaks for no "
        "part: appearance is what is copied first."
    )
    return Reason(code="LOOKS_AS_KNOWN", sentence=sentence, figures={"observations": ", ".join(symbols)})


_ASK = {
    "body_thickness": "write what the drawing says (drawn=5.0 mm), or measure a known-good part",
    "body_weight": "write what a known part weighs (known=9.75 g), or weigh a known-good part",
    "code_year": "write when production ended (ended=1998), or the day of purchase in the lot sheet",
}


def _nothing_to_compare(met: _Met) -> Reason:
    symbol = QUANTITIES[met.quantity].symbol
    sentence = f"{symbol} of {met.value} was kept and not weighed: nothing to hold it against; {_ASK[met.quantity]}."
    return Reason(code="SEEN_NO_REFERENCE", sentence=sentence, figures={"value": met.value})


def weigh_seen(weighed: Weighed, weight: Floats) -> tuple[Weighed, Floats]:
    """A weighed lot with the hints of its parts, and what they added to the evidence.

    Parameters
    ----------
    weighed : of n parts
    weight : (n,), natural log by which each part's hypotheses of another die or type gain
    """
    raised = np.array([kind in SUBSTITUTED for kind in weighed.kinds], dtype=np.float64)
    before = np.log(np.maximum(weighed.probability, 1e-300))
    after = before + weight[:, None] * raised[None, :]
    term = np.where(weight > 0, _odds(after) - _odds(before), 0.0)
    posterior = np.exp(after - logsumexp(after, axis=1, keepdims=True))
    return replace(weighed, evidence=weighed.evidence + term, probability=posterior), term


def _odds(ln_p: Floats) -> Floats:
    """ln of everything else over "as marked", which comes first."""
    return np.asarray(logsumexp(ln_p[:, 1:], axis=1) - ln_p[:, 0])


def with_observations(
    parts: Ints, seen: Mapping[int, Seen], weighed: Mapping[int, WeighedLot]
) -> dict[int, WeighedLot]:
    """The lots of one type with what was seen of their parts as the last term of the evidence.

    Parameters
    ----------
    parts : (n,), number in the batch of every part of the type, in the order that `WeighedLot.rows` refers to
    seen : by part number. weighed : by lot number
    """
    if not seen:
        return dict(weighed)
    out = {}
    for number, lot in weighed.items():
        mine = [seen.get(int(p)) for p in parts[lot.rows]]
        if all(one is None for one in mine):
            out[number] = lot
            continue
        weight = np.array([one.weight if one is not None else 0.0 for one in mine])
        found, term = weigh_seen(lot.evidence.weighed, weight)
        told = np.where([one is not None for one in mine], term, np.nan)
        out[number] = replace(lot, evidence=replace(lot.evidence, weighed=found), seen_term=told)
    return out
