"""Parts that need no fit: open, short, without gain, leads exchanged, other polarity."""

from __future__ import annotations

import numpy as np

from partscreen.readings.findings import Desk, Finding, PartFinding, PolarityOfLot, polarity
from partscreen.readings.runs import group_median
from partscreen.readings.tables import Bools, Floats, Ints, Sweep

SHORT_VCE = 0.1  # V; a transistor in its active region holds more at any current read here (assumption)
SHORT_IC = 1e-2  # A; below this a low VCE may be an ordinary starting point of an output curve (assumption)
SHORT_VBE = 0.1  # V at SHORT_IB: a silicon junction holds 0.4 V and more there (physics: IS below 1e-8 A)
SHORT_IB = 1e-3  # A
NO_BASE_SHARE = 3e-6  # base current over collector current below which the base does not control (gain above 300,000)
NO_BASE_IC = 1e-3  # A; leakage of a sound part is far below
OPEN_SHARE = 1e-3  # collector over base current below which no collector path is there (assumption)
OPEN_VBE = 1.5  # V; with no collector current: the base supply is at its own limit (assumption)
OPEN_IC = 1e-7  # A
MOST = 0.8  # share of rows that must agree (assumption)
REVERSE_GAIN = (0.1, 5.0)  # gain with collector and emitter exchanged (common practice, no source)
DOUBTED_GAIN = 30.0  # largest reverse gain of the model cards at hand is 26 (assumption for others)
DOUBTED_SHARE = 0.25  # of the lot's median; sound parts of one lot lie within a factor of 2 (assumption)
OTHERS = 3  # parts a lot must have beside the doubted one
NORMAL_VBE = (0.3, 1.3)  # V (common practice, no source)
SHORT_LEAK = 0.1  # A of leakage: the supply's limit, not a junction (assumption)
SHORT_BREAKDOWN = 2.0  # V (assumption: no collector junction breaks down there)


def dead_parts(desk: Desk) -> list[PartFinding]:
    """SHORT, OPEN, NO_GAIN and SWAPPED_LEADS from the readings of each part."""
    return [*_shorts(desk), *_spot_shorts(desk), *_opens(desk), *_low_gain(desk)]


def _rows(desk: Desk) -> Bools:
    rows: Bools = ~desk.points.control & (desk.points.sweep != Sweep.SATURATION)
    return rows


def _share(desk: Desk, hit: Bools, among: Bools) -> tuple[Floats, Ints]:
    """Share of the rows `among` of each part that are `hit`, and how many such rows there are."""
    n = desk.batch.n_parts
    total = np.bincount(desk.points.part[among], minlength=n)
    found = np.bincount(desk.points.part[among & hit], minlength=n)
    return found / np.maximum(total, 1), total


def _shorts(desk: Desk) -> list[PartFinding]:
    p = desk.points
    rows = _rows(desk)
    flowing = rows & (p.ic >= SHORT_IC)
    share_vce, n_vce = _share(desk, p.vce < SHORT_VCE, flowing & np.isfinite(p.vce))
    with_base = rows & (p.ic >= NO_BASE_IC) & np.isfinite(p.ib)
    share_ib, n_ib = _share(desk, np.abs(p.ib) <= NO_BASE_SHARE * p.ic, with_base)
    driven = rows & (p.ib >= SHORT_IB) & np.isfinite(p.vbe)
    share_be, n_be = _share(desk, p.vbe < SHORT_VBE, driven)
    ic_top = _part_highest(desk, np.where(rows, p.ic, np.nan))
    collector = np.flatnonzero((share_vce >= MOST) & (n_vce >= 2))
    uncontrolled = np.flatnonzero((share_ib >= MOST) & (n_ib >= 2))
    base = np.flatnonzero((share_be >= MOST) & (n_be >= 2))
    return [
        PartFinding(
            "dead",
            "SHORT",
            collector,
            "Short between collector and emitter: {ic_a} A flow with less than 0.1 V across the part.",
            {"ic_a": ic_top[collector]},
        ),
        PartFinding(
            "dead",
            "SHORT",
            uncontrolled,
            "Short or leak between collector and emitter: {ic_a} A flow although the base gets no current.",
            {"ic_a": ic_top[uncontrolled]},
        ),
        PartFinding(
            "dead",
            "SHORT",
            base,
            "Short between base and emitter: less than 0.1 V at {ib_a} A of base current.",
            {"ib_a": _part_highest(desk, np.where(driven, p.ib, np.nan))[base]},
        ),
    ]


