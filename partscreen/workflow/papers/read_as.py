"""What papers tell of the readings themselves: lot sheet, files, single readings, control piece, kit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from partscreen.readings.instruments.kit import Accuracy, Kit
    from partscreen.readings.tables import Batch, Floats, Lot, Spots
    from partscreen.results import ControlSeen, KitUsed, LotResult, SpotTaken


def with_what_was_read(
    results: Sequence[LotResult],
    batch: Batch,
    with_control: Batch,
    *,
    control: Mapping[int, ControlSeen] | None = None,
) -> list[LotResult]:
    """The lots with their sheet, files, single readings and control pieces.

    Parameters
    ----------
    results : in the order of `batch.lots`
    with_control : the batch before control pieces were taken out of it
    control : what they did, by session; None: it is worked out here
    """
    if control is None:
        control = control_seen(with_control)
    spots = _spots_of_lots(batch)
    out = []
    for number, (result, lot) in enumerate(zip(results, batch.lots, strict=True)):
        files, sessions = _files_and_sessions(batch, number)
        told = {
            "sheet": _sheet(lot),
            "files": files,
            "spots": spots.get(number, []),
            "control": [control[s] for s in sessions if s in control],
        }
        out.append(result.model_copy(update=told))
    return out


def _sheet(lot: Lot) -> dict[str, str]:
    fields = {"maker": lot.maker, "gain_group": lot.gain_group, "count": lot.count}
    told = {name: str(value) for name, value in fields.items() if value is not None}
    return {**told, **{name: value for name, value in lot.extra.items() if name != "files"}}


def _files_and_sessions(batch: Batch, lot: int) -> tuple[list[str], list[int]]:
    files: set[int] = set()
    sessions: set[int] = set()
    for rows in (batch.points, batch.spots):
        mine = batch.part_lot[rows.part] == lot if rows.part.size else np.zeros(0, dtype=np.bool_)
        files |= set(np.unique(rows.file[mine]).tolist())
        sessions |= set(np.unique(rows.session[mine]).tolist())
    return [batch.inputs[i].file for i in sorted(files) if i < len(batch.inputs)], sorted(sessions)


def _spots_of_lots(batch: Batch) -> dict[int, list[SpotTaken]]:
    from partscreen.quantities import QUANTITIES
    from partscreen.results import SpotTaken, made

    spots: Spots = batch.spots
    found: dict[int, list[SpotTaken]] = {}
    for i in range(spots.value.size):
        if spots.control[i]:
            continue
        quantity = QUANTITIES[str(spots.quantity[i])]
        std = float(spots.std[i])
        taken = made(
            SpotTaken,
            part=batch.part_names[int(spots.part[i])],
            symbol=quantity.symbol,
            value=float(spots.value[i]),
            std=std if np.isfinite(std) and std > 0.0 else None,
            unit=quantity.unit,
            conditions=conditions_words(spots.conditions[i]),
            used=bool(spots.use[i]),
            answer=quantity.answers[int(spots.value[i])][0] if quantity.answers else None,
        )
        found.setdefault(int(batch.part_lot[spots.part[i]]), []).append(taken)
    return found


def conditions_words(conditions: Mapping[str, float | str]) -> str:
    """Conditions as a person writes them: `VCB=10 V, f=1 MHz, emitter=open`; temperatures in degC."""
    from partscreen.quantities import ZERO_CELSIUS
    from partscreen.reference.wording import figure_text

    units = {
        "f": "Hz", "RBE": "ohm", "RL": "ohm", "RS": "ohm", "t": "s", "IC_over_IB": "1", "fixture": "F",
        "drawn": "m", "tolerance": "m", "known": "kg", "ended": "1",
    }  # fmt: skip
    bits = []
    for key, value in conditions.items():
        name = "IC/IB" if key == "IC_over_IB" else key.replace("_", " ")
        if isinstance(value, str):
            bits.append(value if key == "note" else f"{name}={value}")
        elif key in ("TC", "TA", "TJ"):
            bits.append(f"{name}={value - ZERO_CELSIUS:.4g} degC")
        else:
            unit = units.get(key) or ("V" if key.startswith("V") else "A")
            bits.append(f"{name}={figure_text(float(value), unit)}")
    return ", ".join(bits)


def control_seen(batch: Batch) -> dict[int, ControlSeen]:
    """What the control piece of each session did, by the number of the session."""
    from partscreen.readings.instruments.control_piece import control_drift
    from partscreen.results import ControlSeen

    found = {}
    for session in np.unique(batch.points.session[batch.points.control]).tolist():
        drift = control_drift(batch.points, session, temperature_known=session not in batch.assumed_temp)
        if drift is not None:
            gain, vbe = _largest(drift.gain), _largest(drift.vbe)
            found[session] = ControlSeen(
                session=batch.sessions[session],
                readings=int(drift.at.size),
                gain_change=None if gain is None else float(np.expm1(gain)),
                vbe_change=vbe,
            )
    return found


def _largest(values: Floats) -> float | None:
    finite = values[np.isfinite(values)]
    return float(finite[np.argmax(np.abs(finite))]) if finite.size else None


def kit_used(kit: Kit | None) -> KitUsed | None:
    """The kit as a result names it, accuracies in words."""
    from partscreen.quantities import QUANTITIES
    from partscreen.results import InstrumentUsed, KitUsed

    if kit is None:
        return None
    instruments = [
        InstrumentUsed(
            name=one.name,
            reads=[QUANTITIES[key].symbol for key in one.reads],
            accuracy=[_accuracy(key, one.accuracy[key]) for key in one.reads if key in one.accuracy],
        )
        for one in kit.instruments
    ]
    calibrated = kit.calibrated_on.isoformat() if kit.calibrated_on else None
    return KitUsed(name=kit.name, calibrated_on=calibrated, instruments=instruments)


def _accuracy(key: str, accuracy: Accuracy) -> str:
    from partscreen.quantities import QUANTITIES
    from partscreen.reference.wording import figure_text

    quantity = QUANTITIES[key]
    unit = quantity.unit
    bits = [f"{accuracy.percent:g} %"] if accuracy.percent else []
    if accuracy.counts:
        bits.append(f"{accuracy.counts:g} x {figure_text(accuracy.count_size, unit)}")
    if accuracy.absolute:
        bits.append(figure_text(accuracy.absolute, unit))
    return f"{quantity.symbol} {' + '.join(bits)}"
