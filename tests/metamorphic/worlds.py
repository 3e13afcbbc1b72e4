"""Small simulated lots with known truth, written to files whose form a test can change, judged by the whole program."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from partscreen.quantities import ZERO_CELSIUS
from partscreen.results import InputProblem, LotResult, PartResult
from partscreen.simulate.bench import read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import BenchKit, Plan, Sitting
from partscreen.simulate.parts import Kind, draw_lot, rename
from partscreen.workflow import ScreenOptions, screen_files

KIT = BenchKit("test bench", 8.0, fixture=0.0)
GAIN = np.array([0.01, 0.03, 0.1, 0.3, 1.0, 2.0, 4.0, 7.0])
SAT = np.array([0.3, 1.0, 3.0, 7.0])
PLAN = Plan(gain_ic=GAIN, sat_ic=SAT, capacitance=((0, 0.0), (1, 10.0)))
COLUMNS = ("part", "sweep", "ic", "ib", "vce", "vbe", "case_temp", "pulse", "quantity", "value", "unit", "conditions")
UNITS = {"ic": "A", "ib": "A", "vce": "V", "vbe": "V", "case_temp": "degC", "pulse": "ms"}


@dataclass(frozen=True, slots=True)
class World:
    """A lot as it is in truth, and the seed of all its figures."""

    type_number: str
    kinds: tuple[Kind, ...]
    seed: int

    @property
    def label(self) -> str:
        return f"{self.type_number}-{self.seed}"


WORLDS = (
    World("2SC5200", (Kind.SOUND,) * 4 + (Kind.SMALLER_DIE,) * 2 + (Kind.SOUND,), 11),
    World("2SA1943", (Kind.SOUND,) * 6, 12),
    World("MJL21194", (Kind.SMALLER_DIE, Kind.SOUND, Kind.LEAK, Kind.SOUND, Kind.SOUND, Kind.LOW_GAIN), 13),
)
Row = dict[str, str | float]


@dataclass(frozen=True, slots=True)
class Written:
    """Rows of a lot in base units, and how they are to be written: figures times `times` of a column, with `units`."""

    rows: tuple[Row, ...]
    times: Mapping[str, float] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[str, ...] = COLUMNS
    uncertainty: float = 1.0

    def with_rows(self, rows: Sequence[Row]) -> Written:
        return replace(self, rows=tuple(rows))

    def changed(self, change: Callable[[Row], Row]) -> Written:
        return self.with_rows([change(dict(row)) for row in self.rows])

    def text(self) -> str:
        """Delimited text; a temperature in another unit keeps its own zero."""
        units = {**UNITS, **self.units}
        heads = [f"{name} [{units[name]}]" if name in units else name for name in self.columns]
        lines = [";".join(heads)]
        for row in self.rows:
            lines.append(";".join(self._cell(name, row.get(name, "")) for name in self.columns))
        return "\n".join(lines) + "\n"

    def _cell(self, name: str, value: str | float) -> str:
        if isinstance(value, str):
            return value
        if name == "case_temp" and self.units.get("case_temp") == "K":
            return repr(round(value + ZERO_CELSIUS, 6))
        return repr(float(f"{value * self.times.get(name, 1.0):.12g}"))


@lru_cache(maxsize=8)
def written(world: World) -> Written:
    """The lot's readings, long form: gain and saturation sweeps, C_BE and C_CB where the plan reads them."""
    parts = draw_lot(type_card(world.type_number), world.kinds, [world.seed, 2])
    parts = rename(parts, [f"P{i + 1:02d}" for i in range(parts.n_parts)])
    r = read_lot(parts, KIT, PLAN, [world.seed, 3], Sitting())
    rows: list[Row] = []
    n_gain = r.gain_ic.shape[1]
    case = np.round(r.case_temp - ZERO_CELSIUS, 1)
    for i, name in enumerate(r.names):
        for j in range(n_gain):
            row = (r.gain_ic[i, j], r.gain_ib[i, j], r.gain_vce[i, j], r.gain_vbe[i, j], case[i, j])
            rows += _sweep_row(name, "gain", row)
        for j in range(r.sat_ic.shape[1]):
            row = (r.sat_ic[i, j], r.sat_ib[i, j], r.vce_sat[i, j], r.sat_vbe[i, j], case[i, n_gain + j])
            rows += _sweep_row(name, "saturation", row)
        for symbol, place, said in (("C_BE", 0, "VEB=0 V, f=1 MHz"), ("C_CB", 1, "VCB=10 V, f=1 MHz")):
            rows.append({"part": name, "quantity": symbol, "value": float(r.cap[i, place]) * 1e12, "unit": "pF",
                         "conditions": said})  # fmt: skip
    return Written(tuple(rows))


def _sweep_row(name: str, sweep: str, figures: Sequence[float]) -> list[Row]:
    if not np.isfinite(figures[0]) or not np.isfinite(figures[2]):
        return []
    keys = ("ic", "ib", "vce", "vbe", "case_temp")
    known = {key: float(value) for key, value in zip(keys, figures, strict=True) if np.isfinite(value)}
    return [{"part": name, "sweep": sweep, "pulse": 0.3, **known}]


def kit_text(uncertainty: float = 1.0) -> str:
    """The instruments; `uncertainty`: factor on every accuracy."""

    def percent(value: float, absolute: float = 0.0) -> str:
        return f"{{ percent = {value * uncertainty!r}, absolute = {absolute * uncertainty!r} }}"

    return f"""name = "test bench"
temperature = 24.0
[[instruments]]
name = "pulse set-up"
reads = ["ic", "ib", "vce", "vbe", "vce_sat", "case_temp"]
range = {{ ic = 10.0, ib = 2.0 }}
accuracy.ic = {percent(0.5)}
accuracy.ib = {percent(0.5)}
accuracy.vbe = {percent(0.1, 1e-3)}
accuracy.vce = {percent(0.2, 2e-3)}
accuracy.vce_sat = {percent(0.8, 1.5e-3)}
conditions = {{ VCE = 5.0, forced_gain = 10.0 }}
[[instruments]]
name = "capacitance meter"
reads = ["c_be", "c_cb"]
accuracy.c_be = {percent(1.0, 1e-12)}
accuracy.c_cb = {percent(1.0, 1e-12)}
conditions = {{ VCB = 10.0, VEB = 0.0, f = 1e6 }}
"""


def judged(world: World, told: Written, *more: Written) -> list[LotResult]:
    """The lots of a run without problems: `told` as lot L1, `more` as L2, ... All of the world's type."""
    lots, problems = files_told(world, told, *more)
    assert not problems, problems
    return lots


def files_told(world: World, told: Written, *more: Written) -> tuple[list[LotResult], list[InputProblem]]:
    """The lots of a run, and what was told of its files."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        paths = []
        for number, one in enumerate((told, *more), 1):
            path = folder / f"L{number}.csv"
            path.write_text(one.text(), encoding="utf-8")
            paths.append(path)
        kit = folder / "kit.toml"
        kit.write_text(kit_text(told.uncertainty), encoding="utf-8")
        outcome = screen_files(paths, ScreenOptions(kit=kit, type_name=world.type_number), figures=False)
    return outcome.screening.lots, [one for item in outcome.screening.inputs for one in item.problems]


@lru_cache(maxsize=8)
def plain(world: World) -> LotResult:
    """The judgement of the lot as it is written first."""
    (lot,) = judged(world, written(world))
    return lot


def by_name(lot: LotResult) -> dict[str, PartResult]:
    """Parts by name."""
    return {part.part: part for part in lot.parts}
