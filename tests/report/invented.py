"""Invented screenings for the report's tests: made-up parts and suppliers, a real type number and its limits.

2SC5200: data sheet 2SC5200/FJL4315, Fairchild Semiconductor, Rev. A2, March 2008 (hFE 55-160 at 1 A, at least 35 at
7 A, VCE(sat) at most 3 V at 8 A, VBE at most 1.5 V at 7 A, V(BR)CEO at least 230 V).
The 50 mA row of V(BR)CEO is memory.
The shapes of the curves are a plain roll-off, not a device model; dispositions are set by hand to cover what the page
must show; one hFE limit is drawn as memory to show the hollow mark.
"""

from __future__ import annotations

import numpy as np

from partscreen.device.parameters import NAMES
from partscreen.report.data import Envelope, LimitPoint, LotData, PartData, Region, ReportData
from partscreen.results import (
    ChiSquare,
    Curves,
    Fit,
    InputFile,
    InputProblem,
    LimitResult,
    LotResult,
    NextMeasurement,
    NotJudged,
    PartResult,
    QualityNote,
    Reason,
    Screening,
)

SHEET = "2SC5200/FJL4315 data sheet, Fairchild Semiconductor, Rev. A2, March 2008"
IC = np.geomspace(0.02, 8.0, 18)
SAT_IC = np.geomspace(0.5, 8.0, 6)
GRID = np.geomspace(0.01, 15.0, 60)
WAITING = Reason(code="NOT_YET_WEIGHED", sentence="No limit failed; the evidence for the marking is not weighed yet.")


def _hfe(ic, peak, knee):
    return peak / (1 + 0.15 * (0.02 / ic) ** 0.5) / (1 + (ic / knee) ** 1.6)


def _vbe(ic, area):
    return 0.0258 * np.log(ic / area / 2e-12) + 0.012 * ic / area


def _sat(ic, area):
    return 0.028 + 0.027 * ic / area + 2e-4 * (ic / area) ** 3


def _envelope(low, high, typical):
    ic = GRID
    origin = tuple("population" if i < 0.4 else "typical curve" if i < 0.9 or i > 9 else "limit" for i in ic)
    return Envelope(ic, low(ic), high(ic), typical(ic), origin)


def lot_data(parts: dict[str, PartData]) -> LotData:
    """Envelope and limits of a 2SC5200, with invented parts."""
    return LotData(
        hfe=_envelope(lambda i: _hfe(i, 65, 6), lambda i: _hfe(i, 175, 9), lambda i: _hfe(i, 132, 8)),
        vbe=_envelope(lambda i: _vbe(i, 1) - 0.02, lambda i: _vbe(i, 1) + 0.02, lambda i: _vbe(i, 1)),
        vce_sat=_envelope(lambda i: np.full(len(i), np.nan), lambda i: 2.2 * _sat(i, 1), lambda i: _sat(i, 1)),
        limits=(
            LimitPoint("hfe", 1.0, 55, "min", "data sheet"),
            LimitPoint("hfe", 1.0, 160, "max", "data sheet"),
            LimitPoint("hfe", 7.0, 35, "min", "memory"),
            LimitPoint("vce_sat", 8.0, 3.0, "max", "data sheet"),
            LimitPoint("vbe", 7.0, 1.5, "max", "data sheet"),
        ),
        parts=parts,
        working_ic=1.0,
        conditions="VCE = 5 V, case 25 °C",
        sat_conditions="IC/IB = 10, case 25 °C",
        c_cb_conditions="VCB = 10 V, f = 1 MHz",
        c_cb=Region(150e-12, 260e-12, "the typical figure and its spread (assumption)"),
    )


