"""The library against the collected data-sheet figures: nothing is lost or changed on the way into `reference_curves`.

Source of every figure: the data sheets named in each file's [[sources]].
"""

from __future__ import annotations

import csv
import tomllib

import pytest

from partscreen.reference import Library, limits
from partscreen.reference.crosscheck import check_derating
from partscreen.reference.validate import build
from tests.facts import FACTS, needs_facts
from tests.reference.measured_figures import TABLE, rows

LIBRARY = Library.load()
SHEETS = sorted((FACTS / "datasheets").glob("*.toml")) if FACTS.is_dir() else []
# Written out again here, so that a slip in the program's own table of spellings shows.
UNIFIED = {
    "DERATE": "DERATING", "PC_TA": "PC_TA25", "VCEsat": "VCE(sat)", "VBEsat": "VBE(sat)", "Cob": "C_CB", "Cib": "C_BE",
    "ICEV": "ICEX", "hfe": "|hfe|", "hfe_magnitude": "|hfe|",
}  # fmt: skip
SECONDS = {
    "dc": None, "50us": 50e-6, "100us": 1e-4, "250us": 250e-6, "300us": 3e-4, "500us": 5e-4, "0.5ms": 5e-4, "1ms": 1e-3,
    "5ms": 5e-3, "10ms": 0.01, "50ms": 0.05, "100ms": 0.1, "250ms": 0.25, "0.5s": 0.5, "1s": 1.0,
}  # fmt: skip
REWORDED = {
    "auditor": "a second reader",
    "not proof of a fake": "no evidence of substitution",
    "genuine": "of the maker",
}


def unified(symbol):
    return UNIFIED.get(symbol, symbol)


def load(path):
    return tomllib.loads(path.read_text(encoding="utf-8")), LIBRARY.type(path.stem)


@needs_facts
def test_every_collected_type_is_in_the_library():
    assert len(SHEETS) == 82
    assert {p.stem.upper() for p in SHEETS} == set(LIBRARY.names)


@needs_facts
@pytest.mark.parametrize("path", [pytest.param(p, id=p.stem) for p in SHEETS])
def test_every_rating_and_characteristic_is_kept_with_its_source(path):
    facts, kind = load(path)
    for row in facts["ratings"]:
        same = [
            r
            for r in kind.ratings
            if (r.symbol, r.value, r.unit) == (unified(row["symbol"]), row["value"], row["unit"])
        ]
        assert len(same) == 1, row
        assert row["source"] in same[0].source, row
    for row in facts["characteristics"]:
        wanted = (
            unified(row["symbol"]), row.get("min"), row.get("typ"), row.get("max"), row["unit"], row["conditions"],
            row.get("case_temperature_c"), row.get("junction_temperature_c"), row.get("ambient_temperature_c"),
            row.get("rank"),
        )  # fmt: skip
        same = [
            c
            for c in kind.characteristics
            if wanted
            == (
                c.symbol, c.min, c.typ, c.max, c.unit, c.conditions,
                c.case_temperature_c, c.junction_temperature_c, c.ambient_temperature_c, c.rank,
            )
            and row["source"] in c.source
        ]  # fmt: skip
        assert len(same) == 1, row
        assert bool(same[0].doubt) == ("doubt" in row), row


@needs_facts
@pytest.mark.parametrize("path", [pytest.param(p, id=p.stem) for p in SHEETS])
def test_every_curve_and_safe_area_point_is_kept(path):
    facts, kind = load(path)
    old, new = facts.get("curves", []), kind.curves
    assert len(old) == len(new)
    for row, curve in zip(old, new, strict=True):
        axis = {"C_CB": "VCB", "C_BE": "VEB"}.get(unified(row["quantity"]), "") if row["x"] == "VR" else row["x"]
        assert (curve.quantity, curve.x, curve.unit) == (unified(row["quantity"]), axis, row["unit"])
        assert [list(p) for p in curve.points] == row["points"]
        assert curve.conditions == row["conditions"]
        assert curve.temperature_c == row.get("temperature_c")
        assert curve.source == (row["source"],)
        assert row.get("note", "") in curve.note
        assert curve.reading_error == row.get("reading_error", 0.01)  # two files state 1 % once for all their figures
    assert len(facts.get("soa", [])) == len(kind.soa)
    for row, area in zip(facts.get("soa", []), kind.soa, strict=True):
        assert area.pulse == SECONDS[row["kind"]]
        assert [list(p) for p in area.points] == row["points"]
        assert area.source == (row["source"],)
        assert area.doubt == row.get("doubt", "")


