"""Devices that are no bipolar transistors: told as not covered, never judged as if they were.

A type of the library is always covered. Otherwise the lot sheet's column `kind` decides; without it, the beginning of
the type number, where that leaves one reading only.
"""

from __future__ import annotations

import re

from partscreen.quantities import bare

BIPOLAR = frozenset(("bipolar", "bjt", "transistor", "npn", "pnp", "bipolartransistor", "darlington"))
OTHERS = {
    **dict.fromkeys(("mosfet", "mos", "fet", "jfet", "fieldeffecttransistor"), "a field-effect transistor"),
    **dict.fromkeys(("igbt",), "an insulated-gate bipolar transistor"),
    **dict.fromkeys(("ic", "integratedcircuit", "regulator", "opamp", "hybrid", "module"), "an integrated circuit"),
    **dict.fromkeys(("diode", "zener", "rectifier", "bridge"), "a diode"),
    **dict.fromkeys(("thyristor", "scr", "triac"), "a thyristor"),
    **dict.fromkeys(("resistor", "capacitor", "inductor", "relay", "fuse"), "no semiconductor device of this job"),
}
_NUMBERS: tuple[tuple[str, str], ...] = (
    (r"[23]SJ\d", "a field-effect transistor (2SJ and 3SJ, JIS C 7012; memory)"),
    (r"[23]SK\d", "a field-effect transistor (2SK and 3SK, JIS C 7012; memory)"),
    (r"IRF[A-Z]*\d", "a field-effect transistor (IRF; memory)"),
    (r"(LM|NE|TDA|STK)\d", "an integrated circuit (LM, NE, TDA, STK; memory)"),
    (r"1S[RSV]?\d|1N\d", "a diode (1N, JEDEC; 1S, JIS C 7012; memory)"),
)


def not_covered(type_name: str | None, kind: str = "") -> str | None:
    """What a device is that this job does not cover, in words; None where it may be a bipolar transistor.

    Parameters
    ----------
    type_name : as marked, of a type that the library does not know
    kind : what the lot sheet's column `kind` says
    """
    said = bare(kind)
    if said in BIPOLAR:
        return None
    if said in OTHERS:
        return OTHERS[said]
    number = re.sub(r"[^A-Z0-9]", "", (type_name or "").upper())
    return next((words for form, words in _NUMBERS if re.match(form, number)), None)