def part_data(rng: np.random.Generator, area: float) -> PartData:
    """Readings of one invented part of the given die area."""
    peak, knee = rng.normal(125, 6), 8 * area
    noise = rng.normal(size=(3, IC.size))
    sat_noise = rng.normal(size=SAT_IC.size)
    return PartData(
        ic=IC,
        hfe=_hfe(IC, peak, knee) * (1 + 0.01 * noise[0]),
        vbe=_vbe(IC, area) + 0.001 * noise[1],
        hfe_residual=noise[0],
        vbe_residual=np.where(IC < 0.05, np.nan, noise[1]),
        sat_ic=SAT_IC,
        vce_sat=_sat(SAT_IC, area) * (1 + 0.02 * sat_noise),
        sat_residual=sat_noise,
        c_cb=200e-12 * area * (1 + 0.03 * rng.normal()),
        gain=float(_hfe(1.0, peak, knee)),
    )


def _curves(area: float) -> Curves:
    return Curves(
        ic=GRID.tolist(),
        hfe=_hfe(GRID, 125, 8 * area).tolist(),
        hfe_std=(0.02 * _hfe(GRID, 125, 8 * area)).tolist(),
        vbe=_vbe(GRID, area).tolist(),
        vbe_std=[0.002] * len(GRID),
        vce_sat=[None if i > 12 else float(_sat(i, area)) for i in GRID],
        vce=5.0,
        forced_gain=10.0,
    )


def fit() -> Fit:
    """A fit whose early-voltage and reverse-gain coordinates hang on the prior."""
    share = [0.05 if i % 3 else 0.95 for i in range(len(NAMES))]
    sd = [0.02 if s < 0.5 else 0.8 for s in share]
    theta = [np.log(1e-12 if name == "is" else 200e-12 if name.startswith("cj") else 40.0) for name in NAMES]
    theta[NAMES.index("qs")] = 0.1
    return Fit(
        names=list(NAMES),
        theta=[float(t) for t in theta],
        covariance=np.diag(np.square(sd)).tolist(),
        prior_share=share,
        junction_temperature=299.4,
        chi_square=ChiSquare(value=33.2, dof=38, p=0.69),
    )


def limit_rows(hfe_high: float) -> list[LimitResult]:
    """The rows of the sheet against a part with the given gain at 7 A."""
    failed = hfe_high < 33
    sheet = {"edition": "FSC", "basis": "data sheet", "source": SHEET}
    memory = {"edition": "memory rows", "basis": "memory", "source": "recalled from the maker's sheet"}
    good = {"decision": "conforming", "probability_conforming": 0.99999}
    bad = {"decision": "nonconforming", "probability_conforming": 2e-6}
    rows: list[dict[str, object]] = [
        {"symbol": "hFE", "side": "min", "limit": 55, "conditions": "IC = 1 A, VCE = 5 V, TC = 25 °C"}
        | {"unit": "1", "value": 121.4, "std": 1.3, "reached": "direct", **good, **sheet},
        {"symbol": "hFE", "side": "min", "limit": 35, "conditions": "IC = 7 A, VCE = 5 V, TC = 25 °C"}
        | {"unit": "1", "value": hfe_high, "std": 0.62, "reached": "direct", **(bad if failed else good), **sheet},
        {"symbol": "VCE(sat)", "side": "max", "limit": 3.0, "conditions": "IC = 8 A, IB = 800 mA, TC = 25 °C"}
        | {"unit": "V", "value": 0.263, "std": 0.009, "reached": "carried", **good, **sheet},
        {"symbol": "V(BR)CEO", "side": "min", "limit": 230, "conditions": "IC = 50 mA, IB = 0", "unit": "V"}
        | {
            "reached": "not_reached",
            "decision": "undecided",
            "doubt": "no stored copy of the sheet was found",
            **memory,
        },
    ]
    return [LimitResult.model_validate(row) for row in rows]


NEXT = NextMeasurement(
    reading="V(BR)CEO at 10 mA, base open",
    why="A smaller die of a lower voltage grade would break down below 230 V.",
    minutes=4,
    recipe="Collector to the supply limited to 10 mA, emitter to its return, base open.\nWrite the volts.",
)


