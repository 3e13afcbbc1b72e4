"""Make the demo's files again: `python -m partscreen.simulate.make_demo FOLDER` (needs openpyxl). Seeded."""

from __future__ import annotations

import sys
from pathlib import Path

from partscreen.simulate.bench import Readings
from partscreen.simulate.scenario import CONTROL, DEMO_LOTS, ODD_LINE, DemoLot, lot_readings
from partscreen.simulate.write_files import (
    LABEL,
    rows_of,
    write_base_stepped,
    write_capacitances,
    write_decimal_comma,
    write_plain,
    write_workbook,
)

KIT = f"""# {LABEL}
# Pulses to 10 A. On both benches the collector lead between part and sense point was measured once, socket shorted.
name = "workshop bench (invented)"
temperature = 25.0
temperature_logged = false

[[instruments]]
name = "pulse set-up"
reads = ["ic", "ib", "vce", "vbe", "vce_sat", "case_temp"]
range = {{ ic = 10.0, ib = 2.0 }}
accuracy.ic = {{ percent = 1.0 }}
accuracy.ib = {{ percent = 1.0 }}
accuracy.vbe = {{ percent = 0.1, absolute = 1e-3 }}
accuracy.vce = {{ percent = 0.2, absolute = 2e-3 }}
accuracy.vce_sat = {{ percent = 0.8, absolute = 1.5e-3 }}
lead_resistance.collector = {{ value = 0.004, std = 0.001 }}
conditions = {{ VCE = 5.0, forced_gain = 10.0 }}
minutes_per_reading = 1.0
pulse_seconds = 3e-4

[[instruments]]
name = "capacitance meter"
reads = ["c_be", "c_cb"]
accuracy.c_be = {{ percent = 1.0, absolute = 1e-12 }}
accuracy.c_cb = {{ percent = 1.0, absolute = 1e-12 }}
conditions = {{ VCB = 10.0, VEB = 0.0, f = 1e6 }}
fixture_capacitance = {{ value = 2e-12, std = 0.5e-12 }}
minutes_per_reading = 0.5
"""

STAGE = f"""# {LABEL}
# One of the two output stages of a channel of the village hall's amplifier; both halves of the bridge are alike.

[stage]
name = "village hall, one half of the bridge (invented)"
npn = "2SC5200"
pnp = "2SA1943"
devices_per_rail = 3

[rails]
unloaded = "45 V"
loaded = "40 V"

[load]
resistance = "4 ohm"                # half of the loudspeaker's 8 ohm: the bridge shares it
minimum_impedance = "3.2 ohm"
phase = "30 deg"
rated_power = "150 W"
lowest_frequency = "30 Hz"

[programme]
crest_factor = "10 dB"

[emitter_resistors]
marked = "0.22 ohm"
tolerance = "5 %"
power = "5 W"

[cooling]
insulator = "0.4 degC/W"
heat_sink = "0.25 degC/W"
devices_on_heat_sink = 6
ambient = "30 degC"

[drive]
base_current = "400 mA"
voltage_loss = "2 V"

[bias]
target = "11 mV"                    # across one emitter resistor, warm, no signal
tolerance = "40 %"
offset = "50 mV"                    # dc at the output, either way

[[fuses]]
place = "positive rail"
carries = "rail"
found = "T 8 A"
specified = "T 8 A"

[[fuses]]
place = "negative rail"
carries = "rail"
found = "T 8 A"
specified = "T 8 A"
"""

README = """# The demo's files

**Invented data.** A computer made every reading here from the equations of a transistor and random numbers with a fixed
seed. The workshop, its customers (a village hall, a cinema club) and its suppliers (Alder, Birch, Cedar) do not exist.
The type numbers are real; no maker's part is described, and nothing here says anything about any real part.

A small workshop services two amplifiers and has bought bags of output transistors; one lot comes out of the channel
that still works:

| lot | type | from | file | shape of the file |
|---|---|---|---|---|
{table}

`capacitance.csv` holds base-emitter and collector-base capacitances of four lots, one reading a line. `lots.csv` is the
lot sheet, `kit.toml` describes the instruments. `stage.toml` describes the output stage that the 2SC5200 and 2SA1943 go
into.

The files are as untidy as files are: decimal commas, units in different places, currents in milliamperes, PNP readings
with their signs, a sweep read downwards, a supply left at its limit, a figure typed wrongly, a dead part, a part put in
the wrong way round.
"""

