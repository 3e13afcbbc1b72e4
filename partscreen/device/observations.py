"""Readings of many parts laid out for a fit: rectangular, NaN where a part has no such reading."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Observations:
    """Everything a fit sees of `n_parts` parts. First axis: the part; SI units; NaN = not read.

    gain_* : shape (n_parts, n_gain): hFE and VBE at forced IC and VCE. `gain_vce` NaN = not stated (no VAF fitted).
    sat_*  : shape (n_parts, n_sat): VCE(sat) at forced IC and IB.
    cap_*  : shape (n_parts, n_cap): junction capacitance; `cap_junction` 0 = base-emitter, 1 = collector-base;
             `cap_bias` reverse bias [V].
    *_temp : case temperature [K] as read or assumed; *_pulsed: junction at case temperature.
    hfe_ln_std, cap_ln_std : relative standard uncertainty of the value. [1]
    session : shape (n_parts,), index of the session; the session_* arrays have shape (n_sessions,) and hold the
             standard uncertainty of errors shared by one session: temperature [K], gain (relative, on hFE),
             collector-emitter lead [ohm]
             seen in VCE(sat) (zero where leads are four-wire).
    """

    gain_ic: Floats
    gain_vce: Floats
    gain_temp: Floats
    gain_pulsed: Bools
    hfe: Floats
    hfe_ln_std: Floats
    vbe: Floats
    vbe_std: Floats
    sat_ic: Floats
    sat_ib: Floats
    sat_temp: Floats
    sat_pulsed: Bools
    vce_sat: Floats
    vce_sat_std: Floats
    cap_junction: Ints
    cap_bias: Floats
    cap: Floats
    cap_ln_std: Floats
    session: Ints
    session_temp_std: Floats
    session_gain_ln_std: Floats
    session_lead_std: Floats

    @property
    def n_parts(self) -> int:
        return int(self.session.shape[0])


def take_observations(o: Observations, rows: npt.NDArray[np.integer]) -> Observations:
    """The observations of some of the parts; sessions keep their numbers."""
    shared = {"session_temp_std", "session_gain_ln_std", "session_lead_std"}
    return replace(o, **{f.name: getattr(o, f.name)[rows] for f in fields(o) if f.name not in shared})
