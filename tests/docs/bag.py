"""The worked bag of the README: six invented parts, read at six currents. `write(folder)` makes its files again."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.simulate.bench import read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import BenchKit, Plan, Sitting
from partscreen.simulate.parts import Alternatives, Kind, draw_lot, rename
from partscreen.simulate.write_files import number, rows_of

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "examples" / "bag"
LABEL = "# Invented data: made by a simulator. No real part, supplier or person is described."
# In truth: T3 has a die of two fifths of the area, T5 is open, the others are sound.
KINDS = (Kind.SOUND, Kind.SOUND, Kind.SMALLER_DIE, Kind.SOUND, Kind.OPEN, Kind.SOUND)
_KIT = BenchKit("pulse set-up", 10.0, gain_noise=0.002, sat_noise_relative=0.003)
_PLAN = Plan(gain_ic=np.array([0.1, 0.5, 1.0, 3.0, 5.0, 7.0]))


def files() -> dict[str, str]:
    """Name and text of every file of the bag."""
    small = Alternatives(area=(0.39, 0.41))
    drawn = draw_lot(type_card("2SC5200"), KINDS, 41, lot="bag", alternatives=small)
    parts = rename(drawn, [f"T{i + 1}" for i in range(len(KINDS))])
    readings = read_lot(parts, _KIT, _PLAN, 12, Sitting(air=ZERO_CELSIUS + 23.4))
    lines = [LABEL, "part,IC [A],IB [mA],VCE [V],VBE [V],case temp [degC]"]
    for row in rows_of(readings):
        figures = (number(row.ic), number(1e3 * row.ib), f"{row.vce:.2f}", f"{row.vbe:.3f}", f"{row.case:.1f}")
        lines.append(",".join((row.part, *figures)))
    sheet = [LABEL, "lot,supplier,type,count,files", "bag,Birch,2SC5200,6,bag.csv"]
    return {"bag.csv": "\n".join(lines) + "\n", "lots.csv": "\n".join(sheet) + "\n"}


def write(folder: Path = FOLDER) -> list[Path]:
    """Write the bag's files and say where."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in files()]
