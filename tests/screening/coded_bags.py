"""Simulated bags of several production lots, each with its date code, read with a 1 A kit and a capacitance meter."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from partscreen.readings.import_files import import_files
from partscreen.readings.instruments.corrections import correct
from partscreen.readings.instruments.uncertainty import apply_kit
from partscreen.readings.quality.checks import check_quality
from partscreen.readings.tables import Lot
from partscreen.reference.library import Library
from partscreen.screening.lot.sub_lots import with_mixed_marked, with_sub_lots
from partscreen.screening.screen import screen_batch
from partscreen.simulate.bench import read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import KITS, plan_up_to
from partscreen.simulate.parts import Alternatives, Kind, draw_lot, in_order, rename
from partscreen.simulate.write_files import rows_of, write_capacitances, write_plain

TYPE = "2SC5200"
LIBRARY = Library.load()


def bag(folder, sizes, seed, *, bad=(), area=0.55):
    """(batch, kind of each part by name): one production lot and one code a size; those in `bad` hold smaller dies."""
    pieces, codes, n = [], {}, 0
    ways = Alternatives(area=(area - 0.03, area + 0.03))
    for k, size in enumerate(sizes):
        kinds = [Kind.SMALLER_DIE if k in bad else Kind.SOUND] * size
        drawn = draw_lot(type_card(TYPE), kinds, [seed, k], alternatives=ways)
        pieces.append(rename(drawn, [f"T{n + i + 1}" for i in range(size)]))
        codes |= {n + i: f"99{k:02d}" for i in range(size)}
        n += size
    parts = in_order(pieces)
    readings = read_lot(parts, KITS[1.0], plan_up_to(1.0), seed + 9)
    sweeps, spots = folder / f"s{seed}.csv", folder / f"c{seed}.csv"
    write_plain(sweeps, rows_of(readings), session="one", pulse=300e-6)
    write_capacitances(spots, [("A1", readings)])
    batch = import_files([sweeps, spots], type_name=TYPE, default_lots=[Lot("A1", type=TYPE)])
    assert not batch.problems
    batch, _ = correct(apply_kit(batch, None), None)
    batch = replace(check_quality(batch, None, lambda lot: "NPN"), date_codes=codes)
    return batch, {truth.name: truth.kind for truth in parts.truth}


def screened(batch):
    """The lot as `screen` judges it, with its sub-lots."""
    (lot,) = with_sub_lots(screen_batch(with_mixed_marked(batch), LIBRARY), batch, 0.1)
    return lot


def counts(lot, truth):
    """How often (sound, disposition) came out."""
    return Counter((truth[part.part] is Kind.SOUND, part.disposition) for part in lot.parts)


def with_seen(batch, seen):
    """The batch with observations: rows of (part number, quantity, value)."""
    spots, k = batch.spots, len(seen)
    more = {
        "part": [row[0] for row in seen], "session": np.zeros(k, dtype=int),
        "quantity": np.array([row[1] for row in seen], dtype=np.str_), "value": [float(row[2]) for row in seen],
        "std": np.full(k, np.nan), "file": np.zeros(k, dtype=int), "row": np.arange(k) + 5000,
        "control": np.zeros(k, dtype=bool), "use": np.ones(k, dtype=bool),
    }  # fmt: skip
    joined = {name: np.concatenate((getattr(spots, name), values)) for name, values in more.items()}
    return replace(batch, spots=replace(spots, conditions=(*spots.conditions, *({} for _ in seen)), **joined))
