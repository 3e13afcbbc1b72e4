"""The output stage a user describes (STAGE.toml), in SI units and kelvin; what is not stated is None, never assumed.

Complementary emitter followers: `devices_per_rail` NPN to the positive rail, as many PNP to the negative one, each with
its own emitter resistor.
"""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from partscreen.stage.texts import (
    Amperes,
    Crest,
    Hertz,
    Kelvin,
    KelvinPerWatt,
    NoVolts,
    Ohms,
    Radians,
    Share,
    Volts,
    Watts,
    read_figure,
    read_fuse,
)


class Entry(BaseModel):
    """A table of the file; unknown keys are errors."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=True)


class RailPair(Entry):
    """Magnitudes of the two rails. [V]"""

    positive: float
    negative: float

    @property
    def highest(self) -> float:
        return max(self.positive, self.negative)

    @property
    def lowest(self) -> float:
        return min(self.positive, self.negative)

    @property
    def total(self) -> float:
        return self.positive + self.negative


def _rail_pair(value: object) -> object:
    """One text: both rails; two texts: the positive one, then the negative one with its sign."""
    if isinstance(value, RailPair):
        return value
    if isinstance(value, list):
        if len(value) != 2:
            raise ValueError('write one figure for both rails, "46 V", or two, ["46 V", "-45 V"]')
        first, second = (read_figure(text, "V") for text in value)
        if not first > 0.0 > second:
            raise ValueError(f'rails in the wrong order: {value}; the positive one first, as ["46 V", "-45 V"]')
        return RailPair(positive=first, negative=-second)
    both = read_figure(value, "V")
    if not both > 0.0:
        raise ValueError(f'{value!r}: write the magnitude of both rails, "46 V", or both with sign, ["46 V", "-45 V"]')
    return RailPair(positive=both, negative=both)


Pair = Annotated[RailPair, BeforeValidator(_rail_pair)]


class Rails(Entry):
    """`unloaded`: at idle; `loaded`: at full sine output into the stage's load."""

    loaded: Pair | None = None
    unloaded: Pair | None = None

    @model_validator(mode="after")
    def _order(self) -> Rails:
        if self.loaded and self.unloaded:
            for side in ("positive", "negative"):
                low, high = getattr(self.loaded, side), getattr(self.unloaded, side)
                if low > high:
                    raise ValueError(
                        f"the {side} rail is {low:g} V loaded and {high:g} V unloaded; a loaded rail is the lower one, "
                        "look whether the two are exchanged"
                    )
        return self


class Load(Entry):
    """`resistance`: nominal [ohm]; `minimum_impedance`: lowest magnitude over frequency [ohm]; `phase`: [rad].

    `rated_power`: what the amplifier is rated for into `resistance`, sine [W]; `lowest_frequency`: [Hz].
    """

    resistance: Ohms | None = None
    minimum_impedance: Ohms | None = None
    phase: Radians | None = None
    rated_power: Watts | None = None
    lowest_frequency: Hertz | None = None

    @model_validator(mode="after")
    def _order(self) -> Load:
        if self.resistance and self.minimum_impedance and self.minimum_impedance > self.resistance:
            raise ValueError(
                f"minimum_impedance {self.minimum_impedance:g} ohm is above resistance {self.resistance:g} ohm; "
                "the nominal figure is not the lower one, look whether the two are exchanged"
            )
        return self


class Programme(Entry):
    """`crest_factor`: peak over rms of the programme, as a ratio."""

    crest_factor: Crest | None = None


class EmitterResistors(Entry):
    """`marked` [ohm], `tolerance` (share), `power` [W] of one; `measured`: [ohm] by place; `discoloured`: places."""

    marked: Ohms | None = None
    tolerance: Share | None = None
    power: Watts | None = None
    measured: dict[str, Ohms] = Field(default_factory=dict)
    discoloured: tuple[str, ...] = ()


