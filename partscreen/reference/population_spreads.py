"""The file of process spreads, `reference_curves/spreads.toml`: every figure with its basis, computed or assumed."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, Field, model_validator

from partscreen.bounded_files import load_toml
from partscreen.device.parameters import AREA_DIRECTION, INDEX, N_PARAMETERS, NAMES
from partscreen.reference.library import packaged_directory
from partscreen.reference.population_regression import design

Floats = npt.NDArray[np.float64]
SPREADS_FILE = "spreads.toml"


class _Figure(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")
    basis: str = Field(min_length=12, description="'computed from ...' or 'assumption: why'")

    @model_validator(mode="after")
    def _basis_is_told(self) -> _Figure:
        if not self.basis.startswith(("computed", "assumption", "published", "learned")):
            raise ValueError(f"basis {self.basis!r} starts with none of: computed, assumption, published, learned")
        return self


class RatingFigure(_Figure):
    """ln parameter from ratings: coefficients on (1, ln IC/5 A, ln VCEO/100 V), sd of the residual, number of cards."""

    coefficients: tuple[float, float, float]
    sd: float = Field(gt=0)
    n: int = Field(ge=0)


class LeastFigure(_Figure):
    """A parameter whose rating regression is not trusted below this sd."""

    sd: float = Field(gt=0)


class ConstantFigure(_Figure):
    """A constant the fit takes as given; `spread` is half the 16-84 % range over cards (of the logarithm where
    `per_ampere`).
    """

    value: float
    spread: float | None = None
    n: int = 0
    per_ampere: bool = False


class ParameterSpread(_Figure):
    """Standard deviations of one coordinate: parts of a lot, lots of a type, editions (makers, revisions, processes)
    of a type. Learned figures tell how many lots and parts they rest on, and their 95 % intervals.
    """

    within: float = Field(gt=0)
    between: float = Field(ge=0)
    edition: float = Field(ge=0)
    lots: int | None = None
    parts: int | None = None
    interval_within: tuple[float, float] | None = None
    interval_between: tuple[float, float] | None = None


class LimitFigure(_Figure):
    """Where a typical part lies against a printed limit. `band`: share of the logarithmic band above its minimum;
    else ln(typical/limit).
    """

    mean: float
    sd: float = Field(gt=0)
    types: int = Field(ge=0)


class ReadingFigure(_Figure):
    """Errors of a drawn curve or typical value against the model.

    `point` of one point, `offset` of a whole curve, `shape` of a smooth wave along it, to which `at_rated` is added as
    (IC/rated)^1.5: Gummel-Poon does not know base push-out. hFE and capacitances relative [1]; voltages in volts,
    each error widened by `relative` of the value. `printed`: further common relative error of a typical value in a
    table.
    """

    offset: float = Field(ge=0)
    point: float = Field(gt=0)
    shape: float = Field(ge=0)
    at_rated: float = Field(default=0.0, ge=0)
    relative: float = Field(default=0.0, ge=0)
    printed: float = Field(default=0.0, ge=0)

    def misfit_std(self, value: npt.ArrayLike, rated_share: npt.ArrayLike) -> Floats:
        """How far the device model may be off at a point, smoothly along a curve; relative for hFE [1], else in volts.

        Parameters
        ----------
        value : array
            The reading [V]; of no influence for hFE and capacitances.
        rated_share : array
            Collector current over rated current; 0 for capacitances.
        """
        own = self.relative * np.abs(np.asarray(value, dtype=float))
        high = self.at_rated * np.asarray(rated_share, dtype=float) ** 1.5
        return np.asarray(np.sqrt(self.shape**2 + own**2 + high**2))


class LearnedReading(ReadingFigure):
    """The same, learned from measured parts of one type (only `shape`, `relative` and `at_rated` are).

    `up_to`: collector current over rated current to which parts were read; further on the default holds.
    """

    up_to: float = Field(default=np.inf, ge=0)
    lots: int = Field(default=0, ge=0)
    parts: int = Field(default=0, ge=0)


class CentreFigure(_Figure):
    """Centre of a type learned from known-good lots, and its covariance, row by row; in the order of `names`."""

    names: tuple[str, ...]
    centre: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    lots: int = Field(ge=1)
    parts: int = Field(ge=1)

    @model_validator(mode="after")
    def _is_whole(self) -> CentreFigure:
        if self.names != NAMES:
            raise ValueError(f"names are not those of this version: {', '.join(NAMES)}")
        shape = (N_PARAMETERS, N_PARAMETERS)
        matrix = np.array(self.covariance) if len({len(row) for row in self.covariance}) == 1 else np.zeros(0)
        if len(self.centre) != N_PARAMETERS or matrix.shape != shape:
            raise ValueError(f"{N_PARAMETERS} figures and as many rows of as many figures are expected")
        if not np.allclose(matrix, matrix.T) or np.linalg.eigvalsh(matrix)[0] <= 0.0:
            raise ValueError("the covariance is not symmetric and positive definite")
        return self


class Correlation(_Figure):
    """Correlation of the rating residuals, row by row."""

    names: tuple[str, ...]
    rows: tuple[tuple[float, ...], ...]


class Spreads(BaseModel):
    """The whole file."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    format: Literal["partscreen.spreads/1"]
    note: str
    sources: tuple[str, ...]
    area_within: float = Field(gt=0)
    area_between: float = Field(ge=0)
    leverage: tuple[tuple[float, float, float], ...]
    ratings: dict[str, RatingFigure]
    least: dict[str, LeastFigure]
    correlation: Correlation
    constants: dict[Literal["NPN", "PNP"], dict[str, ConstantFigure]]
    spreads: dict[str, ParameterSpread]
    limits: dict[str, LimitFigure]
    readings: dict[str, ReadingFigure]
    type_readings: dict[str, dict[str, LearnedReading]] = Field(default_factory=dict)
    type_centres: dict[str, CentreFigure] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _every_parameter_is_there(self) -> Spreads:
        for table in ("ratings", "spreads"):
            if missing := set(NAMES) ^ set(getattr(self, table)):
                raise ValueError(f"[{table}] lacks or does not know: {', '.join(sorted(missing))}")
        return self

    def rating_prior(self, ic_rated: float, vceo: float | None) -> tuple[Floats, Floats]:
        """Mean and covariance of a type's centre from its ratings alone; shapes (n_parameters,), (n_parameters,
        n_parameters).
        """
        x = design(ic_rated, vceo if vceo else 100.0)
        mean = np.array([x @ np.array(self.ratings[name].coefficients) for name in NAMES])
        growth = 1.0 + float(x @ np.array(self.leverage) @ x)
        least = {name: figure.sd for name, figure in self.least.items()}
        sd = np.array([max(self.ratings[name].sd, least.get(name, 0.0)) for name in NAMES]) * np.sqrt(growth)
        if not vceo:  # not stated: the exponent times the spread of ln VCEO over types, about 0.7
            sd = np.hypot(sd, 0.7 * np.array([self.ratings[name].coefficients[2] for name in NAMES]))
        return mean, self._correlations() * sd[:, None] * sd[None, :]

    def misfit_std(
        self, symbol: str, value: npt.ArrayLike, rated_share: npt.ArrayLike, type_number: str | None = None
    ) -> Floats:
        """`ReadingFigure.misfit_std`: as learned for the type where and as far as it was, else as usual."""
        usual = self.readings[symbol].misfit_std(value, rated_share)
        learned = self.type_readings.get(type_number or "", {}).get(symbol)
        if learned is None:
            return usual
        near = np.asarray(rated_share, dtype=float) <= 1.05 * learned.up_to
        return np.where(near, learned.misfit_std(value, rated_share), usual)

    def _correlations(self) -> Floats:
        matrix = np.eye(N_PARAMETERS)
        at = [INDEX[name] for name in self.correlation.names]
        matrix[np.ix_(at, at)] = np.array(self.correlation.rows)
        return matrix

    def spread(self, kind: Literal["within", "between", "edition"]) -> Floats:
        """Covariance of one kind of spread, shape (n_parameters, n_parameters)."""
        diagonal = np.diag([getattr(self.spreads[name], kind) ** 2 for name in NAMES])
        area = {"within": self.area_within, "between": self.area_between, "edition": 0.0}[kind]
        return np.asarray(diagonal + area**2 * np.outer(AREA_DIRECTION, AREA_DIRECTION))


@lru_cache(maxsize=4)
def load_spreads(path: Path | None = None) -> Spreads:
    """The shipped file, or another of its format.

    Raises
    ------
    OSError, tomllib.TOMLDecodeError, pydantic.ValidationError
    """
    file = path or packaged_directory() / SPREADS_FILE
    return Spreads.model_validate(load_toml(file))
