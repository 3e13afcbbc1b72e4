"""Readings of one part that cannot both be right: named, set aside, and the part held."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.quantities import QUANTITIES
from partscreen.readings.findings import add_note
from partscreen.readings.tables import Batch
from partscreen.reference.wording import conditions_text, figure_text
from partscreen.results import LotResult, NextMeasurement, PartResult, QualityNote, Reason
from partscreen.screening.advice.recipes import HANDS
from partscreen.screening.observe import UNSTATED_BIAS_LN_STD

APART = 4.0
"""Standard uncertainties of their difference beyond which two readings contradict each other (assumption: one pair in
15,000 by chance, JCGM 100 coverage of 4 sigma)."""
ALIKE = 0.05  # conditions within this share are the same (assumption)
_SLIPPERY = {"TC", "TA", "TJ", "f", "t", "note", "fixture"}  # conditions that may differ a little without mattering
_BIASED = {"c_cb": ("VCB", "V"), "c_be": ("VEB", "VBE", "V")}
LEAST_LN_STD = 0.01  # assumption: fixture and contact differ from one reading to the next by at least this


def set_aside(batch: Batch) -> tuple[Batch, dict[int, Reason]]:
    """Mark contradictory spot readings as not used; reasons by part number. After `check_quality`."""
    spots = batch.spots
    rows = np.flatnonzero(spots.use & ~spots.control & np.isfinite(spots.value))
    use = spots.use.copy()
    reasons: dict[int, Reason] = {}
    by_kind: dict[tuple[int, int, str], list[int]] = {}
    for row in rows.tolist():
        key = (int(spots.part[row]), int(spots.session[row]), str(spots.quantity[row]))
        by_kind.setdefault(key, []).append(row)
    for (part, _, quantity), mine in by_kind.items():
        pairs = [(a, b) for i, a in enumerate(mine) for b in mine[i + 1 :] if _contradict(batch, quantity, a, b)]
        if not pairs:
            continue
        wrong = sorted({row for pair in pairs for row in pair})
        use[wrong] = False
        reasons.setdefault(part, _reason(batch, quantity, wrong))
        note = QualityNote(
            code="CONTRADICTORY_READINGS",
            sentence=_sentence(batch, quantity, wrong),
            run=QUANTITIES[quantity].symbol,
            used=False,
        )
        batch = add_note(batch, part, note)
    return (replace(batch, spots=replace(batch.spots, use=use)), reasons) if reasons else (batch, reasons)


def hold_contradictions(batch: Batch, lots: list[LotResult], reasons: dict[int, Reason]) -> list[LotResult]:
    """Parts with contradictory readings are held (a reject for another reason stays), the contradiction named first."""
    if not reasons:
        return lots
    names = {(batch.lots[int(batch.part_lot[p])].name, batch.part_names[p]): r for p, r in reasons.items()}
    out = []
    for lot in lots:
        parts = [_held(part, names.get((lot.lot, part.part))) for part in lot.parts]
        out.append(lot.model_copy(update={"parts": parts}))
    return out


def _held(part: PartResult, reason: Reason | None) -> PartResult:
    if reason is None or part.status in ("dead", "wrong_polarity"):
        return part
    if part.disposition == "reject":
        return part.model_copy(update={"reasons": [*part.reasons, reason]})
    others = [r for r in part.reasons if part.status == "judged"]
    held = {"status": "judged", "disposition": "hold", "reasons": [reason, *others], "next_measurement": _again(reason)}
    return part.model_copy(update=held)


def _again(reason: Reason) -> NextMeasurement:
    symbol = str(reason.figures["reading"])
    return NextMeasurement(
        reading=f"{symbol} once more",
        why=f"the readings of {symbol} contradict each other; that comes before anything else",
        recipe=(
            f"Caution: {HANDS}\n"
            "Clean the legs, check the clips and the part's number, let it come to room temperature.\n"
            f"Read {symbol} twice at the same condition, lifting the part out in between.\n"
            "Write both readings, with their condition, in place of the old ones."
        ),
    )


def _contradict(batch: Batch, quantity: str, a: int, b: int) -> bool:
    spots = batch.spots
    if not _same_conditions(spots.conditions[a], spots.conditions[b]):
        return False
    one, two = float(spots.value[a]), float(spots.value[b])
    std = [float(spots.std[i]) if np.isfinite(spots.std[i]) else 0.0 for i in (a, b)]
    least = LEAST_LN_STD
    if quantity in _BIASED and not any(k in spots.conditions[a] for k in _BIASED[quantity]):
        least = UNSTATED_BIAS_LN_STD  # the two may have been read at different biases, neither told
    stds = [np.hypot(s, least * abs(v)) for s, v in zip(std, (one, two), strict=True)]
    return abs(one - two) > APART * float(np.hypot(*stds))


def _same_conditions(first: dict[str, float | str], second: dict[str, float | str]) -> bool:
    keys = (set(first) | set(second)) - _SLIPPERY
    return all(k in first and k in second and _alike(first[k], second[k]) for k in keys)


def _alike(a: float | str, b: float | str) -> bool:
    if isinstance(a, str) or isinstance(b, str):
        return str(a).strip().casefold() == str(b).strip().casefold()
    return abs(a - b) <= ALIKE * max(abs(a), abs(b))


def _sentence(batch: Batch, quantity: str, rows: list[int]) -> str:
    known = QUANTITIES[quantity]
    values = [figure_text(float(f"{batch.spots.value[r]:.3g}"), known.unit) for r in rows]
    listed = f"{', '.join(values[:-1])} and {values[-1]}"
    where = conditions_text({k: v for k, v in _shared(batch, rows) if isinstance(v, float | int)})
    at = f" at {where}" if where else ""
    return (
        f"Readings of one part contradict each other: {known.symbol} of {listed}{at}. At least one is wrong, so none "
        f"of them "
        "was used: read it again, and check that all are of this part."
    )


def _shared(batch: Batch, rows: list[int]) -> list[tuple[str, float | str]]:
    return [(k, v) for k, v in batch.spots.conditions[rows[0]].items() if k not in _SLIPPERY]


def _reason(batch: Batch, quantity: str, rows: list[int]) -> Reason:
    figures: dict[str, float | int | str | None] = {"reading": QUANTITIES[quantity].symbol}
    figures |= {f"value_{i + 1}": float(batch.spots.value[r]) for i, r in enumerate(rows)}
    return Reason(code="CONTRADICTORY_READINGS", sentence=_sentence(batch, quantity, rows), figures=figures)
