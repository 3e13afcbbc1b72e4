"""Symbols that stand in reference files: unit, plain words, and the conditions without which a figure is no limit.

Spellings of data sheets are unified here (VCEsat, VCE(sat)), so that one symbol means one quantity everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

from partscreen.quantities import find_quantity


@dataclass(frozen=True, slots=True)
class Symbol:
    """One symbol. `needs`: conditions without which a figure is no limit. `quantity`: key of the reading it limits."""

    name: str
    unit: str
    words: str
    needs: tuple[str, ...] = ()
    quantity: str | None = None
    signed: bool = False
    spellings: tuple[str, ...] = ()


def _characteristic(name: str, unit: str, words: str, needs: str, spellings: tuple[str, ...] = ()) -> Symbol:
    # |hfe| is the small-signal gain: its letters are those of hFE, its reading is another.
    found = None if name == "|hfe|" else find_quantity(name)
    return Symbol(name, unit, words, tuple(needs.split()), found.key if found else None, False, spellings)


RATINGS: dict[str, Symbol] = {
    s.name: s
    for s in (
        Symbol("VCEO", "V", "collector-emitter voltage, base open"),
        Symbol("VCBO", "V", "collector-base voltage, emitter open"),
        Symbol("VEBO", "V", "emitter-base voltage, collector open"),
        Symbol("VCER", "V", "collector-emitter voltage, resistor from base to emitter"),
        Symbol("VCES", "V", "collector-emitter voltage, base shorted to emitter"),
        Symbol("VCEX", "V", "collector-emitter voltage, base reverse biased", spellings=("VCEV",)),
        Symbol("IC", "A", "collector current"),
        Symbol("ICM", "A", "peak collector current", spellings=("ICP", "ICPEAK")),
        Symbol("IB", "A", "base current"),
        Symbol("IBM", "A", "peak base current"),
        Symbol("IE", "A", "emitter current"),
        Symbol("PC", "W", "dissipation at 25 degC case", spellings=("PTOT", "PD")),
        Symbol("PC_TA25", "W", "dissipation at 25 degC ambient, no heat sink", spellings=("PC_TA",)),
        Symbol("PC_TMB70", "W", "dissipation at 70 degC mounting base"),
        Symbol("TJ", "degC", "highest junction temperature", signed=True, spellings=("TJMAX",)),
        Symbol("TSTG_MIN", "degC", "lowest storage temperature", signed=True),
        Symbol("TL_SOLDER", "degC", "lead temperature when soldering"),
        Symbol("RTHJC", "degC/W", "thermal resistance, junction to case", spellings=("RTHJMB",)),
        Symbol("RTHJA", "degC/W", "thermal resistance, junction to ambient"),
        Symbol("DERATING", "W/degC", "derating above 25 degC case", spellings=("DERATE",)),
    )
}

CHARACTERISTICS: dict[str, Symbol] = {
    s.name: s
    for s in (
        _characteristic("hFE", "1", "DC current gain", "IC VCE"),
        _characteristic("|hfe|", "1", "small-signal current gain", "IC VCE f", ("hfe", "hfe_magnitude")),
        _characteristic("VBE", "V", "base-emitter voltage", "IC VCE", ("VBE(on)", "VBEon")),
        _characteristic("VBE(sat)", "V", "base-emitter saturation voltage", "IC IB", ("VBEsat",)),
        _characteristic("VCE(sat)", "V", "collector-emitter saturation voltage", "IC IB", ("VCEsat",)),
        _characteristic("C_CB", "F", "collector-base capacitance, emitter open", "VCB", ("Cob", "C_OB", "Cobo")),
        _characteristic("C_BE", "F", "base-emitter capacitance, collector open", "VEB", ("Cib", "C_IB", "Cibo")),
        _characteristic("fT", "Hz", "transition frequency", "IC VCE"),
        _characteristic("fhfe", "Hz", "small-signal gain cut-off frequency", "IC VCE"),
        _characteristic("ICBO", "A", "collector-base leakage, emitter open", "VCB"),
        _characteristic("ICEO", "A", "collector-emitter leakage, base open", "VCE"),
        _characteristic("ICER", "A", "collector-emitter leakage, resistor from base to emitter", "VCE RBE"),
        _characteristic("ICES", "A", "collector-emitter leakage, base shorted to emitter", "VCE"),
        _characteristic("ICEX", "A", "collector-emitter leakage, base reverse biased", "VCE VBE_off", ("ICEV",)),
        _characteristic("IEBO", "A", "emitter-base leakage, collector open", "VEB"),
        _characteristic("V(BR)CEO", "V", "collector-emitter breakdown, base open", "IC", ("VCEO(sus)",)),
        _characteristic(
            "V(BR)CER", "V", "collector-emitter breakdown, resistor base to emitter", "IC RBE", ("VCER(sus)",)
        ),
        _characteristic("V(BR)CES", "V", "collector-emitter breakdown, base shorted", "IC"),
        _characteristic(
            "V(BR)CEX", "V", "collector-emitter breakdown, base reverse biased", "IC VBE_off", ("VCEX(sus)",)
        ),
        _characteristic("V(BR)CBO", "V", "collector-base breakdown, emitter open", "IC"),
        _characteristic("V(BR)EBO", "V", "emitter-base breakdown, collector open", "IE"),
        _characteristic("IS/b", "A", "second-breakdown collector current", "VCE t"),
        _characteristic("NF", "dB", "noise figure", "IC"),
        _characteristic("ton", "s", "turn-on time", "IC"),
        _characteristic("toff", "s", "turn-off time", "IC"),
        _characteristic("tstg", "s", "storage time", "IC"),
        _characteristic("tf", "s", "fall time", "IC"),
    )
}

CURVES: dict[str, Symbol] = {
    **{k: CHARACTERISTICS[k] for k in ("hFE", "VBE", "VBE(sat)", "VCE(sat)", "C_CB", "C_BE", "fT")},
    "IC": Symbol("IC", "A", "collector current"),
    "VCE": Symbol("VCE", "V", "collector-emitter voltage"),
    "ZTHJC": Symbol("ZTHJC", "degC/W", "transient thermal impedance, junction to case, single pulse"),
}

CURVE_AXES: dict[str, str] = {"IC": "A", "IB": "A", "VCE": "V", "VCB": "V", "VEB": "V", "t": "s"}

CONDITIONS: dict[str, str] = {
    "IC": "A", "IB": "A", "IE": "A", "IB1": "A", "IB2": "A", "VCE": "V", "VCB": "V", "VEB": "V", "VCC": "V",
    "VBE_off": "V", "RBE": "ohm", "RL": "ohm", "RS": "ohm", "f": "Hz", "t": "s", "IC_over_IB": "1",
}  # fmt: skip


def _spellings(table: dict[str, Symbol]) -> dict[str, str]:
    # Case is kept: hFE is the DC gain, hfe the small-signal one.
    out = {}
    for symbol in table.values():
        for spelling in (symbol.name, *symbol.spellings):
            out[spelling] = symbol.name
    return out


RATING_SPELLINGS = _spellings(RATINGS)
CHARACTERISTIC_SPELLINGS = _spellings(CHARACTERISTICS)
CURVE_SPELLINGS = _spellings(CURVES)
