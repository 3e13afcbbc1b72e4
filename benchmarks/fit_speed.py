"""How fast many parts are fitted, against a loop of scipy.optimize.least_squares over the same parts, readings and
model.

Run: python benchmarks/fit_speed.py [N_PARTS]. Twenty-four readings a part: hFE and VBE at 10 currents, VCE(sat) at 4.
The ratios are of one run on one machine, by processor time of one thread; absolute rates vary with the machine.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402  (after the thread settings)
import numpy.typing as npt  # noqa: E402
from scipy.optimize import least_squares  # noqa: E402

from partscreen.device import predict_gain, predict_saturation  # noqa: E402
from partscreen.device.fit import fit_parts  # noqa: E402
from partscreen.device.observations import Observations  # noqa: E402
from partscreen.device.parameters import INDEX, N_PARAMETERS, NAMES  # noqa: E402
from partscreen.device.predict import State  # noqa: E402
from partscreen.device.prior import TypeConstants  # noqa: E402

Floats = npt.NDArray[np.float64]

# An invented 15 A part, and spreads of a type known from its data sheet (assumptions, for the benchmark alone).
CENTRE = {"is": 5e-12, "nf": 1.0, "bf": 120.0, "ikf": 12.0, "leak": 3e-5, "ne": 1.6, "vaf": 80.0, "rb": 2.0, "irb":
          0.5,
          "re": 0.01, "rc": 0.04,
          "br": 4.0, "cje": 5e-9, "cjc": 8e-10, "nkf": 0.55, "rth": 1.0}  # fmt: skip
SPREAD = {"is": 0.4, "nf": 0.01, "bf": 0.25, "ikf": 0.3, "leak": 0.8, "ne": 0.05, "vaf": 0.5, "rb": 0.5, "irb": 0.5,
          "re": 0.5, "rc": 0.4,
          "br": 0.5, "cje": 0.4, "cjc": 0.2, "nkf": 0.08, "qs": 0.02, "rth": 0.5}  # fmt: skip
CONSTANTS = TypeConstants(polarity="NPN", ic_rated=15.0, isc=1e-12, nc=1.5, var=100.0, ikr=5.0)


def population() -> tuple[Floats, Floats]:
    """Prior mean and covariance."""
    mean = np.array([0.0 if name == "qs" else np.log(CENTRE[name]) for name in NAMES])
    return mean, np.diag([SPREAD[name] ** 2 for name in NAMES])


def invented_lot(n_parts: int, seed: int = 20261125) -> Observations:
    """Readings of parts drawn from the population, with noise: 1 % hFE, 1 mV VBE, 2 mV and 1 % VCE(sat)."""
    rng = np.random.default_rng(seed)
    mean, covariance = population()
    theta = rng.multivariate_normal(mean, covariance, n_parts)
    ic = np.tile(np.geomspace(0.01, 5.0, 10), (n_parts, 1))
    sat_ic = np.tile(np.array([0.5, 1.0, 2.0, 5.0]), (n_parts, 1))
    vce, temp, sat_temp = np.full(ic.shape, 5.0), np.full(ic.shape, 298.15), np.full(sat_ic.shape, 298.15)
    gain = predict_gain(theta, CONSTANTS, ic, vce, temp, jacobian=False)
    sat = predict_saturation(theta, CONSTANTS, sat_ic, sat_ic / 10.0, sat_temp, jacobian=False)
    sat_std = np.hypot(2e-3, 0.01 * np.nan_to_num(sat.vce))
    none = np.zeros((n_parts, 0))
    return Observations(
        gain_ic=ic, gain_vce=vce, gain_temp=temp, gain_pulsed=np.ones(ic.shape, dtype=bool),
        hfe=np.exp(gain.ln_hfe + 0.01 * rng.standard_normal(ic.shape)), hfe_ln_std=np.full(ic.shape, 0.01),
        vbe=gain.vbe + 1e-3 * rng.standard_normal(ic.shape), vbe_std=np.full(ic.shape, 1e-3),
        sat_ic=sat_ic, sat_ib=sat_ic / 10.0, sat_temp=sat_temp, sat_pulsed=np.ones(sat_ic.shape, dtype=bool),
        vce_sat=sat.vce + sat_std * rng.standard_normal(sat_ic.shape), vce_sat_std=sat_std,
        cap_junction=np.zeros((n_parts, 0), dtype=np.int64), cap_bias=none, cap=none, cap_ln_std=none,
        session=np.zeros(n_parts, dtype=np.int64), session_temp_std=np.zeros(1), session_gain_ln_std=np.zeros(1),
        session_lead_std=np.zeros(1),
    )  # fmt: skip


def one_part(
    o: Observations, part: int, used_sat: npt.NDArray[np.bool_], mean: Floats, root: Floats
) -> tuple[Callable[[Floats], Floats], Callable[[Floats], Floats]]:
    """Residuals (readings and prior) of one part and their analytic Jacobian, over the coordinates the readings see."""
    free = np.array([i for i, name in enumerate(NAMES) if name not in ("cje", "cjc", "rth")])
    row = slice(part, part + 1)
    ln_hfe, chosen = np.log(o.hfe[part]), used_sat[part]

    def theta(x: Floats) -> Floats:
        full = mean.copy()
        full[free] = x
        return full[None]

    last: dict[str, State] = {}  # the loop, too, starts each solution from the one before

    def remember(kind: str, state: State) -> None:
        # Differences of 1e-8 need solutions far better than that.
        last[kind] = State(state.vbe, state.vbc, state.vce, tolerance=1e-9)

    def ask(x: Floats, jacobian: bool) -> tuple[Floats, Floats]:
        gain = predict_gain(
            theta(x), CONSTANTS, o.gain_ic[row], o.gain_vce[row], o.gain_temp[row],
            jacobian=jacobian, temperature=False, columns=free, start=last.get("gain"),
        )  # fmt: skip
        sat = predict_saturation(
            theta(x), CONSTANTS, o.sat_ic[row], o.sat_ib[row], o.sat_temp[row],
            jacobian=jacobian, temperature=False, base_voltage=False, columns=free, start=last.get("sat"),
        )  # fmt: skip
        remember("gain", gain.state)
        remember("sat", sat.state)
        if not jacobian:
            misfit = [
                (gain.ln_hfe[0] - ln_hfe) / o.hfe_ln_std[part],
                (gain.vbe[0] - o.vbe[part]) / o.vbe_std[part],
                ((sat.vce[0] - o.vce_sat[part]) / o.vce_sat_std[part])[chosen],
                root * (x - mean[free]),
            ]
            return np.nan_to_num(np.concatenate(misfit), nan=1e3), np.zeros((0, 0))
        assert gain.d_ln_hfe is not None
        assert gain.d_vbe is not None
        assert sat.d_vce is not None
        slopes = [
            gain.d_ln_hfe[0] / o.hfe_ln_std[part][:, None],
            gain.d_vbe[0] / o.vbe_std[part][:, None],
            (sat.d_vce[0] / o.vce_sat_std[part][:, None])[chosen],
            np.diag(root),
        ]
        return np.zeros(0), np.nan_to_num(np.concatenate(slopes))

    return (lambda x: ask(x, False)[0]), (lambda x: ask(x, True)[1])


def measure(n_parts: int = 10_000, n_scipy: int = 40) -> dict[str, float]:
    """Rates in parts per second, their ratios, and the largest difference of cost (ours minus scipy's, relative to
    scipy's)."""
    mean, covariance = population()
    lot = invented_lot(n_parts)
    fit_parts(invented_lot(100, seed=1), mean, covariance, CONSTANTS, starts=1)  # imports and first calls
    begin = time.process_time()
    fit = fit_parts(lot, mean, covariance, CONSTANTS)
    ours = n_parts / (time.process_time() - begin)
    free = np.array([i for i, name in enumerate(NAMES) if name not in ("cje", "cjc", "rth")])
    root = 1.0 / np.sqrt(np.diag(covariance)[free])
    assert N_PARAMETERS - free.shape[0] == 3
    parts = np.linspace(0, n_parts - 1, n_scipy).astype(int)
    times, worst = {"2-point": 0.0, "analytic": 0.0}, {"2-point": -np.inf, "analytic": -np.inf}
    for part in parts:
        residual, slope = one_part(lot, int(part), fit.used.sat, mean, root)
        for kind in times:
            begin = time.process_time()
            found = least_squares(residual, mean[free], jac=slope if kind == "analytic" else "2-point")
            times[kind] += time.process_time() - begin
            worst[kind] = max(worst[kind], (0.5 * fit.chi_square[part] - found.cost) / found.cost)
    return {
        "parts_per_second": ours,
        "scipy_2_point_per_second": n_scipy / times["2-point"],
        "scipy_analytic_per_second": n_scipy / times["analytic"],
        "ratio_2_point": ours * times["2-point"] / n_scipy,
        "ratio_analytic": ours * times["analytic"] / n_scipy,
        "cost_above_scipy_2_point": worst["2-point"],
        "cost_above_scipy_analytic": worst["analytic"],
        "converged_share": float(np.mean([s == "converged" for s in fit.status])),
        "mean_iterations": float(np.mean(fit.iterations)),
    }


if __name__ == "__main__":
    for key, value in measure(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000).items():
        print(f"{key:28s} {value:.6g}")
    print(f"coordinates fitted: {', '.join(n for n in INDEX if n not in ('cje', 'cjc', 'rth'))}")
