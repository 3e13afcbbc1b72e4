"""Files of the how-to pages, made of the worked bag and of the demo's invented readings.

`python -m tests.docs.how_to_files` makes them again.
"""

from __future__ import annotations

import csv
from pathlib import Path

from tests.docs import bag

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "examples" / "how_to"
_DEMO = Path(__file__).resolve().parents[2] / "partscreen" / "simulate" / "demo_files"


def files() -> dict[str, str]:
    """Name and text of every file."""
    return {"odd.txt": _odd(), "odd_map.toml": _odd_map(), "meter.csv": _meter()}


def _comma(text: str, factor: float = 1.0) -> str:
    return f"{float(text) * factor:.6g}".replace(".", ",")


def _odd() -> str:
    """The gain readings of the worked bag as a tester with a mind of its own might write them."""
    lines = ["Measurement log (invented)", "", "Piece;I1;I2;U1;U2;Remark"]
    for row in csv.DictReader(bag.files()["bag.csv"].splitlines()[1:]):
        if row["sweep"] == "gain":
            currents = (_comma(row["IC [A]"], 1e3), _comma(row["IB [mA]"], 1e3))
            lines.append(";".join((row["part"], *currents, _comma(row["VCE [V]"]), _comma(row["VBE [V]"], 1e3), "")))
    return "\n".join(lines) + "\n"


def _odd_map() -> str:
    return """format = "long"
decimal = ","
delimiter = "semicolon"

[columns]
part = "Piece"
ic = { column = "I1", unit = "mA" }
ib = { column = "I2", unit = "uA" }
vce = { column = "U1", unit = "V" }
vbe = { column = "U2", unit = "mV" }
sweep = { constant = "gain" }
case_temp = { constant = 23, unit = "degC" }
"""


def _meter() -> str:
    """Capacitances alone: two known-good parts and a bag, read with a meter without bias for C_BE."""
    lines = ["# Invented data: made by a simulator. No real part, supplier or person is described."]
    lines.append("lot,part,quantity,value,unit,conditions")
    rows = csv.DictReader((_DEMO / "capacitance.csv").read_text(encoding="utf-8").splitlines()[1:])
    for row in rows:
        if row["part"] in ("K1-01", "K1-02") or row["lot"] == "B1":
            cells = (row["lot"], row["part"], row["quantity"], row["value"], row["unit"], f'"{row["conditions"]}"')
            lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


def write(folder: Path = FOLDER) -> list[Path]:
    """Write the files and say where."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in files()]


if __name__ == "__main__":
    write()