@needs_facts
@pytest.mark.parametrize("path", [pytest.param(p, id=p.stem) for p in SHEETS])
def test_device_sources_marking_and_doubts_are_kept(path):
    facts, kind = load(path)
    device = kind.device.model_dump(exclude={"printed"})
    assert device == facts["device"]
    known = {s.id: s.model_dump() for s in kind.sources}
    assert [known[s["id"]] for s in facts["sources"]] == facts["sources"]
    assert len(kind.marking) == len(facts.get("marking", []))
    for row, fact in zip(facts.get("marking", []), kind.marking, strict=True):
        if not any(word in row["fact"] for word in REWORDED):
            assert fact.fact == row["fact"]
        assert fact.source == (row["source"],)


@needs_facts
def test_the_earlier_200_v_edition_is_kept_as_its_own_edition():
    """Motorola page of MJL3281A / MJL1302A, printed in one line of the collected file (marking, source OLD)."""
    for name in ("MJL3281A", "MJL1302A"):
        kind = LIBRARY.type(name)
        said = next(m.fact for m in kind.marking if "200 V part" in m.fact)
        gains = [
            (c.conditions["IC"], c.min, c.max) for c in kind.characteristics if c.symbol == "hFE" and "OLD" in c.source
        ]
        assert sorted(gains, key=lambda g: g[0]) == [
            *((ic, 60, 175) for ic in (0.1, 1.0, 3.0, 5.0, 7.0)),
            (8.0, 45, None),
            (15.0, 12, None),
        ]
        assert "60 to 175 at 0.1 A" in said
        assert "45 min at 8 A, 12 min at 15 A" in said


