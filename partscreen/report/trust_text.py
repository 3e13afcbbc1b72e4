"""Supplier trust in plain lines."""

from __future__ import annotations

from collections.abc import Iterator

from partscreen.lots.trust_words import count, percent
from partscreen.results.base import Interval
from partscreen.results.trust import SupplierTrust, Trust, TypeRisk

RISKY = 0.5  # types whose share is likelier above the tolerable one than below are named
SHOWN = 40  # suppliers told in full; --json tells all


def trust_lines(result: Trust) -> list[str]:
    """The answer, line by line: suppliers in their order, then those of whom not enough is known, then types."""
    lines = [result.notice, ""]
    if not result.suppliers:
        lines.append("No lot of a named supplier is known yet.")
    shown = result.suppliers[:SHOWN]
    for one in shown:
        lines += _supplier(one, result)
    if len(result.suppliers) > SHOWN:
        lines.append(f"and {len(result.suppliers) - SHOWN} more suppliers; --json tells all")
    lines += [*_order(result), *_types(result), *_not_counted(result)]
    return lines


def _supplier(one: SupplierTrust, result: Trust) -> Iterator[str]:
    head = f"{one.place}. " if one.place is not None else "-  "
    yield f"{head}{one.supplier}: {one.sentence}"
    if one.next_lot_above is not None:
        yield f"     chance that the next lot has more than {percent(result.tolerable_share)} unfit: " + percent(
            one.next_lot_above
        )
    if one.outcomes:
        yield f"     {count(one.outcomes, 'outcome')} of fitted parts counted in"
    for risk in one.types:
        if len(one.types) > 1 and risk.above_tolerable > RISKY:
            yield f"     risky from here: {_risk(risk)}"
    for sentence in one.what_would_change_it:
        yield f"     {sentence}"
    yield ""


def _risk(risk: TypeRisk) -> str:
    share = risk.share_unfit
    return f"{risk.type}, {count(risk.lots, 'lot')}: about {percent(share.value)} unfit {_between(share)}"


def _between(share: Interval) -> str:
    return f"(95 % between {percent(share.low)} and {percent(share.high)})"


def _order(result: Trust) -> list[str]:
    placed = {s.supplier: s.place for s in result.suppliers if s.place is not None}
    pairs = [p for p in result.order if placed[p.second] == (placed[p.first] or 0) + 1][:SHOWN]
    if not pairs:
        return []
    lines = ["How sure the order is:"]
    for pair in pairs:
        doubt = "; hardly to be told apart" if pair.probability < 0.7 else ""
        lines.append(f"  {pair.first} before {pair.second}: {percent(pair.probability)}{doubt}")
    return [*lines, ""]


def _types(result: Trust) -> list[str]:
    if len(result.types) < 2:
        return []
    return ["Types over all suppliers, the riskiest first:", *(f"  {_risk(r)}" for r in result.types[:SHOWN]), ""]


def _not_counted(result: Trust) -> list[str]:
    if not result.not_counted:
        return []
    lines = ["Not counted, or counted differently:"]
    for one in result.not_counted[:SHOWN]:
        where = ", ".join(bit for bit in (one.supplier, f"lot {one.lot}" if one.lot else None) if bit)
        lines.append(f"  {where}: {one.why}" if where else f"  {one.why}")
    if len(result.not_counted) > SHOWN:
        lines.append(f"  and {len(result.not_counted) - SHOWN} more; --json tells all")
    return lines