def screening(n_parts: int = 12, *, suffix: str = "", lots: int = 1, seed: int = 5) -> tuple[Screening, ReportData]:
    """`lots` lots of `n_parts` invented parts: fourth rejected, fifth held for a reason of its own, last dead."""
    rng = np.random.default_rng(seed)
    results, arrays = [], {}
    for number in range(1, lots + 1):
        lot, data = _lot(f"B{number}{suffix}", n_parts, rng, suffix)
        results.append(lot)
        arrays[lot.lot] = data
    problem = InputProblem(
        code="BAD_NUMBER",
        row=17,
        column="ic",
        what=f'"1,234" reads two ways{suffix}',
        fix="say decimal = comma or point",
    )
    inputs = [
        InputFile(file=f"birch{suffix}.csv", sha256="ab" * 32, rows=288, problems=[problem]),
        InputFile(file="cedar.xlsx", sha256="cd" * 32, rows=12),
    ]
    result = Screening(
        version="0.1.0",
        settings={"risk": 0.02, "prior_share": 0.1, "temperature": None, "files": ["birch.csv"]},
        inputs=inputs,
        not_judged=[NotJudged(part=f"X1{suffix}", lot=None, why="no lot of the sheet names this file")],
        lots=results,
    )
    return result, ReportData(
        arrays,
        notices=("Column note of birch.csv was ignored.",),
        not_tested=("Thermal resistance: no heating pulse was read.",),
    )


def _lot(name: str, n_parts: int, rng: np.random.Generator, suffix: str) -> tuple[LotResult, LotData]:
    areas = [0.45 if j == 4 else 0.8 if j == 5 else 1.0 for j in range(1, n_parts + 1)]
    names = [f"{name}-{j:02d}" for j in range(1, n_parts + 1)]
    readings = {part: part_data(rng, area) for part, area in zip(names, areas, strict=True)}
    parts = [_part(part, area) for part, area in zip(names, areas, strict=True)]
    parts[-1] = PartResult(
        part=names[-1],
        status="dead",
        disposition="reject",
        reasons=[
            Reason(code="SHORT", sentence="Collector and emitter are shorted: 12 mV at 1 A.", figures={"vce": 0.012})
        ],
    )
    del readings[names[-1]]
    lot = LotResult(
        lot=name,
        supplier=f"Birch{suffix}",
        type="2SC5200",
        edition="FSC",
        n_parts=n_parts,
        judgement="undecided",
        reasons=[Reason(code="MIXED", sentence="One part has a smaller saturation region than the rest (invented).")],
        parts=parts,
    )
    return lot, lot_data(readings)


def _part(name: str, area: float) -> PartResult:
    rejected, odd = area < 0.6, 0.6 < area < 0.9
    reasons = [WAITING]
    quality: list[QualityNote] = []
    if rejected:
        sentence = "hFE at 7 A is 19.2 ± 1.2, below the limit of at least 35 (read directly)."
        reasons = [
            Reason(
                code="LIMIT_FAILED",
                sentence=sentence,
                figures={"value": 19.2, "std": 0.62, "limit": 35},
                limit="hFE min at 7 A",
                source=SHEET,
            )
        ]
    if odd:
        reasons = [
            Reason(
                code="LIMIT_UNCONFIRMED",
                sentence="V(BR)CEO is known from memory only; read it.",
                figures={"limit": 230.0},
            )
        ]
        quality = [
            QualityNote(
                code="SELF_HEATING", sentence="hFE rises by 3 % between the up and the down sweep.", run="gain 1"
            )
        ]
    return PartResult(
        part=name,
        session="S1",
        status="judged",
        disposition="reject" if rejected else "hold",
        limits=limit_rows(19.2 if rejected else 66.4),
        fit=fit(),
        curves=_curves(area),
        quality=quality,
        readings_used=["gain sweep, 18 points", "saturation sweep, 6 points", "C_CB"],
        reasons=reasons,
        next_measurement=NEXT if odd else None,
    )