@needs_facts
def test_every_field_capacitance_of_a_library_type_is_a_reading_of_its_type():
    """field_measurements.csv; rows of types that are not in the library are not taken."""
    judgement = {"yes": "sound", "no": "substituted", "unknown": "not stated"}
    factor = {"nF": 1e-9, "pF": 1e-12}
    taken = 0
    with (FACTS / "field_measurements.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if not row["quantity"].startswith("C_") or row["unit"] not in factor:
                continue
            names = [n for n in row["type_number"].replace(" or ", " ").split() if n in LIBRARY]
            if row["type_number"].startswith(("38494", "MJ15030")):
                assert not names
            for name in names:
                value = float(row["value"]) * factor[row["unit"]]
                same = [
                    r
                    for r in LIBRARY.type(name).readings
                    if r.value == pytest.approx(value) and r.author_judgement == judgement[row["genuine"]]
                ]
                assert same, row
                bound = "min" if "lower" in row["quantity"] or "MORE THAN" in row["conditions"] else None
                bound = "max" if "upper" in row["quantity"] else bound
                assert (bound or "value") in {r.bound for r in same}, row
                taken += 1
    assert taken == sum(len(kind.readings) for kind in LIBRARY) == 17


@needs_facts
def test_table_of_measured_specimens_is_what_the_measured_files_give():
    with TABLE.open(encoding="utf-8", newline="") as file:
        stored = [tuple(row) for row in csv.reader(file)][1:]
    assert stored == [tuple(row) for row in rows()]


def _measured(figure, kind=None):
    with TABLE.open(encoding="utf-8", newline="") as file:
        return {
            (r["type_number"], r["specimen"]): float(r["value"])
            for r in csv.DictReader(file)
            if r["figure"] == figure and kind in (None, r["type_number"])
        }


def test_three_of_ten_measured_npn_specimens_lose_gain_faster():
    """GitHub mbrennwa/curvetracedata, MJL21194: gain at the last over the first usable base step, 10 V."""
    ratio = _measured("hFE last over first", "MJL21194")
    assert len(ratio) == 10
    fast = {specimen for (_, specimen), value in ratio.items() if round(value, 2) <= 0.84}
    assert fast == {"5", "7", "9"}
    assert all(0.82 <= round(v, 2) <= 0.84 for (_, s), v in ratio.items() if s in fast)
    assert all(0.90 <= v <= 0.96 for (_, s), v in ratio.items() if s not in fast)


def test_laboratory_runs_are_ideal_between_1_and_100_microamperes():
    """College laboratory runs, 25 degC assumed; wafer set of IHP (Apache License 2.0) at 27 degC."""
    for (kind, specimen), nf in _measured("NF").items():
        low, high = (1.00, 1.04) if kind.startswith("npn13g2") else (0.95, 1.05)
        assert low <= nf <= high, (kind, specimen)
    assert all(56.5 <= v <= 61.0 for v in _measured("VBE per decade of IC").values())
    wafer = [v for (k, _), v in _measured("hFE", "npn13g2 (SG13G2)").items() if k]
    assert len(wafer) == 4
    assert all(774.5 <= v <= 807.5 for v in wafer)


# P25 [W], highest junction temperature [degC], printed slope [W/degC], printed RthJC [degC/W] of six sheets; verdict.
# Stored copies: 2N3055 data-sheet text; NTE331/332; NTE388/68; MIL-S-19500/173A (2N389); MIL-PRF-19500/379K (2N3791,
# rated at 100 degC case); NTE54/55.
DERATING_TABLE = [
    ("2N3055", 115, 200, None, 1.52, 25, 0.6571, True),
    ("NTE331/332", 90, 150, None, 1.4, 25, 0.7200, True),
    ("NTE388/68", 250, 200, 1.43, None, 25, 1.4286, True),
    ("2N389", 85, 200, 0.486, None, 25, 0.4857, True),
    ("2N3791", 85.7, 200, None, 1.1, 100, 0.857, False),
    ("NTE54/55", 50, 150, 0.04, None, 25, 0.4000, False),
]


@pytest.mark.parametrize(("name", "p25", "tj", "derating", "rth", "case", "slope", "agrees"), DERATING_TABLE)
def test_printed_dissipation_junction_temperature_and_slope_are_held_together(
    name, p25, tj, derating, rth, case, slope, agrees
):
    check = check_derating(p25, tj, derating, rth, case=case)
    assert check.slope == pytest.approx(slope, abs=5e-5 if name != "2N3791" else 5e-4)
    assert check.agrees is agrees


def test_the_check_finds_the_tenfold_misprint():
    """NTE54/55: 50 W, 150 degC, printed slope 0.04 W/degC; 0.4 is meant."""
    assert check_derating(50, 150, 0.04).derating_ratio == pytest.approx(0.1)


def test_the_cautious_sheet_implies_a_thermal_resistance_above_the_printed_one():
    """2N3791, MIL-PRF-19500/379K: 85.7 W at 100 degC case implies 1.167 degC/W where 1.1 is printed."""
    assert 1 / check_derating(85.7, 200, None, 1.1, case=100).slope == pytest.approx(1.167, abs=5e-4)


def test_2n3055_has_the_limits_its_data_sheet_is_known_for():
    """2N3055 data sheets: hFE measured at 4 A and 10 A, 4 V; VCE(sat) at most 1.1 V at 4 A / 0.4 A."""
    kind = LIBRARY.type("2N3055")
    gains = {c.conditions["IC"] for c in kind.characteristics if c.symbol == "hFE" and c.conditions.get("VCE") == 4.0}
    assert {4.0, 10.0} <= gains
    sat = [c for c in kind.characteristics if c.symbol == "VCE(sat)" and c.conditions == {"IC": 4.0, "IB": 0.4}]
    assert max(c.max for c in sat) == 1.1


# MIL-PRF-19500/379K (2N3791, 2N3792): primary limits, typed by hand from the sheet. PNP: printed with minus signs.
SLASH_SHEET = """
[device]
type_number = "2N3791"
polarity = "PNP"
[[sources]]
id = "MIL"
title = "MIL-PRF-19500/379K"
basis = "stored copy"
[[characteristics]]
symbol = "hFE"
min = 30
max = 120
unit = "1"
conditions = { VCE = 2.0, IC = 3.0 }
source = "MIL"
[[characteristics]]
symbol = "hfe_magnitude"
min = 4.0
max = 20
unit = "1"
conditions = { VCE = 10.0, IC = 0.5, f = 1e6 }
source = "MIL"
[[characteristics]]
symbol = "VBEsat"
max = 1.5
unit = "V"
conditions = { IC = 5.0, IB = 0.5 }
source = "MIL"
[[characteristics]]
symbol = "VCEsat"
max = 1.0
unit = "V"
conditions = { IC = 5.0, IB = 0.5 }
source = "MIL"
[[characteristics]]
symbol = "Cobo"
max = 500
unit = "pF"
conditions = { VCB = 10.0 }
source = "MIL"
"""


def test_a_slash_sheet_typed_by_hand_gives_its_limits():
    kind, problems = build(tomllib.loads(SLASH_SHEET), "2n3791.toml")
    assert not problems
    assert [(r.symbol, r.side, r.value, r.is_limit) for r in limits(kind)] == [
        ("hFE", "min", 30, True),
        ("hFE", "max", 120, True),
        ("|hfe|", "min", 4.0, True),
        ("|hfe|", "max", 20, True),
        ("VBE(sat)", "max", 1.5, True),
        ("VCE(sat)", "max", 1.0, True),
        ("C_CB", "max", pytest.approx(500e-12), True),
    ]


def test_minus_signs_copied_from_a_pnp_sheet_are_named():
    text = SLASH_SHEET.replace("max = 1.5", "max = -1.5").replace("VCE = 2.0", "VCE = -2.0")
    kind, problems = build(tomllib.loads(text), "2n3791.toml")
    assert kind is None
    assert [p.column for p in problems] == [
        "characteristics row 1 (hFE), conditions",
        "characteristics row 3 (VBEsat), max",
    ]
    assert all("drop the sign" in p.fix for p in problems)
