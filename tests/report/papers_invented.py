"""An invented lot for the tests of papers: a part for every way in which a refund sheet grades.

Part names, supplier and readings are made up. Limits of the type: 2SC5200/FJL4315 data sheet, Fairchild Semiconductor,
Rev. A2, March 2008 (hFE at least 35 at 5 V, 7 A; VBE at most 1.5 V at 5 V, 7 A; V(BR)CEO at least 230 V). Dispositions,
evidence and probabilities are set by hand, so that a test can look for their figures on paper.
"""

from __future__ import annotations

import numpy as np

from partscreen.results import (
    ControlSeen,
    Curves,
    InputFile,
    InstrumentUsed,
    Interval,
    KitUsed,
    LimitResult,
    LotResult,
    NextMeasurement,
    PartResult,
    Reason,
    Screening,
    SpotTaken,
    Unseen,
)

SHEET = "Fairchild Semiconductor, 2SC5200/FJL4315 data sheet, Rev. A2, March 2008"
RECALLED = "Figures recalled from the maker's data sheet; no stored copy was found, unknown (memory)"
EVIDENCE, UNFIT, SUBSTITUTED = 7.31415, 0.98765, 0.87654
CONDITIONS = "VCE=5 V, IC=7 A"


def row(symbol: str, side: str, limit: float, unit: str, value: float | None, std: float | None, **more) -> LimitResult:
    """A limit of the sheet against one part; broken unless `more` says otherwise."""
    told = {"conditions": CONDITIONS, "reached": "direct", "decision": "nonconforming", "basis": "stored copy"} | more
    return LimitResult.model_validate(
        {"symbol": symbol, "side": side, "limit": limit, "unit": unit, "value": value, "std": std,
         "edition": "fairchild", "source": f"{SHEET}; {RECALLED}", "probability_conforming": 1e-9, **told}
    )  # fmt: skip


def gain_row(value: float = 26.692636, std: float = 0.244397, **more) -> LimitResult:
    return row("hFE", "min", 35.0, "1", value, std, **more)


def vbe_row(value: float = 1.6789, std: float = 0.0061, **more) -> LimitResult:
    return row("VBE", "max", 1.5, "V", value, std, **more)


NOT_REACHED = row("V(BR)CEO", "min", 230.0, "V", None, None, conditions="IC=10 mA", reached="not_reached",
                  decision="undecided")  # fmt: skip
GAIN_BROKEN = Reason(
    code="LIMIT_BROKEN", sentence="Outside a printed limit: hFE ...", limit=f"hFE min 35 at {CONDITIONS}", source=SHEET
)
VBE_BROKEN = Reason(
    code="LIMIT_BROKEN",
    sentence="Outside a printed limit: VBE ...",
    limit=f"VBE max 1.5 V at {CONDITIONS}",
    source=SHEET,
)
SUSPECT = Reason(
    code="SUSPECT", sentence="Suspect: these readings are about 1,500 times likelier if the die is smaller."
)


def curves(scale: float = 1.0) -> Curves:
    """A plain roll-off from 10 mA to 8 A, no device model."""
    ic = np.geomspace(0.01, 8.0, 13)
    hfe = 120.0 * scale / (1 + (ic / 8.0) ** 1.6)
    vbe = 0.6 + 0.0258 * np.log(ic / 0.1) + 0.012 * ic
    n = len(ic)
    return Curves(
        ic=ic.tolist(), hfe=hfe.tolist(), hfe_std=(0.02 * hfe).tolist(), vbe=vbe.tolist(), vbe_std=[0.002] * n,
        vce_sat=(0.03 + 0.03 * ic).tolist(), vce=5.0, forced_gain=10.0,
    )  # fmt: skip


def part(name: str, disposition: str, reasons: list[Reason], **more) -> PartResult:
    """A part with the figures that must never reach a refund sheet."""
    told = {
        "part": name, "session": "day 1", "status": "judged", "disposition": disposition, "evidence": EVIDENCE,
        "probability_unfit": UNFIT, "probability_of_substitution": SUBSTITUTED, "reach": 0.72, "reach_absolute": 0.71,
        "area_ratio": Interval(value=1.01, low=0.93, high=1.09), "limits": [NOT_REACHED], "reasons": reasons,
        "readings_used": ["hFE 11 points 0.01 to 8 A", "VCE(sat) at 1 A", "C_CB"], "curves": curves(),
        "cannot_see": [Unseen(alternative="die area 0.8 of the type's", power=0.43),
                       Unseen(alternative="gain 0.72 of the lot's", power=0.004)],
    } | more  # fmt: skip
    return PartResult.model_validate(told)


