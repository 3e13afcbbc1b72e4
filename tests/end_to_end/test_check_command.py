"""A technician with a capacitance meter, a supply and two multimeters asks about one part, reading by reading."""

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KIT = ROOT / "docs" / "examples" / "kit_supply_and_multimeters.toml"
READINGS = ("C_CB=310 pF @ VCB=0 V", "VBE=0.735 V @ IC=1 A, VCE=5 V", "VCE(sat)=0.15 V @ IC=1 A, IB=0.1 A")


def ask(*readings):
    command = [sys.executable, "-c", "from partscreen.cli.app import main; main()", "check", "2SC5200", *readings]
    ran = subprocess.run(
        [*command, "--kit", str(KIT), "--json"], capture_output=True, text=True, check=False, cwd=ROOT, timeout=120
    )
    return json.loads(ran.stdout)["lots"][0]["parts"][0], ran


def test_answers_sharpen_reading_by_reading_and_say_what_to_read_next():
    first, ran = ask(*READINGS[:1])
    assert ran.returncode == {"hold": 5, "reject": 4, "accept": 0}[first["disposition"]]
    assert ran.stderr == ""
    last, _ = ask(*READINGS)
    assert last["evidence"] > first["evidence"]
    widths = [p["area_ratio"]["high"] / p["area_ratio"]["low"] for p in (first, last)]
    assert widths[1] < widths[0]
    asked = first["next_measurement"]
    assert asked["minutes"] > 0
    assert not asked["reading"].startswith("C_CB")
    assert asked["recipe"].startswith("Caution:")