class Cooling(Entry):
    """`insulator`: case to heat sink, per device; `heat_sink`: to ambient, shared by `devices_on_heat_sink`."""

    insulator: KelvinPerWatt | None = None
    heat_sink: KelvinPerWatt | None = None
    devices_on_heat_sink: int | None = Field(default=None, ge=1)
    ambient: Kelvin | None = None


class Drive(Entry):
    """`base_current`: what the driver of one rail can give at the peak [A]; `voltage_loss`: from rail to base [V]."""

    base_current: Amperes | None = None
    voltage_loss: Volts | None = None


class Bias(Entry):
    """`target`: across one emitter resistor at idle [V]; `tolerance`: share; `readings`: [V] by place.

    `offset`: the highest dc voltage allowed at the output, either way [V].
    """

    target: Volts | None = None
    tolerance: Share | None = None
    offset: Volts | None = None
    readings: dict[str, NoVolts] = Field(default_factory=dict)


class Fuse(Entry):
    """One fuse: `place` and the prints of the one found and of the one specified."""

    place: str = Field(min_length=1)
    found: float
    found_class: str | None = None
    specified: float | None = None
    specified_class: str | None = None
    carries: str = Field(default="", pattern="^(|rail|loudspeaker|mains)$")

    @model_validator(mode="before")
    @classmethod
    def _prints(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        out = dict(data)
        for name in ("found", "specified"):
            if name in data:
                out[name], out[f"{name}_class"] = read_fuse(data[name])
        return out


class About(Entry):
    """`npn`, `pnp`: type numbers or prints; `gain_group`: the group the amplifier asks for.

    `npn_parts`, `pnp_parts`: parts for the places, in their order, as PART or LOT/PART; empty: whichever are known.
    `npn_resistors`, `pnp_resistors`: names of their emitter resistors among those measured, in the same order.
    """

    name: str = ""
    npn: str = Field(min_length=2)
    pnp: str = Field(min_length=2)
    devices_per_rail: int = Field(ge=1, le=50)
    gain_group: str | None = None
    npn_parts: tuple[str, ...] = ()
    pnp_parts: tuple[str, ...] = ()
    npn_resistors: tuple[str, ...] = ()
    pnp_resistors: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _places(self) -> About:
        for name in ("npn_parts", "pnp_parts", "npn_resistors", "pnp_resistors"):
            named: tuple[str, ...] = getattr(self, name)
            if named and len(named) != self.devices_per_rail:
                raise ValueError(
                    f"{name} names {len(named)} {name[4:-1]}(s) for {self.devices_per_rail} place(s); name one for "
                    "each place, or leave the line out"
                )
            if len(set(named)) != len(named):
                raise ValueError(f"{name} names one twice; each place has its own")
        return self


class Stage(Entry):
    """The whole file."""

    stage: About
    rails: Rails = Rails()
    load: Load = Load()
    programme: Programme = Programme()
    emitter_resistors: EmitterResistors = EmitterResistors()
    cooling: Cooling = Cooling()
    drive: Drive = Drive()
    bias: Bias = Bias()
    fuses: tuple[Fuse, ...] = ()

    @model_validator(mode="after")
    def _resistors_are_measured(self) -> Stage:
        for name in ("npn_resistors", "pnp_resistors"):
            absent = [place for place in getattr(self.stage, name) if place not in self.emitter_resistors.measured]
            if absent:
                raise ValueError(
                    f"{name} names {', '.join(absent)}, which emitter_resistors.measured does not hold; write the "
                    "measured value there, or leave the line out"
                )
        return self

    @property
    def emitter_ohms(self) -> float | None:
        """Emitter resistance of one device: the mean of the measured ones, else the marked one. [ohm]"""
        measured = self.emitter_resistors.measured.values()
        return math.fsum(measured) / len(measured) if measured else self.emitter_resistors.marked

    @property
    def idle_current(self) -> float | None:
        """Idle current of one device at the target bias. [A]"""
        ohms = self.emitter_ohms
        return None if self.bias.target is None or ohms is None else self.bias.target / ohms