def _spot_shorts(desk: Desk) -> list[PartFinding]:
    spots = desk.batch.spots
    live = spots.use & ~spots.control
    leak = live & np.isin(spots.quantity, ("icbo", "iceo", "ices", "icer", "icex")) & (spots.value >= SHORT_LEAK)
    breaks = np.isin(spots.quantity, ("v_br_ceo", "v_br_cer", "v_br_ces", "v_br_cbo"))
    low = live & breaks & (spots.value < SHORT_BREAKDOWN)
    leaking, where = np.unique(spots.part[leak], return_index=True)
    broken, place = np.unique(spots.part[low], return_index=True)
    return [
        PartFinding(
            "dead", "SHORT", leaking, "Short at the collector: {ic_a} A of leakage.", {"ic_a": spots.value[leak][where]}
        ),
        PartFinding(
            "dead",
            "SHORT",
            broken,
            "Short at the collector: it holds only {volts} V.",
            {"volts": spots.value[low][place]},
        ),
    ]


def _opens(desk: Desk) -> list[PartFinding]:
    p = desk.points
    rows = _rows(desk)
    ic_top = _part_highest(desk, np.where(rows, np.abs(p.ic), np.nan))
    ib_top = _part_highest(desk, np.where(rows, np.abs(p.ib), np.nan))
    vbe_top = _part_highest(desk, np.where(rows, p.vbe, np.nan))
    no_collector = np.isfinite(ic_top) & (ib_top >= 1e-5) & (ic_top < OPEN_SHARE * ib_top)
    no_base = np.isfinite(ic_top) & (ic_top < OPEN_IC) & (vbe_top > OPEN_VBE) & ~no_collector
    collector, base = np.flatnonzero(no_collector), np.flatnonzero(no_base)
    return [
        PartFinding(
            "dead",
            "OPEN",
            collector,
            "Open at the collector: base current of {ib_a} A draws a collector current of {ic_a} A at most.",
            {"ib_a": ib_top[collector], "ic_a": ic_top[collector]},
        ),
        PartFinding(
            "dead",
            "OPEN",
            base,
            "Open at base or emitter (or read in the other polarity): no current at {vbe_v} V from base to emitter.",
            {"vbe_v": vbe_top[base]},
        ),
    ]


def _low_gain(desk: Desk) -> list[PartFinding]:
    p, spots, n = desk.points, desk.batch.spots, desk.batch.n_parts
    rows = _rows(desk) & np.isfinite(p.hfe) & ~((p.sweep == Sweep.OUTPUT) & (p.vce < 0.5))
    gain = _part_highest(desk, np.where(rows, p.hfe, np.nan))
    read = spots.use & ~spots.control & (spots.quantity == "hfe") & np.isfinite(spots.value)
    np.maximum.at(gain, spots.part[read], spots.value[read])
    vbe = group_median(np.where(_rows(desk), p.vbe, np.nan), p.part, n)
    normal = (vbe > NORMAL_VBE[0]) & (vbe < NORMAL_VBE[1])
    exchanged = normal & (gain >= REVERSE_GAIN[0]) & (gain <= REVERSE_GAIN[1])
    none = np.isfinite(gain) & (gain < 1.0) & ~exchanged
    dead, swapped = np.flatnonzero(none), np.flatnonzero(exchanged)
    return [
        PartFinding("dead", "NO_GAIN", dead, "No gain: hFE is {hfe} at most.", {"hfe": np.maximum(gain[dead], 0.0)}),
        PartFinding(
            "wrong_polarity",
            "SWAPPED_LEADS",
            swapped,
            "hFE is {hfe} at most with an ordinary VBE of {vbe_v} V, as with collector and emitter exchanged: "
            "check the pin order "
            "and read again; if the leads were right, the part has no useful gain.",
            {"hfe": gain[swapped], "vbe_v": vbe[swapped]},
        ),
    ]


