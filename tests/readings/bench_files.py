"""The same readings written in many ways, for the tests of the import. Figures are invented."""

from __future__ import annotations

from pathlib import Path

from partscreen.readings.import_files import read_files
from partscreen.readings.tables import Batch

# lot, part, ic [A], ib [A], vce [V], vbe [V], case temperature [degC]
ROWS = [
    (lot, part, ic, round(ic / gain, 8), 5.0, vbe, 25.5)
    for lot, part, shift in (("A1", "1", 0.0), ("A1", "2", 3.0), ("B2", "7", -4.0))
    for ic, gain, vbe in ((0.05, 80.0 + shift, 0.602), (0.5, 90.0 + shift, 0.671), (1.234, 85.0 + shift, 0.723))
]


def number(value: float, decimal: str) -> str:
    """A figure with a chosen decimal mark."""
    return f"{value:.10g}".replace(".", decimal)


def lines(
    delimiter: str = ",",
    decimal: str = ".",
    header: tuple[str, ...] = ("lot", "part", "ic [A]", "ib [A]", "vce [V]", "vbe [V]", "temp [degC]"),
    scales: tuple[float, ...] = (1.0, 1.0, 1.0, 1.0),
    sign: float = 1.0,
) -> list[str]:
    """Header and rows as lines of text."""
    out = [delimiter.join(header)]
    for lot, part, ic, ib, vce, vbe, temp in ROWS:
        figures = [
            number(sign * value * scale, decimal) for value, scale in zip((ic, ib, vce, vbe), scales, strict=True)
        ]
        out.append(delimiter.join([lot, part, *figures, number(temp, decimal)]))
    return out


def write(folder: Path, name: str, content: str | bytes) -> Path:
    """A file of the given content."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def imported(folder: Path, content: str | bytes, name: str = "bag.csv", **how: object) -> Batch:
    """The batch of one file."""
    return read_files([write(folder, name, content)], **how).batch  # type: ignore[arg-type]


def codes(batch: Batch) -> list[str]:
    """Codes of the problems, in order."""
    return [problem.code for problem in batch.problems]
