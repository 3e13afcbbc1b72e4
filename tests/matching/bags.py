"""Results of `screen` with plain invented curves, so that these tests measure the matching and not the physics."""

from __future__ import annotations

import numpy as np

from partscreen.matching.stock import collect
from partscreen.results import ChiSquare, Curves, Fit, LotResult, PartResult, Reason, Screening

NPN, PNP = "2SC5200", "2SA1943"
POLARITY = {NPN: "NPN", PNP: "PNP", "MJL21194": "NPN", "MJL21193": "PNP"}
COMPLEMENT = {NPN: PNP, PNP: NPN, "MJL21194": "MJL21193", "MJL21193": "MJL21194"}
IC = np.geomspace(0.01, 8.0, 12)


def curves(hfe=100.0, vbe=0.62, *, ic=IC, own=(0.002, 0.4e-3), session=(0.01, 1e-3), split=True):
    """hFE falls by a half at 8 A; VBE is `vbe` at 0.1 A and rises by 60 mV a decade and 20 milliohm."""
    ic = np.asarray(ic, float)
    gain = hfe / (1 + ic / 8.0)
    volt = vbe + 0.060 * np.log10(ic / 0.1) + 0.02 * (ic - 0.1)
    full = np.hypot(own, session)
    told = {
        "hfe_own_std": (gain * own[0]).tolist(), "vbe_own_std": [own[1]] * ic.size,
        "hfe_session_std": (gain * session[0]).tolist(), "vbe_session_std": [session[1]] * ic.size,
    }  # fmt: skip
    return Curves(
        ic=ic.tolist(), hfe=gain.tolist(), hfe_std=(gain * full[0]).tolist(), vbe=volt.tolist(),
        vbe_std=[float(full[1])] * ic.size, vce_sat=[None] * ic.size, vce=5.0, forced_gain=10.0,
        **(told if split else {}),
    )  # fmt: skip


def part(name, hfe=100.0, vbe=0.62, *, disposition="accept", session="day 1", seen=True, curve=None, **more):
    share = {"is": 0.3 if seen else 1.0, "bf": 0.3}
    fit = Fit(
        names=list(share), theta=[0.0, 0.0], prior_share=list(share.values()), chi_square=ChiSquare(dof=10, value=9.0)
    )
    return PartResult(
        part=name, session=session, status="judged", disposition=disposition, fit=fit,
        curves=curves(hfe, vbe, **more) if curve is None else curve,
        reasons=[Reason(code="AS_MARKED", sentence="No evidence of substitution.")],
    )  # fmt: skip


def lot(name, type_name, parts):
    return LotResult(lot=name, type=type_name, n_parts=len(parts), judgement="use", parts=list(parts))


def screening(*lots):
    return Screening(version="0", settings={}, inputs=[], lots=list(lots))


def bag(n_npn, n_pnp, seed=1, *, spread=(0.08, 0.006), sessions=("day 1", "day 1")):
    """An NPN and a PNP lot with spreads of ln hFE and VBE [V]."""
    rng = np.random.default_rng(seed)
    lots = []
    for name, kind, count, session in (("A", NPN, n_npn, sessions[0]), ("B", PNP, n_pnp, sessions[1])):
        h, v = np.exp(spread[0] * rng.standard_normal(count)), spread[1] * rng.standard_normal(count)
        made = [
            part(f"{name}-{i + 1:03d}", 100.0 * h[i], (0.62 if kind == NPN else 0.64) + v[i], session=session)
            for i in range(count)
        ]
        lots.append(lot(name, kind, made))
    return screening(*lots)


def stock_of(*runs, **more):
    named = [(f"run{i + 1}.json", run) for i, run in enumerate(runs)]
    return collect(named, POLARITY.get, **more)
