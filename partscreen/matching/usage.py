"""Which collector currents a device works at, and how often: the weights of a match."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

POINTS = 12  # currents at which curves are compared; curves are smooth over a third of a decade (assumption)
_LEVELS = 4000  # of the signal, equally likely, from which the shares are counted


@dataclass(frozen=True, slots=True)
class Usage:
    """Collector currents of one device [A], shape (m,), the share of use of each (sum 1), and whence in words."""

    ic: Floats
    weight: Floats
    words: str


def working_currents(
    *,
    power: float | None = None,
    load: float | None = None,
    signal: str = "sine",
    crest: float | None = None,
    idle: float | None = None,
    per_rail: int = 1,
) -> Usage | None:
    """How often a device of the output stage carries each current while it conducts.

    Parameters
    ----------
    power, load : float
        Sine power into the load [W] and its resistance [ohm]; they set the peak current, sqrt(2 P / R).
    signal : "sine" at that power, or "programme"
    crest : float
        Peak over root mean square of the programme [dB]; the peak is that of the sine at `power`.
    idle : float
        Idle current per device. [A]
    per_rail : int
        Devices that share the current of a rail.

    Returns
    -------
    Usage, or None where neither power and load nor an idle current is given.

    Raises
    ------
    ValueError
        A figure that cannot be, half of what is needed, or a programme without crest factor.

    Notes
    -----
    A sine of peak I has the levels I sin(x), x even over a half wave. A programme is taken as Gaussian noise cut off at
    its peak: levels of a mixed programme are close to it (common practice, no source). Idle current I0 and load
    current i share out as IN - IP = i, IN IP = I0^2 (both junctions exponential; memory: the textbook law of class AB),
    so that a device carries i / 2 + sqrt(i^2 / 4 + I0^2).
    """
    for name, value in (("power", power), ("load", load), ("idle current", idle), ("crest factor", crest)):
        if value is not None and not (np.isfinite(value) and value > 0):
            raise ValueError(f"{name} is {value}; a number above 0 is expected")
    if per_rail < 1:
        raise ValueError(f"{per_rail} devices per rail; at least 1 is expected")
    if signal not in ("sine", "programme"):
        raise ValueError(f"signal is {signal!r}; sine or programme is expected")
    if (power is None) != (load is None):
        raise ValueError("power and load belong together: give both, for they set the peak current")
    if power is None or load is None:
        if idle is None:
            return None
        return Usage(np.array([idle]), np.ones(1), f"the idle current of {idle * 1e3:.3g} mA alone")
    if signal == "programme" and crest is None:
        raise ValueError("a programme needs its crest factor (--crest, in dB): none is assumed")
    peak = float(np.sqrt(2.0 * power / load)) / per_rail
    level = _levels(signal, crest) * peak
    quiet = 0.0 if idle is None else idle
    current = level / 2 + np.sqrt(level**2 / 4 + quiet**2)
    bottom = max(quiet, 1e-3 * peak)  # below a thousandth of the peak nothing is heard of a difference (assumption)
    grid = np.geomspace(bottom, float(current.max()), POINTS)
    words = f"{power:g} W into {load:g} ohm, "
    words += "sine" if signal == "sine" else f"programme of {crest:g} dB crest factor"
    words += f", {per_rail} device(s) per rail"
    words += f", idle {quiet * 1e3:.3g} mA per device" if idle is not None else ", idle current not told"
    return Usage(grid, _shares(current, grid), words)


def _levels(signal: str, crest: float | None) -> Floats:
    """Levels of the conducting half wave over its peak, equally likely."""
    share = (np.arange(_LEVELS) + 0.5) / _LEVELS
    if signal == "sine":
        return np.asarray(np.sin(0.5 * np.pi * share))
    from scipy.special import ndtri

    assert crest is not None
    return np.asarray(np.minimum(ndtri(0.5 + share / 2) / 10.0 ** (crest / 20.0), 1.0), dtype=np.float64)


def _shares(current: Floats, grid: Floats) -> Floats:
    """Shares of the currents on the grid, each split between its neighbours by its place on the log scale."""
    place = np.interp(np.log(current), np.log(grid), np.arange(grid.size))
    low = np.minimum(np.floor(place).astype(int), grid.size - 2)
    weight = np.zeros(grid.size)
    np.add.at(weight, low, 1.0 - (place - low))
    np.add.at(weight, low + 1, place - low)
    return np.asarray(weight / weight.sum())


def evenly(low: float, high: float) -> Usage:
    """All currents from `low` to `high` [A] alike, even on the log scale: where the stage is not told."""
    words = f"the stage is not told, so all from {low:.3g} to {high:.3g} A count alike (even on a log scale)"
    return Usage(np.geomspace(low, high, POINTS), np.full(POINTS, 1.0 / POINTS), words)


def within(usage: Usage, low: float, high: float) -> tuple[Usage, float]:
    """The part of a usage that curves from `low` to `high` [A] cover, weights made to sum to 1, and the share lost.

    Raises
    ------
    ValueError
        Nothing of it is covered.
    """
    inside = (usage.ic >= low * (1 - 1e-9)) & (usage.ic <= high * (1 + 1e-9))
    kept = float(usage.weight[inside].sum())
    if kept <= 0.0:
        at = f"{usage.ic[0]:.3g}" if usage.ic.size == 1 else f"{usage.ic[0]:.3g} to {usage.ic[-1]:.3g}"
        raise ValueError(
            f"the stage works at {at} A per device, the parts were read "
            f"from {low:.3g} to {high:.3g} A: no current in common; read the parts at the currents of the stage"
        )
    return Usage(usage.ic[inside], usage.weight[inside] / kept, usage.words), 1.0 - kept