def leads_doubted(desk: Desk) -> list[Finding]:
    """LEADS_DOUBTED: gain a quarter of the lot's or less, with an ordinary VBE: exchanged leads draw that too.

    Reverse gains of modern dies reach 5 to 30, where exchanged leads and a worn or other part look alike: a remark, no
    verdict. The readings stay in use and the limits decide.
    """
    p, n = desk.points, desk.batch.n_parts
    rows = _rows(desk) & desk.ok & np.isfinite(p.hfe) & ((p.sweep == Sweep.GAIN) | (p.sweep == Sweep.GUMMEL))
    gain = _part_highest(desk, np.where(rows, p.hfe, np.nan))
    gain = np.where(np.isfinite(gain), gain, np.nan)
    lot, n_lots = desk.batch.part_lot, len(desk.batch.lots)
    median = group_median(gain, lot, n_lots)
    enough = np.bincount(lot[np.isfinite(gain)], minlength=n_lots) > OTHERS
    vbe = group_median(np.where(rows, p.vbe, np.nan), p.part, n)
    normal = (vbe > NORMAL_VBE[0]) & (vbe < NORMAL_VBE[1])
    low = normal & enough[lot] & (gain <= DOUBTED_GAIN) & (gain <= DOUBTED_SHARE * median[lot])
    _, first = np.unique(p.part[rows], return_index=True)
    runs = desk.runs.of_row[np.flatnonzero(rows)[first]]
    hit = runs[low[desk.runs.part[runs]]]
    sentence = (
        "hFE is {hfe} at most, the rest of the lot has {lot_hfe}: collector and emitter exchanged look like this, "
        "and so does a worn or "
        "other part. Check the pin order and read again before judging."
    )
    parts = desk.runs.part[hit]
    return [Finding("LEADS_DOUBTED", hit, sentence, {"hfe": gain[parts], "lot_hfe": median[lot[parts]]})]


def wrong_polarity(desk: Desk, of_lot: PolarityOfLot | None) -> list[PartFinding]:
    """WRONG_POLARITY: the sign of the currents contradicts the lot's polarity.

    Negative readings contradict NPN. Positive ones contradict PNP only where most other parts of the lot were read
    negative: many testers print magnitudes.
    """
    sign = desk.batch.part_sign
    if sign is None:
        return []
    lots = polarity(desk.batch.lots, of_lot)
    lot = desk.batch.part_lot
    n_lots = len(lots)
    is_npn = np.array([kind == "NPN" for kind in lots], dtype=bool)
    is_pnp = np.array([kind == "PNP" for kind in lots], dtype=bool)
    negative = np.bincount(lot[sign < 0], minlength=n_lots)
    positive = np.bincount(lot[sign > 0], minlength=n_lots)
    against = ((sign < 0) & is_npn[lot]) | ((sign > 0) & is_pnp[lot] & (negative > positive)[lot])
    parts = np.flatnonzero(against)
    sentence = (
        "The signs of the readings are those of the other polarity than the lot's type: the part is of the other "
        "polarity, or the "
        "leads were exchanged."
    )
    return [PartFinding("wrong_polarity", "WRONG_POLARITY", parts, sentence, {"sign": sign[parts].astype(float)})]


def _part_highest(desk: Desk, values: Floats) -> Floats:
    """Largest finite value of each part; -inf where it has none."""
    out = np.full(desk.batch.n_parts, -np.inf)
    np.maximum.at(out, desk.points.part, np.where(np.isfinite(values), values, -np.inf))
    return out
