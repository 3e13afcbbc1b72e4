"""Curves of fitted parts with their posterior uncertainty: the device room's predictions as the limit judge asks for
them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.predict import predict_gain, predict_saturation
from partscreen.device.prior import TypeConstants

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


def _posterior(jacobian: Floats, covariance: Floats) -> Floats:
    """Standard uncertainty (k, m) of predictions with derivatives (k, m, p) under covariances (k, p, p)."""
    with np.errstate(invalid="ignore"):
        variance = np.sum((jacobian @ covariance) * jacobian, axis=2)
        std: Floats = np.sqrt(np.maximum(variance, 0.0))
    return std


@dataclass(frozen=True, slots=True)
class FittedCurves:
    """Parts of one type. `theta`: (n, p); `covariance`: (n, p, p). A part whose fit failed has NaN in `theta`.

    Implements `partscreen.screening.limits.curve_model.CurveModel`.
    """

    theta: Floats
    covariance: Floats
    constants: TypeConstants

    def gain(self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats, pulsed: Bools) -> tuple[Floats, Floats]:
        """hFE and VBE at forced IC and VCE."""
        p = predict_gain(self.theta[rows], self.constants, ic, vce, temperature, pulsed, jacobian=False)
        return np.exp(p.ln_hfe), p.vbe

    def gain_std(
        self, rows: Ints, ic: Floats, vce: Floats, temperature: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """hFE, VBE and the standard uncertainties of ln hFE and VBE."""
        p = predict_gain(self.theta[rows], self.constants, ic, vce, temperature, True)
        assert p.d_ln_hfe is not None
        assert p.d_vbe is not None
        covariance = self.covariance[rows]
        return np.exp(p.ln_hfe), p.vbe, _posterior(p.d_ln_hfe, covariance), _posterior(p.d_vbe, covariance)

    def saturation(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats, pulsed: Bools) -> Floats:
        """VCE(sat) at forced IC and IB."""
        return predict_saturation(self.theta[rows], self.constants, ic, ib, temperature, pulsed, jacobian=False).vce

    def saturation_std(self, rows: Ints, ic: Floats, ib: Floats, temperature: Floats) -> tuple[Floats, Floats]:
        """VCE(sat) and its standard uncertainty."""
        p = predict_saturation(self.theta[rows], self.constants, ic, ib, temperature, True)
        assert p.d_vce is not None
        return p.vce, _posterior(p.d_vce, self.covariance[rows])
