"""Readings of a block of parts against the model: residuals in standard uncertainties, and their derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.capacitance import predict_capacitance
from partscreen.device.observations import Observations
from partscreen.device.parameters import INDEX
from partscreen.device.predict import GainPrediction, SaturationPrediction, State, predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Bools = npt.NDArray[np.bool_]

N_SHARED = 3  # of a session: temperature [K], gain (relative), lead [ohm]
LEFT_SATURATION = 0.6
"""A VCE(sat) above this [V] is that of a part that has left saturation (measured in simulated lots: such readings,
taken for VCE(sat), gave the worst false alarms)."""


@dataclass(frozen=True, slots=True)
class Usable:
    """Which readings a fit uses; shapes as in `Observations`."""

    hfe: Bools
    vbe: Bools
    sat: Bools
    cap: Bools

    @property
    def count(self) -> npt.NDArray[np.int64]:
        """Readings used per part."""
        return np.asarray(self.hfe.sum(1) + self.vbe.sum(1) + self.sat.sum(1) + self.cap.sum(1), dtype=np.int64)


def usable_readings(o: Observations) -> Usable:
    """Readings that are there, with possible conditions, and below the limit of saturation.

    Raises
    ------
    ValueError
        A reading that is there has a standard uncertainty that is not above zero.
    """
    gain = (o.gain_ic > 0.0) & np.isfinite(o.gain_temp) & ~(o.gain_vce <= 0.0)
    usable = Usable(
        hfe=gain & (o.hfe > 0.0),
        vbe=gain & np.isfinite(o.vbe),
        sat=(o.sat_ic > 0.0) & (o.sat_ib > 0.0) & np.isfinite(o.sat_temp) & (o.vce_sat <= LEFT_SATURATION),
        cap=(o.cap > 0.0) & np.isfinite(o.cap_bias),
    )
    for name, used, std in (
        ("hfe_ln_std", usable.hfe, o.hfe_ln_std),
        ("vbe_std", usable.vbe, o.vbe_std),
        ("vce_sat_std", usable.sat, o.vce_sat_std),
        ("cap_ln_std", usable.cap, o.cap_ln_std),
    ):
        bad = used & ~(np.broadcast_to(std, used.shape) > 0.0)
        if np.any(bad):
            part = int(np.argwhere(bad)[0, 0])
            raise ValueError(
                f"{name} of part {part} is not above 0 where there is a reading; give its standard uncertainty"
            )
    return usable


class Block:
    """Readings of a block of parts, ready for many evaluations: conditions filled in, weights, warm starts.

    Columns of residuals: hFE (ln), VBE, VCE(sat), capacitance (ln), each prediction minus reading over standard
    uncertainty, zero where not used. NaN where a used point cannot be reached.
    """

    def __init__(self, o: Observations, constants: TypeConstants, usable: Usable, parts: Ints) -> None:
        self.constants = constants
        self.session = o.session[parts]
        gain_used = usable.hfe[parts] | usable.vbe[parts]
        self.gain_columns = np.flatnonzero(gain_used.any(axis=0))
        self.sat_columns = np.flatnonzero(usable.sat[parts].any(axis=0))
        self.cap_columns = np.flatnonzero(usable.cap[parts].any(axis=0))

        def gain(a: npt.NDArray[np.generic], filler: float) -> Floats:
            return _fill(a[np.ix_(parts, self.gain_columns)], gain_used[:, self.gain_columns], filler)

        def sat(a: npt.NDArray[np.generic], filler: float) -> Floats:
            return _fill(a[np.ix_(parts, self.sat_columns)], usable.sat[np.ix_(parts, self.sat_columns)], filler)

        easy = constants.ic_rated / 50.0  # a current every part reaches stands where there is no reading
        self.gain_ic, self.gain_vce = gain(o.gain_ic, easy), gain(o.gain_vce, 5.0)
        self.gain_temp, self.gain_pulsed = gain(o.gain_temp, 300.0), gain(o.gain_pulsed, 1.0)
        self.sat_ic, self.sat_ib = sat(o.sat_ic, easy), sat(o.sat_ib, easy / 10.0)
        self._sat_read, self._easy = (self.sat_ic, self.sat_ib), easy
        self.sat_temp, self.sat_pulsed = sat(o.sat_temp, 300.0), sat(o.sat_pulsed, 1.0)
        g, s, c = (np.ix_(parts, k) for k in (self.gain_columns, self.sat_columns, self.cap_columns))
        self.w_hfe, self.ln_hfe = _weigh(np.log(np.where(usable.hfe, o.hfe, 1.0)), o.hfe_ln_std, usable.hfe, g)
        self.w_vbe, self.vbe = _weigh(o.vbe, o.vbe_std, usable.vbe, g)
        self.w_sat, self.sat = _weigh(o.vce_sat, o.vce_sat_std, usable.sat, s)
        self.w_cap, self.ln_cap = _weigh(np.log(np.where(usable.cap, o.cap, 1.0)), o.cap_ln_std, usable.cap, c)
        self.cap_junction = o.cap_junction[c]
        self.cap_bias = _fill(o.cap_bias[c], usable.cap[c], 0.0)
        self.n_gain, self.n_sat, self.n_cap = (
            k.shape[0] for k in (self.gain_columns, self.sat_columns, self.cap_columns)
        )
        self.n_readings = 2 * self.n_gain + self.n_sat + self.n_cap
        n = parts.shape[0]
        self.candidate = (self.w_hfe > 0.0, self.w_vbe > 0.0, self.w_sat > 0.0)
        self._all = (self.w_hfe, self.w_vbe, self.w_sat)
        self.seen = self._seen()
        self._gain_state = np.full((3, n, self.n_gain), np.nan)
        self._sat_state = np.full((3, n, self.n_sat), np.nan)

    def allow(self, gain: Bools, sat: Bools) -> None:
        """Use only these points of the readings that are there; (n_parts, n_gain) and (n_parts, n_sat)."""
        self.w_hfe, self.w_vbe = self._all[0] * gain, self._all[1] * gain
        self.w_sat = self._all[2] * sat
        # A point where the part cannot be is solved for in vain, step after step: an easy one stands in its place.
        ic, ib = self._sat_read
        self._ask_saturation(np.where(sat, ic, self._easy), np.where(sat, ib, self._easy / 10.0))

    def _ask_saturation(self, ic: Floats, ib: Floats) -> None:
        """Other currents; points that change start cold."""
        self._sat_state[:, (ic != self.sat_ic) | (ib != self.sat_ib)] = np.nan
        self.sat_ic, self.sat_ib = ic, ib

    def possible(self, theta: Floats, shared: Floats, at_fit: bool) -> tuple[Bools, Bools]:
        """Points where parts with these coordinates can be: the model reaches them and, at a fit, VCE(sat) is one of
        saturation."""
        rows = np.arange(theta.shape[0])
        gain = np.ones(self.w_hfe.shape, dtype=bool)
        sat = np.ones(self.w_sat.shape, dtype=bool)
        self._ask_saturation(*self._sat_read)
        if self.n_gain:
            gain = self.predict_gain(theta, rows, shared[:, 0], jacobian=False).reached
        if self.n_sat:
            found = self.predict_saturation(theta, rows, shared[:, 0], jacobian=False)
            sat = found.reached.copy()
            if at_fit:
                own = predict_gain(theta, self.constants, self.sat_ic, np.nan, self.sat_temp, jacobian=False)
                deep = own.ln_hfe >= np.log(2.0 * self.sat_ic / self.sat_ib)  # False where not reached
                sat &= deep & (found.vce <= LEFT_SATURATION)
        return gain, sat

    def _seen(self) -> Ints:
        """Coordinates these readings depend on at all."""
        names = []
        if self.n_gain:
            names += ["is", "nf", "bf", "ikf", "leak", "ne", "rb", "irb", "re", "rc", "nkf", "br"]
            if np.any(np.isfinite(self.gain_vce)):
                names.append("vaf")
        if self.n_sat:
            names += ["is", "nf", "bf", "ikf", "leak", "ne", "re", "rc", "nkf", "br", "vaf", "qs"]
        if (self.n_gain and not np.all(self.gain_pulsed)) or (self.n_sat and not np.all(self.sat_pulsed)):
            names.append("rth")
        if self.n_cap:
            used = self.w_cap > 0.0
            names += ["cje"] * bool(np.any(used & (self.cap_junction == 0)))
            names += ["cjc"] * bool(np.any(used & (self.cap_junction == 1)))
        return np.unique(np.array([INDEX[name] for name in names], dtype=np.intp))

    def predict_gain(
        self, theta: Floats, rows: Ints, warm_up: Floats, jacobian: bool = True, temperature: bool = True
    ) -> GainPrediction:
        """Gain points of some of the parts; `warm_up` (k,) is added to the case temperature."""
        old = self._gain_state[:, rows]
        found = predict_gain(
            theta, self.constants, self.gain_ic[rows], self.gain_vce[rows], self.gain_temp[rows] + warm_up[:, None],
            self.gain_pulsed[rows], jacobian=jacobian, temperature=temperature, columns=self.seen,
            start=State(old[0].ravel(), old[1].ravel()),
        )  # fmt: skip
        self._gain_state[0, rows] = found.state.vbe.reshape(old[0].shape)
        self._gain_state[1, rows] = found.state.vbc.reshape(old[0].shape)
        return found

    def predict_saturation(
        self, theta: Floats, rows: Ints, warm_up: Floats, jacobian: bool = True, temperature: bool = True
    ) -> SaturationPrediction:
        """Saturation points of some of the parts."""
        old = self._sat_state[:, rows]
        found = predict_saturation(
            theta, self.constants, self.sat_ic[rows], self.sat_ib[rows], self.sat_temp[rows] + warm_up[:, None],
            self.sat_pulsed[rows], jacobian=jacobian, temperature=temperature, base_voltage=False, columns=self.seen,
            start=State(old[0].ravel(), old[1].ravel(), old[2].ravel()),
        )  # fmt: skip
        self._sat_state[0, rows] = found.state.vbe.reshape(old[0].shape)
        self._sat_state[1, rows] = found.state.vbc.reshape(old[0].shape)
        self._sat_state[2, rows] = found.vce
        return found

    def evaluate(
        self, theta: Floats, rows: Ints, shared: Floats, with_shared: bool = False
    ) -> tuple[Floats, Floats, Floats]:
        """Residuals (k, m), derivatives to the seen coordinates (k, m, n_seen) and to the session's errors (k, m, 3).

        `shared` (k, 3): temperature, gain and lead error of each part's session. The last array is empty unless asked
        for.
        """
        k = rows.shape[0]
        g, s, c = self.n_gain, self.n_sat, self.n_cap
        residual = np.empty((k, self.n_readings))
        jacobian = np.empty((k, self.n_readings, self.seen.shape[0]))
        by_shared = np.zeros((k, self.n_readings if with_shared else 0, N_SHARED))
        if g:
            gain = self.predict_gain(theta, rows, shared[:, 0], temperature=with_shared)
            assert gain.d_ln_hfe is not None
            assert gain.d_vbe is not None
            w_hfe, w_vbe = self.w_hfe[rows], self.w_vbe[rows]
            residual[:, :g] = _masked(gain.ln_hfe + shared[:, 1:2] - self.ln_hfe[rows], w_hfe)
            residual[:, g : 2 * g] = _masked(gain.vbe - self.vbe[rows], w_vbe)
            np.multiply(gain.d_ln_hfe, w_hfe[:, :, None], out=jacobian[:, :g])
            np.multiply(gain.d_vbe, w_vbe[:, :, None], out=jacobian[:, g : 2 * g])
            if gain.dt_ln_hfe is not None and gain.dt_vbe is not None and with_shared:
                by_shared[:, :g, 0] = w_hfe * gain.dt_ln_hfe
                by_shared[:, :g, 1] = w_hfe
                by_shared[:, g : 2 * g, 0] = w_vbe * gain.dt_vbe
        if s:
            sat = self.predict_saturation(theta, rows, shared[:, 0], temperature=with_shared)
            assert sat.d_vce is not None
            w = self.w_sat[rows]
            lead = self.sat_ic[rows]
            residual[:, 2 * g : 2 * g + s] = _masked(sat.vce + lead * shared[:, 2:3] - self.sat[rows], w)
            np.multiply(sat.d_vce, w[:, :, None], out=jacobian[:, 2 * g : 2 * g + s])
            if sat.dt_vce is not None and with_shared:
                by_shared[:, 2 * g : 2 * g + s, 0] = w * sat.dt_vce
                by_shared[:, 2 * g : 2 * g + s, 2] = w * lead
        if c:
            cap = predict_capacitance(theta, self.constants, self.cap_junction[rows], self.cap_bias[rows])
            w = self.w_cap[rows]
            residual[:, 2 * g + s :] = (cap.ln_c - self.ln_cap[rows]) * w
            np.multiply(cap.d_ln_c[:, :, self.seen], w[:, :, None], out=jacobian[:, 2 * g + s :])
        if np.any(np.isnan(jacobian)) or np.any(np.isnan(by_shared)):
            # A point that is not used may lie where the part cannot be; it counts nothing.
            unused = ~(self.weights(rows) > 0.0)
            jacobian[unused] = 0.0
            if with_shared:
                by_shared[unused] = 0.0
        return residual, jacobian, by_shared

    def weights(self, rows: Ints) -> Floats:
        """One over standard uncertainty of each residual, zero where not used. Shape (k, m)."""
        return np.concatenate([self.w_hfe[rows], self.w_vbe[rows], self.w_sat[rows], self.w_cap[rows]], axis=1)


def _fill(values: npt.NDArray[np.generic], used: Bools, filler: float) -> Floats:
    return np.where(used, values.astype(float), filler)


def _weigh(values: Floats, std: Floats, used: Bools, where: tuple[npt.NDArray[np.intp], ...]) -> tuple[Floats, Floats]:
    """Weights (one over standard uncertainty, zero where not used) and readings (zero there)."""
    chosen = used[where]
    spread = np.broadcast_to(std, used.shape)[where]
    return np.where(chosen, 1.0 / np.where(chosen, spread, 1.0), 0.0), np.where(chosen, values[where], 0.0)


def _masked(difference: Floats, weight: Floats) -> Floats:
    """Difference times weight; an unreachable point that is not used counts nothing."""
    return np.where(weight > 0.0, difference * weight, 0.0)
