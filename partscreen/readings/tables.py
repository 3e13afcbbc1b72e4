"""Readings inside the house: named arrays, one row a reading, SI units, magnitudes; NaN means not measured.

Every door (text, spreadsheet, typed) ends in a `Batch`; quality checks and corrections return a new one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from partscreen.errors import Problem
from partscreen.results import InputFile, NotJudged, QualityNote

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


class Sweep(IntEnum):
    """Kinds of sweep."""

    GAIN = 0  # hFE and VBE against IC at fixed VCE
    SATURATION = 1  # VCE(sat) against IC at a forced gain
    OUTPUT = 2  # IC against VCE at fixed IB
    GUMMEL = 3  # IC and IB against VBE at fixed VCE or VCB


@dataclass(frozen=True, slots=True)
class Points:
    """Sweep readings, one row a point, sorted by part, then run, then the order in which they were read.

    All arrays have shape (n_points,). Currents [A], voltages [V], temperatures [K], time [s].
    `*_std` are standard uncertainties in the unit of the value (from the kit, else the stated default).
    """

    part: Ints  # index into Batch.part_names
    run: Ints  # one number per (part, sweep, session, repeat), counted over the whole batch
    sweep: Ints  # Sweep code
    session: Ints  # index into Batch.sessions
    ic: Floats
    ib: Floats
    vce: Floats
    vbe: Floats
    hfe: Floats  # given, else ic / ib; NaN where neither is known
    case_temp: Floats
    ambient: Floats
    time: Floats
    pulsed: Bools  # read with short pulses: junction at case temperature
    control: Bools  # reading of the control piece
    file: Ints  # index into Batch.inputs
    row: Ints  # row in the file, counted from 1
    ic_std: Floats
    hfe_std: Floats
    vbe_std: Floats
    vce_std: Floats
    use: Bools  # False: kept and shown, not fitted and not judged
    pulse_stated: Bools | None = None  # the row itself says whether it was pulsed; None: no row does
    # Standard uncertainties of noise that the trace itself shows, in the unit of the value; None: no long trace.
    hfe_noise: Floats | None = None
    vbe_noise: Floats | None = None


@dataclass(frozen=True, slots=True)
class Spots:
    """Spot readings, one row a reading. `quantity` holds keys of `partscreen.quantities`; `value` SI.

    `conditions`: one dict a reading, keys as in reference files (VCB, VEB, f, IC, IB, VCE, RBE, base, ...), SI values
    or words.
    """

    part: Ints
    session: Ints
    quantity: npt.NDArray[np.str_]
    value: Floats
    std: Floats
    conditions: tuple[dict[str, float | str], ...]
    file: Ints
    row: Ints
    control: Bools
    use: Bools


SEVERAL_TYPES = "types told"
"""Key of `Lot.extra`: the type numbers that lot sheet or files give a lot where they contradict each other."""


@dataclass(frozen=True, slots=True)
class Lot:
    """A bag bought at once, as its lot sheet tells it. `extra` keeps what the sheet also says (order, price, ...)."""

    name: str
    type: str | None = None
    supplier: str | None = None
    maker: str | None = None
    gain_group: str | None = None
    known_good: bool = False
    count: int | None = None
    extra: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class PartCondition:
    """A part that cannot be judged by its curves: dead (open, short, no gain), wrong_polarity, or unusable readings."""

    status: str  # "dead" | "wrong_polarity" | "unusable"
    code: str
    sentence: str
    figures: dict[str, float | int | str | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Batch:
    """All readings of one run of the program.

    Parts are numbered 0..n_parts-1; `part_names` and `part_lot` have that length.
    `quality` and `condition` are keyed by part number.
    """

    part_names: tuple[str, ...]
    part_lot: Ints  # index into lots
    lots: tuple[Lot, ...]
    sessions: tuple[str, ...]
    points: Points
    spots: Spots
    inputs: tuple[InputFile, ...]
    problems: tuple[Problem, ...] = ()
    notices: tuple[str, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    quality: dict[int, tuple[QualityNote, ...]] = field(default_factory=dict)
    condition: dict[int, PartCondition] = field(default_factory=dict)
    part_sign: Ints | None = (
        None  # sign of IC and VCE as brought: +1, -1, 0 not known; readings themselves are magnitudes
    )
    assumed_temp: frozenset[int] = frozenset()  # sessions whose case temperature was not read with the points
    date_codes: dict[int, str] = field(default_factory=dict)  # by part number, as they stand on the parts

    @property
    def n_parts(self) -> int:
        return len(self.part_names)
