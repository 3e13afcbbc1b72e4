"""A bag of several date codes: its sub-lots are weighed apart, as each has a place of its own, and told together.

Parts of one code share a production lot; those of two codes differ as lots do. Weighed as one lot, the smaller code
would look like a stranger in the larger one. Codes of few parts cannot be told from a stranger by themselves: they are
weighed together, with the spread from lot to lot added to that within a lot.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from partscreen.readings.tables import Batch, Lot
from partscreen.results import Interval, LotJudgement, LotResult, PartResult, Reason, SubLot, made
from partscreen.screening.lot_view import TOLERABLE_SHARE
from partscreen.screening.weighing import FEW, MIXED

Ints = npt.NDArray[np.int64]

NO_CODE = "no date code"


@dataclass(frozen=True, slots=True)
class Divided:
    """The batch with sub-lots in place of lots. of : (n,), number of the lot each belongs to; codes : of each sub-lot,
    empty where its lot is not divided."""

    batch: Batch
    of: Ints
    codes: tuple[tuple[str, ...], ...]


def divide_lots(batch: Batch) -> Divided:
    """Sub-lots of a batch by date code: of each code with at least `FEW` parts, and of the rest of a lot together.

    Known-good lots, and lots of one code, stay whole.
    """
    part_lot = batch.part_lot.copy()
    lots: list[Lot] = []
    of: list[int] = []
    codes: list[tuple[str, ...]] = []
    for number, lot in enumerate(batch.lots):
        parts = np.flatnonzero(batch.part_lot == number)
        groups = [] if lot.known_good else _groups([batch.date_codes.get(int(p), NO_CODE) for p in parts])
        for group in groups or [()]:
            mine = [p for p in parts.tolist() if not group or batch.date_codes.get(p, NO_CODE) in group]
            part_lot[mine] = len(lots)
            lots.append(_sub_lot(lot, group) if group else lot)
            of.append(number)
            codes.append(group)
    return Divided(
        replace(batch, lots=tuple(lots), part_lot=part_lot), np.array(of, dtype=np.int64), tuple(codes)
    )  # fmt: skip


def _groups(codes: Sequence[str]) -> list[tuple[str, ...]]:
    """Groups of codes, the largest first; none where all parts bear one code."""
    counts = Counter(codes)
    if len(counts) < 2:
        return []
    large = [code for code, n in counts.most_common() if n >= FEW and code != NO_CODE]
    small = tuple(code for code in counts if code not in large)
    return [*((code,) for code in large), *([small] if small else [])]


def _sub_lot(lot: Lot, group: tuple[str, ...]) -> Lot:
    mixed = {MIXED: "yes"} if len(group) > 1 or group == (NO_CODE,) else {}
    return replace(lot, name=f"{lot.name} / {' + '.join(group)}", count=None, extra={**lot.extra, **mixed})


def join_lots(divided: Divided, results: Sequence[LotResult], batch: Batch) -> list[LotResult]:
    """The judged lots of `batch` again, the divided ones with their `sub_lots`.

    Parameters
    ----------
    results : of the divided batch, in its order
    batch : the batch before it was divided
    """
    out = []
    for number, lot in enumerate(batch.lots):
        mine = np.flatnonzero(divided.of == number).tolist()
        if len(mine) == 1 and not divided.codes[mine[0]]:
            out.append(results[mine[0]])
        else:
            out.append(_joined(lot, [(divided.codes[i], results[i]) for i in mine], _names(batch, number)))
    return out


def _names(batch: Batch, lot: int) -> list[str]:
    return [batch.part_names[p] for p in np.flatnonzero(batch.part_lot == lot).tolist()]


def _joined(lot: Lot, pieces: Sequence[tuple[tuple[str, ...], LotResult]], names: Sequence[str]) -> LotResult:
    by_name: dict[str, PartResult] = {part.part: part for _, piece in pieces for part in piece.parts}
    share = _share([piece for _, piece in pieces])
    largest = max((piece for _, piece in pieces), key=lambda piece: piece.n_parts)
    subs = [_told(codes, piece) for codes, piece in pieces]
    reasons = [_reason(subs)]
    for sub in subs:
        head = f"Date code {', '.join(sub.codes)}: " if len(sub.codes) == 1 else "The other codes together: "
        reasons += [reason.model_copy(update={"sentence": head + reason.sentence}) for reason in sub.reasons]
    return largest.model_copy(
        update={
            "lot": lot.name,
            "n_parts": len(names),
            "judgement": _judgement([sub.judgement for sub in subs], share),
            "share_unfit": share,
            "reasons": reasons,
            "parts": [by_name[name] for name in names],
            "sub_lots": subs,
        }
    )


def _told(codes: tuple[str, ...], piece: LotResult) -> SubLot:
    return made(
        SubLot, codes=list(codes), parts=[part.part for part in piece.parts], n_parts=piece.n_parts,
        judgement=piece.judgement, share_unfit=piece.share_unfit, bulk_unfit=piece.bulk_unfit,
        reasons=list(piece.reasons),
    )  # fmt: skip


def _share(pieces: Sequence[LotResult]) -> Interval | None:
    """Share of unfit parts of the whole bag, by the numbers of parts. The ends are those of sub-lots that err alike,
    which is wider than if they erred apart."""
    known = [(piece.n_parts, piece.share_unfit) for piece in pieces if piece.n_parts]
    if not known or any(share is None or share.value is None for _, share in known):
        return None
    n = sum(count for count, _ in known)

    def mean(end: str) -> float:
        return float(sum(count * getattr(share, end) for count, share in known) / n)

    return Interval(value=mean("value"), low=mean("low"), high=mean("high"))


def _judgement(told: Sequence[LotJudgement], share: Interval | None) -> LotJudgement:
    """What all sub-lots say alike; else return where the bag as a whole holds too many, else test every part."""
    if len(set(told)) == 1:
        return told[0]
    return "return" if share is not None and share.low is not None and share.low > TOLERABLE_SHARE else "test_all"


def _reason(subs: Sequence[SubLot]) -> Reason:
    bits = []
    for sub in subs:
        share = sub.share_unfit
        told = "" if share is None or share.low is None else f", share unfit {share.low:.0%} to {share.high:.0%}"
        pooled = f" ({', '.join(sub.codes)}; weighed together)" if len(sub.codes) > 1 else ""
        name = sub.codes[0] if len(sub.codes) == 1 else f"{len(sub.codes)} other codes{pooled}"
        bits.append(f"{name}: {sub.n_parts} parts, {sub.judgement.replace('_', ' ')}{told}")
    sentence = f"The lot holds several date codes, each judged as a sub-lot: {'; '.join(bits)}."
    figures: dict[str, float | int | str | None] = {"codes": sum(len(sub.codes) for sub in subs), "groups": len(subs)}
    return Reason(code="SUB_LOTS", sentence=sentence, figures=figures)
