"""What could be done with judged lots, beside their judgement."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from partscreen.readings.tables import Lot
    from partscreen.results import LotResult
    from partscreen.workflow.options import ScreenOptions


def with_actions(results: Sequence[LotResult], lots: Sequence[Lot], chosen: ScreenOptions) -> list[LotResult]:
    """Judged lots with the sentence on their share and the cost of each action."""
    return [_with_actions(result, lot, chosen) for result, lot in zip(results, lots, strict=True)]


def _with_actions(result: LotResult, lot: Lot, chosen: ScreenOptions) -> LotResult:
    """With what could be done with the lot; in money too where the lot sheet's price is a plain number."""
    from partscreen.lots.action import costs, lot_actions

    price = _plain_price(lot.extra.get("price", ""))
    told = costs(chosen.cost, price=price, currency=lot.extra.get("currency", ""))
    sentence, actions = lot_actions(result, told, prior_share=chosen.prior_share, size=lot.count)
    return result.model_copy(update={"share_sentence": sentence or None, "actions": actions})


def _plain_price(text: str) -> float | None:
    """A price written in one way only; "1,234" could be two prices and is left out, as anything else is."""
    from partscreen.readings.columns.numbers import BadCell, decide_marks, evidence, read_cell

    seen = evidence([text])
    cell = read_cell(text, decide_marks([seen], ",")[0])
    if isinstance(cell, BadCell) or cell[1] or not 0 < cell[0] < 1e9:
        return None
    return cell[0]
