"""Readings of a part as judged: out of a batch into the book, and back into a batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from partscreen.book.entries import FileRef, KeptReadings, PartKept
from partscreen.readings.tables import Batch, Floats, Lot, Points, Spots
from partscreen.results import InputFile

FIGURES = ("ic", "ib", "vce", "vbe", "hfe", "case_temp", "ambient", "time", "ic_std", "hfe_std", "vbe_std", "vce_std")
WHOLE = ("run", "sweep", "row")
FLAGS = ("pulsed", "control", "use")


def keep_readings(batch: Batch, part: int) -> KeptReadings:
    """The readings of part number `part` of a batch, JSON-able; figures in full, NaN as None."""
    rows = np.arange(*np.searchsorted(batch.points.part, [part, part + 1]))  # points are sorted by part
    spot_rows = np.flatnonzero(batch.spots.part == part)
    used = sorted({*batch.points.file[rows].tolist(), *batch.spots.file[spot_rows].tolist()})
    place = {file: i for i, file in enumerate(used)}
    files = [FileRef(name=batch.inputs[f].file, sha256=batch.inputs[f].sha256 or "") for f in used]
    sessions = {*batch.points.session[rows].tolist(), *batch.spots.session[spot_rows].tolist()}
    return KeptReadings(
        files=files,
        assumed_temp=[batch.sessions[s] for s in sorted(sessions & batch.assumed_temp)],
        points=_points(batch, rows.tolist(), place) if rows.size else {},
        spots=[_spot(batch, row, place) for row in spot_rows.tolist()],
    )


def _points(batch: Batch, rows: list[int], place: Mapping[int, int]) -> dict[str, list[Any]]:
    points = batch.points
    kept: dict[str, list[Any]] = {name: _plain(getattr(points, name)[rows]) for name in FIGURES}
    kept |= {name: getattr(points, name)[rows].tolist() for name in (*WHOLE, *FLAGS)}
    kept["session"] = [batch.sessions[s] for s in points.session[rows].tolist()]
    kept["file"] = [place[f] for f in points.file[rows].tolist()]
    stated = points.pulse_stated
    if stated is not None:
        kept["pulse_stated"] = stated[rows].tolist()
    # A column that nobody measured would only repeat None.
    return {name: column for name, column in kept.items() if any(value is not None for value in column)}


def _plain(values: Floats) -> list[float | None]:
    return [value if np.isfinite(value) else None for value in values.tolist()]


def _spot(batch: Batch, row: int, place: Mapping[int, int]) -> dict[str, Any]:
    spots = batch.spots
    value, std = _plain(np.array([spots.value[row], spots.std[row]]))
    return {
        "quantity": str(spots.quantity[row]),
        "value": value,
        "std": std,
        "conditions": dict(spots.conditions[row]),
        "session": batch.sessions[int(spots.session[row])],
        "file": place[int(spots.file[row])],
        "row": int(spots.row[row]),
        "use": bool(spots.use[row]),
        "control": bool(spots.control[row]),
    }


def batch_of(parts: Sequence[PartKept], lots: Mapping[tuple[str | None, str], Lot] | None = None) -> Batch:
    """Kept parts as one batch, in the order given; for whoever fits or compares readings of the book.

    `lots`: by (supplier, lot), what a lot sheet said; a lot that is missing there gets its name, type and supplier.
    Runs are numbered anew, so that parts of different runs do not share one.
    """
    known: dict[tuple[str | None, str], int] = {}
    for one in parts:
        known.setdefault((one.supplier, one.lot), len(known))
    types = {(one.supplier, one.lot): one.type for one in parts}
    given = lots or {}
    sessions: dict[str, int] = {}
    files: dict[str, int] = {}
    names = {ref.sha256: ref.name for one in parts for ref in one.readings.files}
    columns = _Columns()
    for number, one in enumerate(parts):
        kept = one.readings
        place = [files.setdefault(ref.sha256, len(files)) for ref in kept.files]
        columns.add(number, kept, sessions, place)
    return Batch(
        part_names=tuple(one.part for one in parts),
        part_lot=np.array([known[one.supplier, one.lot] for one in parts], dtype=np.int64),
        lots=tuple(given.get(key, Lot(key[1], types[key], key[0])) for key in known),
        sessions=tuple(sessions) or ("",),
        points=columns.points(),
        spots=columns.spots(),
        inputs=tuple(InputFile(file=names[sha], sha256=sha) for sha in files),
        assumed_temp=frozenset(sessions[s] for one in parts for s in one.readings.assumed_temp if s in sessions),
    )


class _Columns:
    """Columns of several parts, joined."""

    def __init__(self) -> None:
        self.rows: dict[str, list[Any]] = {
            name: [] for name in ("part", "session", "file", *FIGURES, *WHOLE, *FLAGS, "pulse_stated")
        }
        self.spot_rows: list[dict[str, Any]] = []
        self.runs: dict[tuple[int, int], int] = {}

    def add(self, number: int, kept: KeptReadings, sessions: dict[str, int], files: Sequence[int]) -> None:
        n = len(kept.points.get("row", ()))
        for name in (*FIGURES, "sweep", "row", *FLAGS, "pulse_stated"):
            self.rows[name] += kept.points.get(name, [None] * n)
        self.rows["part"] += [number] * n
        self.rows["run"] += [self.runs.setdefault((number, run), len(self.runs)) for run in kept.points.get("run", ())]
        self.rows["session"] += [sessions.setdefault(s, len(sessions)) for s in kept.points.get("session", ())]
        self.rows["file"] += [files[f] for f in kept.points.get("file", ())]
        for spot in kept.spots:
            session = sessions.setdefault(spot["session"], len(sessions))
            self.spot_rows.append({**spot, "part": number, "session": session, "file": files[spot["file"]]})

    def points(self) -> Points:
        rows = self.rows
        columns: dict[str, Any] = {
            **{name: np.array(rows[name], dtype=np.int64) for name in ("part", "session", "file", *WHOLE)},
            **{name: np.array(rows[name], dtype=np.float64) for name in FIGURES},
            **{name: np.array(rows[name], dtype=np.bool_) for name in (*FLAGS, "pulse_stated")},
        }
        return Points(**columns)

    def spots(self) -> Spots:
        rows = self.spot_rows
        columns: dict[str, Any] = {
            **{
                name: np.array([row[name] for row in rows], dtype=np.int64)
                for name in ("part", "session", "file", "row")
            },
            **{name: np.array([row.get(name) for row in rows], dtype=np.float64) for name in ("value", "std")},
            **{name: np.array([row[name] for row in rows], dtype=np.bool_) for name in ("use", "control")},
        }
        return Spots(
            **columns,
            quantity=np.array([row["quantity"] for row in rows], dtype=np.str_),
            conditions=tuple(dict(row["conditions"]) for row in rows),
        )
