"""Spot readings of a long-form table: quantity, value, unit and conditions of each row."""

from __future__ import annotations

import math

from partscreen.errors import NearNames, Problem
from partscreen.quantities import QUANTITIES, Quantity, find_quantity
from partscreen.readings.columns.conditions import own_bias, parse_conditions, spot_value
from partscreen.readings.columns.interpret import Interpreted, bad_cell_problem
from partscreen.readings.columns.numbers import BadCell
from partscreen.readings.columns.recognise import close_names
from partscreen.readings.tables import Ints

Found = tuple[int, str, float, dict[str, float | str]]


def read_spots(data: Interpreted, rows: Ints, problems: list[Problem], notices: list[str]) -> list[Found]:
    """(row index, quantity key, SI value, conditions) of every spot row that can be used; the others are reported."""
    if not rows.size:
        return []
    blank = [""] * data.n
    quantities = data.texts["quantity"]
    values, units, conditions = (data.texts.get(role, blank) for role in ("value", "unit", "conditions"))
    sign_free = data.mark
    found: list[Found] = []
    bad: dict[str, list[BadCell]] = {}
    told: set[str] = set()
    near = NearNames()
    conditions_read: dict[str, tuple[dict[str, float | str], list[Problem], list[str]]] = {}
    for i in rows.tolist():
        quantity = find_quantity(quantities[i])
        if quantity is None or quantity.kind == "column":
            bad.setdefault("quantity", []).append(_unknown(i, quantities[i], near))
            continue
        value, wrong, notes = spot_value(quantity, values[i], units[i], sign_free)
        for problem in wrong:
            role = (
                "unit"
                if problem.code in ("NO_UNIT", "UNKNOWN_UNIT", "AMBIGUOUS_UNIT") and "unit" in data.uses
                else "value"
            )
            bad.setdefault(role, []).append(BadCell(i, problem.code, problem.what, problem.fix))
        text = conditions[i]
        if text not in conditions_read:
            conditions_read[text] = parse_conditions(text, near)
        read, wrong_conditions, more = conditions_read[text]
        for problem in wrong_conditions:
            bad.setdefault("conditions", []).append(BadCell(i, problem.code, problem.what, problem.fix))
        told.update(notes)
        told.update(more)
        if not math.isnan(value) and not wrong_conditions:
            found.append((i, quantity.key, value, dict(own_bias(quantity.key, read))))
    notices.extend(sorted(told))
    for role, cells in bad.items():
        column = (
            data.uses[role].index if role in data.uses and data.uses[role].index >= 0 else data.uses["quantity"].index
        )
        for code in dict.fromkeys(cell.code for cell in cells):
            problems.append(bad_cell_problem(data, column, [cell for cell in cells if cell.code == code]))
    return found


def _unknown(index: int, name: str, near: NearNames) -> BadCell:
    spots: list[Quantity] = [q for q in QUANTITIES.values() if q.kind != "column"]
    hint = ", ".join(close_names(name, [q.symbol for q in spots], near)) or ", ".join(q.symbol for q in spots[:8])
    return BadCell(index, "UNKNOWN_QUANTITY", f"quantity {name!r} is not known", f"names near it: {hint}")
