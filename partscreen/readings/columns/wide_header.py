"""Headers that carry a reading and its conditions: `C_BE [nF] @ VBE=0 V, f=1 MHz`, `hFE @ IC=1 A, VCE=5 V`.

A file of one row a part (the wide form) has them. The syntax is that of `check`: a quantity, its unit, and after `@`
the conditions. A quantity that is no column of sweeps may stand without conditions; the kit's are taken then.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from partscreen.quantities import QUANTITIES, Quantity
from partscreen.readings.columns.conditions import own_bias, parse_conditions
from partscreen.readings.columns.recognise import Recognised, close_names, recognise
from partscreen.readings.columns.units import UnitReading

_NOT_READ_SO = ("vce", "case_temp", "ambient", "time")  # column quantities that are conditions, never readings
_UNIT_AT_END = re.compile(r"\s*[\[({]\s*([^\[\](){}=]*)\s*[\])}]\s*$")
_CONDITION = re.compile(r"\s*[A-Za-z_][\w()/. ]*=[^@]*")
_NEGATIVE = re.compile(r"\b(?:IC|VCE|IB|VBE)\s*=\s*[-−]\s*[\d.,]*[1-9]", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class WideColumn:
    """A column of one reading a part.

    `said`: the conditions as written; `negative`: a current or voltage among them is; `conditions`: as
    `parse_conditions` gives them; `unit` None: the header names none.
    """

    index: int
    header: str
    quantity: str
    unit: UnitReading | None = None
    said: str = ""
    conditions: dict[str, float | str] = field(default_factory=dict)
    negative: bool = False

    @property
    def role(self) -> str:
        """What the column is read as, in the words a column map takes."""
        return f"{self.quantity} @ {self.said}" if self.said else self.quantity


def is_wide(header: str) -> bool:
    """Whether a header names a reading that has its conditions with it, or is no column of sweeps."""
    if "@" in header:
        name, said = split_wide(header)
        found = recognise(name)
        return "=" in said or (found is not None and found.role in QUANTITIES)
    found = recognise(header) if header else None
    return found is not None and found.spot


def split_wide(header: str) -> tuple[str, str]:
    """Name with unit, and conditions: a unit behind the conditions counts as one behind the name."""
    name, _, said = (bit.strip() for bit in header.strip().strip("\"'").partition("@"))
    unit = _UNIT_AT_END.search(said)
    if unit is not None and unit[1] and "=" in said[: unit.start()] and not re.search(r"[\[({/]", name):
        name, said = f"{name} [{unit[1]}]", said[: unit.start()]
    return name, said.strip()


def wide_column(index: int, header: str) -> tuple[WideColumn | None, list[tuple[str, str, str]], list[str]]:
    """The column a wide header means, or (code, what, fix) of what is wrong with it; and what was bent to read it."""
    name, said = split_wide(header)
    found = Recognised(name) if name in QUANTITIES else recognise(name)
    quantity = QUANTITIES.get(found.role) if found is not None else None
    if found is None or quantity is None or quantity.key in _NOT_READ_SO:
        return None, [_no_reading(header, name, quantity)], []
    if found.doubt is not None:
        return None, [found.doubt], []
    conditions, problems, notices = parse_conditions(said)
    wrong = [(problem.code, problem.what, problem.fix) for problem in problems]
    if wrong:
        return None, wrong, []
    if found.unit is not None and found.unit.notice:
        notices = [*notices, found.unit.notice]
    settled = own_bias(quantity.key, conditions)
    return WideColumn(index, header, quantity.key, found.unit, said, settled, bool(_NEGATIVE.search(said))), [], notices


def map_role(role: str) -> tuple[str, str] | None:
    """Quantity key and conditions of a role that a column map writes as a wide header; None: it is no such role."""
    name, said = split_wide(role)
    found = recognise(name)
    quantity = QUANTITIES.get(name) or (QUANTITIES.get(found.role) if found is not None else None)
    if quantity is None or quantity.key in _NOT_READ_SO or (not said and quantity.kind != "spot"):
        return None
    return quantity.key, said


def _no_reading(header: str, name: str, quantity: Quantity | None) -> tuple[str, str, str]:
    if quantity is not None:
        what = f"{quantity.words} is no reading that has conditions of its own"
        return "UNKNOWN_QUANTITY", what, "write it among the conditions of another reading, or as a column without @"
    known = [q.symbol for q in QUANTITIES.values() if q.key not in _NOT_READ_SO]
    hint = ", ".join(close_names(name, known)) or "hFE, VBE, VCE(sat), C_BE, C_CB, ICBO"
    what = f"{header!r} names no quantity that is known before its @"
    return "UNKNOWN_QUANTITY", what, f'write it as "C_BE [nF] @ VEB=0 V, f=1 MHz"; quantities near it: {hint}'


def join_conditions(cells: Sequence[str], delimiter: str) -> list[str]:
    """A header whose conditions were cut at their commas, put together again.

    A piece such as ` VCE=5 V` right of a header with `@` can be no column of its own.
    """
    out: list[str] = []
    for cell in cells:
        if out and "@" in out[-1] and delimiter in (",", ";") and "@" not in cell and _CONDITION.fullmatch(cell):
            out[-1] = f"{out[-1]}{delimiter}{cell}"
        else:
            out.append(cell)
    return out


def same_reading(one: WideColumn, other: WideColumn) -> bool:
    """Whether two columns hold the same quantity under the same conditions."""
    return one.quantity == other.quantity and one.conditions == other.conditions
