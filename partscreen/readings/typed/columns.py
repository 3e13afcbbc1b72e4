"""What is asked of each part: one column a reading, with its unit and conditions, as the wide form has them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import QUANTITIES, bare
from partscreen.readings.columns.units import read_unit
from partscreen.readings.columns.wide_header import WideColumn, is_wide, same_reading, wide_column

# Unit of a figure typed without one, where the header states none; farads and amperes of leakage are never typed bare.
_USUAL = {"c_be": "nF", "c_cb": "pF", "vbe": "V", "vce_sat": "V", "vbe_sat": "V", "v_br_ceo": "V", "v_br_cbo": "V",
          "v_br_ebo": "V", "v_br_ces": "V", "v_br_cer": "V", "iceo": "uA", "icbo": "uA", "iebo": "uA", "ices": "uA",
          "icer": "uA", "icex": "uA", "ft": "MHz", "dwell": "s", "die_edge_x": "mm", "die_edge_y": "mm"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class TypedColumn:
    """One reading asked of each part.

    header : as it stands in the file. unit : of figures typed without one; SI value = factor * figure. said :
    conditions as written. conditions : SI values or words.
    """

    header: str
    quantity: str
    unit: str
    factor: float
    said: str = ""
    conditions: dict[str, float | str] = field(default_factory=dict)

    @property
    def symbol(self) -> str:
        """Symbol of the quantity."""
        return QUANTITIES[self.quantity].symbol

    @property
    def short(self) -> str:
        """Name in a line: symbol, and the current where one is stated (`hFE at 1 A`)."""
        current = self.conditions.get("IC")
        return f"{self.symbol} at {current:g} A" if isinstance(current, float) else self.symbol

    def figure(self, value: float) -> str:
        """A SI value in the column's unit, as short as it is exact to ten digits."""
        shown = f"{value / self.factor:.10g}"
        return f"{shown} {self.unit}" if self.unit != "1" else shown

    def text(self, value: float) -> str:
        """The reading as `check` takes it."""
        return f"{self.symbol}={self.figure(value)}{' @ ' + self.said if self.said else ''}"


def columns_from(headers: Sequence[str]) -> tuple[TypedColumn, ...]:
    """Columns from headers such as `C_BE [nF] @ VEB=0 V, f=1 MHz`.

    Raises
    ------
    UnusableInput
        A header names no reading, or the same one twice; every problem at once.
    """
    problems: list[Problem] = []
    out: list[TypedColumn] = []
    read: list[WideColumn] = []
    for number, header in enumerate(headers, start=1):
        where = f"reading {number} to ask for"
        text = header.strip()
        column, wrong, _ = wide_column(number, text) if text else (None, [_EMPTY], [])
        problems += [Problem(code, f"{text!r}: {what}", fix, where) for code, what, fix in wrong]
        if column is None:
            if not wrong:
                problems.append(Problem("UNKNOWN_QUANTITY", f"{text!r} is no reading", _FORM, where))
            continue
        if column.quantity not in QUANTITIES or QUANTITIES[column.quantity].kind == "column":
            problems.append(Problem("UNKNOWN_QUANTITY", f"{text!r} is no single reading of a part", _FORM, where))
            continue
        if any(same_reading(column, one) for one in read):
            problems.append(Problem("COLUMN_TWICE", f"{text!r} is asked for twice", "name it once", where))
            continue
        read.append(column)
        unit = column.unit or read_unit(_USUAL.get(column.quantity, "1"), QUANTITIES[column.quantity].unit)
        symbol = QUANTITIES[column.quantity].symbol
        header = f"{symbol} [{unit.name}]" if unit.name != "1" else symbol
        if column.said or not is_wide(header):
            header = f"{header} @ {column.said}".rstrip()  # with @, so that it is read as one reading a part
        out.append(TypedColumn(header, column.quantity, unit.name, unit.factor, column.said, dict(column.conditions)))
    if problems or not out:
        raise UnusableInput(problems or [Problem("NO_READING", "no reading is asked for", _FORM)])
    return tuple(out)


_FORM = 'write it as "C_BE [nF] @ VEB=0 V, f=1 MHz" or "hFE @ IC=1 A, VCE=5 V"'
_EMPTY = ("NO_READING", "nothing is asked for", _FORM)


def find_columns(columns: Sequence[TypedColumn], name: str) -> list[int]:
    """Places of the columns a typed name may mean: `C_BE`, `hFE`, `hFE@1` (by current), `VBE at 0.5 A`."""
    head, _, tail = name.replace(" at ", "@").partition("@")
    wanted = bare(head)
    found = [i for i, one in enumerate(columns) if bare(one.symbol) == wanted or one.quantity == head]
    if tail.strip():
        found = [i for i in found if bare(tail) in (bare(columns[i].short.partition(" at ")[2]), bare(columns[i].said))
                 or bare(tail) == bare(columns[i].short.partition(" at ")[2].removesuffix(" A"))]  # fmt: skip
    return found
