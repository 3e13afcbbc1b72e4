"""A bag of simulated parts written as one CSV: what the benchmark of the whole job reads."""

from __future__ import annotations

import numpy as np


def write_bag(path: str, n_parts: int, *, seed: int = 1) -> None:
    """Write `n_parts` invented parts, 22 sweep rows each: 14 of gain and VBE, 8 of VCE(sat) at a forced gain of 10.

    Closed-form gain and junction laws (no series of the toolkit's own fit): this file measures speed, not judgement.
    """
    rng = np.random.default_rng(seed)
    gain_ic = np.geomspace(0.005, 5.0, 14)
    sat_ic = np.geomspace(0.1, 5.0, 8)
    bf = 110 * np.exp(0.12 * rng.standard_normal((n_parts, 1)))
    ikf = 12 * np.exp(0.1 * rng.standard_normal((n_parts, 1)))
    hfe = bf / (1 + gain_ic / ikf) * (1 + 0.005 * rng.standard_normal((n_parts, gain_ic.size)))
    shift = 0.002 * rng.standard_normal((n_parts, 1))
    vbe = 0.60 + shift + 0.0259 * np.log(gain_ic / 0.05) + 0.025 * gain_ic + 0.0005 * rng.standard_normal(hfe.shape)
    vce_sat = (0.03 + 0.035 * sat_ic) * np.exp(0.08 * rng.standard_normal((n_parts, 1))) + 0.001 * rng.standard_normal(
        (n_parts, sat_ic.size)
    )
    with open(path, "w", encoding="utf-8") as file:
        file.write("part,sweep,ic_a,ib_a,vce_v,vbe_v,hfe\n")
        for i in range(n_parts):
            name = f"T{i + 1:06d}"
            file.writelines(
                f"{name},gain,{ic:.5g},,5,{v:.4f},{h:.2f}\n" for ic, v, h in zip(gain_ic, vbe[i], hfe[i], strict=True)
            )
            file.writelines(
                f"{name},saturation,{ic:.5g},{ic / 10:.5g},{v:.4f},,\n"
                for ic, v in zip(sat_ic, vce_sat[i], strict=True)
            )
