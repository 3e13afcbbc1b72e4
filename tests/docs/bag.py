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
OPEN_PART = "T5"  # its base is open: no capacitance of it was written down
_KIT = BenchKit("pulse set-up", 10.0, gain_noise=0.002, sat_noise_relative=0.003, fixture=1.2e-12)
_PLAN = Plan(
    gain_ic=np.array([0.1, 0.5, 1.0, 3.0, 5.0, 7.0]),
    sat_ic=np.array([1.0, 4.0, 8.0]),
    capacitance=((0, 0.0), (1, 10.0)),
)


def files() -> dict[str, str]:
    """Name and text of every file of the bag."""
    small = Alternatives(area=(0.39, 0.41))
    drawn = draw_lot(type_card("2SC5200"), KINDS, 41, lot="bag", alternatives=small)
    parts = rename(drawn, [f"T{i + 1}" for i in range(len(KINDS))])
    readings = read_lot(parts, _KIT, _PLAN, 12, Sitting(air=ZERO_CELSIUS + 23.4))
    lines = [LABEL, "part,sweep,IC [A],IB [mA],VCE [V],VBE [V],case temp [degC]"]
    for row in rows_of(readings):
        figures = (number(row.ic), number(1e3 * row.ib), f"{row.vce:.3f}", f"{row.vbe:.3f}", f"{row.case:.1f}")
        lines.append(",".join((row.part, row.sweep, *figures)))
    sheet = [LABEL, "lot,supplier,type,count,files", "bag,Birch,2SC5200,6,bag.csv; capacitance.csv"]
    spots = [LABEL, "part,quantity,value,unit,conditions"]
    for name, (c_be, c_cb) in zip(readings.names, readings.cap, strict=True):
        if name != OPEN_PART:
            spots.append(f'{name},C_BE,{1e9 * c_be:.3f},nF,"VEB=0 V, f=1 MHz, collector=open"')
            spots.append(f'{name},C_CB,{1e12 * c_cb:.1f},pF,"VCB=10 V, f=1 MHz, emitter=open"')
    texts = {"bag.csv": lines, "capacitance.csv": spots, "lots.csv": sheet}
    return {name: "\n".join(text) + "\n" for name, text in texts.items()}


def write(folder: Path = FOLDER) -> list[Path]:
    """Write the bag's files and say where."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return [folder / name for name in files()]