_SHAPES = {
    "K1": "plain CSV",
    "A1": "plain CSV, with the control piece REF",
    "B1": "workbook (XLSX), units in the headers",
    "A2": "semicolons, decimal commas, Latin-1, a row of units, signed",
    "B2": "base current in steps, milliamperes, signed",
    "C1": "tabs, UTF-8 with byte-order mark, swept downwards",
    "C2": "semicolons, decimal commas, to 1 A, up and down, no temperature",
    "A3": "plain CSV, to 1 A, no temperature",
}


def main() -> None:
    """Write the files into the folder named on the command line."""
    if len(sys.argv) != 2:
        raise SystemExit("usage: python -m partscreen.simulate.make_demo FOLDER")
    make_demo(Path(sys.argv[1]))


def make_demo(folder: Path) -> None:
    """Write all demo files into a folder, which is made if need be."""
    folder.mkdir(parents=True, exist_ok=True)
    read = [(lot, lot_readings(lot)) for lot in DEMO_LOTS]
    for lot, readings in read:
        _write(folder / lot.file, lot, readings)
    with_c = [(lot.name, readings) for lot, readings in read if lot.plan.capacitance]
    write_capacitances(folder / "capacitance.csv", with_c, (CONTROL,))
    (folder / "lots.csv").write_bytes(_lot_sheet().encode("utf-8"))
    (folder / "kit.toml").write_bytes(KIT.encode("utf-8"))
    (folder / "stage.toml").write_bytes(STAGE.encode("utf-8"))
    table = "\n".join(
        f"| {lot.name} | {lot.type_number} | {lot.supplier} | `{lot.file}` | {_SHAPES[lot.name]} |" for lot in DEMO_LOTS
    )
    (folder / "README.md").write_bytes(README.format(table=table).encode("utf-8"))


def _write(path: Path, lot: DemoLot, readings: Readings) -> None:
    sign = -1 if lot.type_number in ("2SA1943", "MJL21193") else 1
    rows = rows_of(readings, (CONTROL,), last_first=lot.name == "C1")
    if lot.name == "B1":
        write_workbook(path, rows, session=lot.session, pulse=lot.kit.dwell)
    elif lot.name == "A2":
        remark = "Bench 1, pulsed; case temperature from a sensor on the tab"
        write_decimal_comma(
            path, rows, session=lot.session, pulse=lot.kit.dwell, sign=sign, remark=remark, odd=_typed_wrongly
        )
    elif lot.name == "C2":
        remark = "Bench 2, supply and meters, half a second a point, up and down again"
        write_decimal_comma(path, rows, session=lot.session, pulse=lot.kit.dwell, sign=sign, remark=remark)
    elif lot.name == "B2":
        write_base_stepped(path, rows, session=lot.session, pulse=lot.kit.dwell, sign=sign)
    elif lot.name == "C1":
        write_plain(path, rows, session=lot.session, pulse=lot.kit.dwell, delimiter="\t", bom=True)
    else:
        write_plain(path, rows, session=lot.session, pulse=lot.kit.dwell)


def _typed_wrongly(line: int, hfe: str) -> str:
    return "0,435" if line == ODD_LINE else hfe


def _lot_sheet() -> str:
    lines = [f"# {LABEL}", "lot,supplier,type,count,known_good,files,notes"]
    for lot in DEMO_LOTS:
        known = "yes" if lot.known_good else "no"
        where = f"{lot.file}; capacitance.csv" if lot.plan.capacitance else lot.file
        cells = [lot.name, lot.supplier, lot.type_number, str(len(lot.kinds)), known, where, f'"invented; {lot.note}"']
        lines.append(",".join(cells))
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    main()
