"""How fast evidence is weighed: the core alone, and a lot of 400 parts from readings to evidence.

Run: python -m benchmarks.evidence_speed. Prints wall seconds and processor seconds; aims are for two quiet cores.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.fit import fit_parts
from partscreen.device.observations import Observations
from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS
from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants
from partscreen.reference.library import Library
from partscreen.reference.population import Population, population_for, populations_of
from partscreen.screening.evidence.condense import condense
from partscreen.screening.evidence.engine import expected
from partscreen.screening.evidence.hypotheses import families
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import Linearised, linearise
from partscreen.screening.evidence.weigh import CHUNK, cumulative_log_likelihood, factor
from partscreen.screening.evidence.weigh_lots import knowledge_from, weigh_observations
from partscreen.screening.model_error import misfit_of
from partscreen.screening.weighing import type_centre

Floats = npt.NDArray[np.float64]
ROOM = 298.15
SESSION = (0.5, 0.003, 1e-4)  # [K], relative, [ohm]


def population(name: str) -> Population:
    """Of a packaged type."""
    found = population_for(Library.load().find(name).type)
    assert found is not None
    return found


def knowledge(name: str) -> Knowledge:
    """Of a packaged type, all others of its polarity among the hypotheses."""
    of = population(name)
    others = [
        type_centre(n, p) for n, p in populations_of(Library.load(), of.constants.polarity, besides=of.type_number)
    ]
    return knowledge_from(
        of.centre, of.centre_covariance, of.between, of.within,
        temperature_std=SESSION[0], gain_std=SESSION[1], lead_std=SESSION[2], others=others,
    )  # fmt: skip


def a_lot(
    name: str, n: int, *, seed: int, bad: int = 0, area: float = 0.6, n_gain: int = 14, n_sat: int = 8, top: float = 3.0
) -> tuple[Observations, TypeConstants]:
    """Readings of an invented lot: 14 currents of gain and VBE, 8 of VCE(sat), two capacitances; `bad` small dies."""
    of, rng = population(name), np.random.default_rng(seed)
    centre = rng.multivariate_normal(of.centre, of.centre_covariance + of.between)
    theta = rng.multivariate_normal(centre, of.within, n)
    theta += np.log(np.where(np.arange(n) < bad, area, 1.0))[:, None] * AREA_DIRECTION
    ic, sat_ic = np.geomspace(0.005, top, n_gain), np.geomspace(0.1, top, n_sat)
    gain = predict_gain(theta, of.constants, ic, 5.0, ROOM, True, jacobian=False)
    sat = predict_saturation(theta, of.constants, sat_ic, sat_ic / 10, ROOM, True, jacobian=False)
    cap = predict_capacitance(theta, of.constants, np.array([[0, 1]]), np.array([[0.0, 10.0]]))

    def noise(std: npt.ArrayLike, width: int) -> Floats:
        return np.asarray(np.asarray(std) * rng.standard_normal((n, width)))

    def row(values: npt.ArrayLike, width: int) -> Floats:
        return np.tile(np.broadcast_to(np.asarray(values, dtype=float), (width,)), (n, 1))

    vce_std = 0.002 + 0.01 * np.nan_to_num(sat.vce)
    return Observations(
        row(ic, n_gain), row(5.0, n_gain), row(ROOM, n_gain), np.ones((n, n_gain), dtype=bool),
        np.exp(gain.ln_hfe + noise(0.005, n_gain)), row(0.005, n_gain),
        gain.vbe + noise(0.001, n_gain), row(0.001, n_gain),
        row(sat_ic, n_sat), row(sat_ic / 10, n_sat), row(ROOM, n_sat), np.ones((n, n_sat), dtype=bool),
        sat.vce + vce_std * rng.standard_normal((n, n_sat)), vce_std,
        np.tile([0, 1], (n, 1)), np.tile([0.0, 10.0], (n, 1)), np.exp(cap.ln_c + noise(0.012, 2)), row(0.012, 2),
        np.zeros(n, dtype=np.int64), *(np.array([s]) for s in SESSION),
    ), of.constants  # fmt: skip


def timed(work: Callable[[], object], times: int = 3) -> tuple[float, float]:
    """Least wall and processor seconds of a few runs."""
    took = []
    for _ in range(times):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        took.append((time.perf_counter() - wall, time.process_time() - cpu))
    return min(t[0] for t in took), min(t[1] for t in took)


def core(n: int = 20_000) -> None:
    """Readings linearised already; 16 hypotheses of three families, each part's own derivatives."""
    known, of = knowledge("2SC5200"), population("2SC5200")
    observations, constants = a_lot("2SC5200", 1000, seed=1, bad=100)
    prior = of.part_prior()
    theta = fit_parts(observations, prior.mean, prior.covariance, constants).theta
    readings = linearise(observations, theta, constants).pick(np.arange(n) % 1000)
    chosen = [f for f in families(known.within, known.device_between) if f.names[0].endswith("type's")][:1]
    chosen += [f for f in families(known.within, known.device_between) if f.kind == "unfit"][:1]
    means = [known.centre[None], *(known.centre + f.shifts for f in chosen)]
    spreads = [known.within, *(f.spread for f in chosen)]
    count = sum(m.shape[0] for m in means)

    def weigh(of: Linearised) -> None:
        for begin in range(0, n, CHUNK):
            some = of.pick(np.arange(begin, min(begin + CHUNK, n)))
            for mean, spread in zip(means, spreads, strict=True):
                cumulative_log_likelihood(some, mean, factor(some, spread + known.lot_covariance))

    few = condense(readings, expected(known))
    wall, cpu = timed(lambda: condense(readings, expected(known)), 1)
    print(f"condensing, once a part: {n / wall:,.0f} parts a second, {n / cpu:,.0f} a processor second")
    for rows, words in ((few, "condensed"), (readings, "as read")):
        wall, cpu = timed(lambda rows=rows: weigh(rows))  # type: ignore[misc]
        print(
            f"core, {count} hypotheses, {rows.residual.shape[1]} rows a part ({words}): {n / wall:,.0f} parts a "
            f"second, {n / cpu:,.0f} a processor second (aim: 20,000)"
        )


def lots() -> None:
    """From readings to evidence, reach and area; all other types of the polarity among the hypotheses."""
    known = knowledge("2SC5200")
    for n in (40, 400):
        observations, constants = a_lot("2SC5200", n, seed=2, bad=n // 10)
        misfit = misfit_of(observations, constants.ic_rated)
        wall, cpu = timed(lambda o=observations, m=misfit, c=constants: weigh_observations(o, c, known, misfit=m))  # type: ignore[misc]
        aim = " (aim: under 1 s)" if n == 400 else ""
        print(f"lot of {n} parts, {len(known.others)} other types, {N_PARAMETERS} parameters: {wall:.2f} s, "
              f"{cpu:.2f} processor seconds{aim}")  # fmt: skip


if __name__ == "__main__":
    core()
    lots()