def dead(name: str, code: str, status: str = "dead") -> PartResult:
    empty = dict.fromkeys(("area_ratio", "reach", "reach_absolute", "evidence", "curves", "cannot_see"))
    more = {**empty, "status": status, "limits": [], "readings_used": []}
    return part(name, "reject", [Reason(code=code, sentence="No current at 3.0 V.")], **more)


NEXT = NextMeasurement(
    reading="V(BR)CEO at 10 mA", why="A lower grade breaks down below 230 V.", minutes=2.0,
    recipe="Caution: a breakdown test can kill.\nBase open.\nWrite the volts.",
)  # fmt: skip


def parts() -> list[PartResult]:
    passed = gain_row(70.0, 0.7, decision="conforming", probability_conforming=1.0)
    small = Interval(value=0.5221, low=0.4812, high=0.5791)
    accepted = Reason(code="AS_MARKED", sentence="No evidence of substitution.")
    undecided = Reason(code="RISK_OF_ACCEPT", sentence="Undecided: the chance that the part is unfit is still 15.3%.")
    return [
        part("Q-01", "reject", [GAIN_BROKEN, SUSPECT], limits=[gain_row(), NOT_REACHED], area_ratio=small),
        part("Q-02", "reject", [GAIN_BROKEN, VBE_BROKEN], limits=[gain_row(20.0, 0.2), vbe_row(), NOT_REACHED]),
        part("Q-03", "reject", [SUSPECT], area_ratio=small),
        part("Q-04", "reject", [SUSPECT]),
        dead("Q-05", "OPEN"),
        dead("Q-06", "SWAPPED_LEADS"),
        dead("Q-07", "WRONG_POLARITY", "wrong_polarity"),
        part("Q-08", "hold", [undecided], next_measurement=NEXT),
        part("Q-09", "accept", [accepted], limits=[passed, NOT_REACHED]),
        part("Q-10", "accept", [accepted], limits=[passed, NOT_REACHED], curves=curves(1.1)),
    ]


def result(**changes) -> Screening:
    """The lot, with fields of it changed, beside files and the kit of its run."""
    spots = [
        SpotTaken(part=p, symbol="C_CB", value=v * 1e-12, std=1.4e-12, unit="F", conditions="VCB=10 V, emitter=open")
        for p, v in (("Q-01", 123.0), ("Q-03", 134.5), ("Q-09", 190.0))
    ]
    lot = LotResult(
        lot="Q", supplier="Birch", type="2SC5200", n_parts=10, judgement="return", parts=parts(), spots=spots,
        share_unfit=Interval(value=0.7, low=0.41, high=0.93),
        share_sentence="The share of unfit parts is above 41 % with 95 %.",
        reasons=[Reason(code="KNOWN_GOOD", sentence="Weighed against 6 known-good parts of 1 lot.")],
        files=["birch.csv", "capacitance.csv"],
        control=[ControlSeen(session="day 1", readings=3, gain_change=-0.0061, vbe_change=0.0003)],
    )  # fmt: skip
    inputs = [InputFile(file=name, sha256=c * 64, rows=9) for name, c in
              (("birch.csv", "a"), ("capacitance.csv", "b"), ("other_lot.csv", "c"))]  # fmt: skip
    kit = KitUsed(
        name="workshop bench", calibrated_on="2026-02-01",
        instruments=[InstrumentUsed(name="capacitance meter", reads=["C_CB"], accuracy=["C_CB 1.5 % + 1 pF"])],
    )  # fmt: skip
    return Screening(
        version="0.1.0", settings={"prior_share": 0.1, "risk": 0.02}, inputs=inputs,
        lots=[lot.model_copy(update=changes)], kit=kit,
    )  # fmt: skip
