"""Parts in lots in types: the random-effects model behind learned spreads, one pass of it at given spreads.

A part's coordinates are z = m_type + b_lot + w_part, with w ~ N(0, W) and b ~ N(0, B). What is known of a part is the
likelihood of its own readings, ln p = h'z - z'Lz/2: a fit's estimate and uncertainty, its prior taken out. A direction
that the readings do not see has no precision there and adds nothing. Each spread is a diagonal plus one common
direction (die area), written with one more latent coordinate, so that every figure is a variance of its own.

References
----------
Random-effects model with known sampling covariances; expectations and expected information of variance components as in
restricted-likelihood scoring (S. R. Searle, G. Casella, C. E. McCulloch, Variance Components, Wiley 1992; memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.parameters import AREA_DIRECTION, N_PARAMETERS

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

N_SESSION = 3  # errors shared by a session: temperature [K], gain (ln), collector-emitter lead [ohm]
SIZE = N_PARAMETERS + N_SESSION
N_FIGURES = N_PARAMETERS + 1  # one variance a coordinate, and that of the common area
_LEAST = 1e-12

OUTLIERS = 0.02  # share of parts, and of lots, taken to be of no spread at all, before any is seen (assumption)
WIDER = 9.0  # variance of those, against the spread's (assumption)
AREA_OFF = 0.5  # and ln area by which such a part may be off (assumption: dies of 0.6 to 1.6 of the type's)


@dataclass(frozen=True, slots=True)
class Level:
    """What one pass says of the units of one level (parts in lots, or lots in types).

    square : (n, N_FIGURES), expectation of each latent effect squared. seen : (n, N_FIGURES, N_FIGURES), what of each
    effect the readings show, 1 on the diagonal where they show all of it, 0 where nothing. weight : (n,), with those
    outside any spread taken out.
    """

    square: Floats
    seen: Floats
    weight: Floats


@dataclass(frozen=True, slots=True)
class Evidence:
    """Likelihoods of parts, about the origin of their type.

    precision (n, SIZE, SIZE), score (n, SIZE), weight (n,), lot (n,) index; of_type (n_lots,) index; session
    (n_lots, N_SESSION) variances of the errors a lot's readings share; centre_precision (n_types, p, p).
    """

    precision: Floats
    score: Floats
    weight: Floats
    lot: Ints
    of_type: Ints
    session: Floats
    centre_precision: Floats


def latent(columns: int) -> Floats:
    """Map of latent effects to coordinates: every device coordinate, the common area, then `columns` session errors."""
    out = np.zeros((SIZE, N_FIGURES + columns))
    out[np.arange(N_PARAMETERS), np.arange(N_PARAMETERS)] = 1.0
    out[:N_PARAMETERS, N_PARAMETERS] = AREA_DIRECTION
    for i in range(columns):
        out[N_PARAMETERS + i, N_FIGURES + i] = 1.0
    return out


def expect(of: Evidence, within: Floats, between: Floats, strays: float = OUTLIERS) -> tuple[Level, Level]:
    """Expected effects of parts and of lots at given variances, shape (N_FIGURES,) each; `strays`: share of parts."""
    parts, lots, _ = _whole(of, within, between, strays)
    return parts, lots


def centre_of_types(of: Evidence, within: Floats, between: Floats) -> tuple[Floats, Floats]:
    """Where the types' centres lie about their origins, (n_types, p), and how sure that is, (n_types, p, p)."""
    return _whole(of, within, between, OUTLIERS)[2]


def _whole(of: Evidence, within: Floats, between: Floats, strays: float) -> tuple[Level, Level, tuple[Floats, Floats]]:
    n_lots = of.of_type.size
    parts = _Effects(of.precision, of.score, latent(0), np.maximum(within, _LEAST))
    wide = WIDER * within
    wide[-1] += AREA_OFF**2
    stray = _Effects(of.precision, of.score, latent(0), np.maximum(wide, _LEAST))
    weight = of.weight.copy()
    for _ in range(2):  # the lot's centre without the strays, then the strays about that centre
        lot_precision = _summed(weight[:, None, None] * parts.message, of.lot, n_lots)
        lot_score = _summed(weight[:, None] * parts.pull, of.lot, n_lots)
        lots, centres, covariances, types = _lots(of, lot_precision, lot_score, between)
        weight = of.weight * _not_stray(parts, stray, centres[of.lot], strays)
    return parts.level(centres[of.lot], covariances[of.lot], weight), lots, types


def _lots(
    of: Evidence, precision: Floats, score: Floats, between: Floats
) -> tuple[Level, Floats, Floats, tuple[Floats, Floats]]:
    """Effects of lots about their type; also centre and covariance of every lot, and of every type."""
    variances = np.concatenate(
        (np.broadcast_to(np.maximum(between, _LEAST), (of.of_type.size, N_FIGURES)), of.session + _LEAST), axis=1
    )
    lots = _Effects(precision, score, latent(N_SESSION), variances)
    n_types, p = of.centre_precision.shape[:2]
    type_precision = of.centre_precision + _summed(lots.message[:, :p, :p], of.of_type, n_types)
    type_score = _summed(lots.pull[:, :p], of.of_type, n_types)
    about = np.asarray(np.linalg.inv(type_precision), dtype=np.float64)
    centre = np.zeros((n_types, SIZE))
    covariance = np.zeros((n_types, SIZE, SIZE))
    centre[:, :p] = np.einsum("tij,tj->ti", about, type_score)
    covariance[:, :p, :p] = about
    mine, mine_covariance = centre[of.of_type], covariance[of.of_type]
    level = lots.level(mine, mine_covariance, np.ones(of.of_type.size))
    means, covariances = lots.sums(mine, mine_covariance)
    wider = WIDER * variances
    wider[:, N_FIGURES:] = variances[:, N_FIGURES:]
    weight = _not_stray(lots, _Effects(precision, score, latent(N_SESSION), wider), mine)
    seen = level.seen[:, :N_FIGURES, :N_FIGURES]
    return Level(level.square[:, :N_FIGURES], seen, weight), means, covariances, (centre[:, :p], about)


def _summed(values: Floats, groups: Ints, n: int) -> Floats:
    out = np.zeros((n, *values.shape[1:]))
    np.add.at(out, groups, values)
    return out


class _Effects:
    """Effects x ~ N(0, diag(variances)) of units z = m + T x whose readings say h'z - z'Lz/2."""

    def __init__(self, precision: Floats, score: Floats, to: Floats, variances: Floats) -> None:
        self.to = to
        self.variances = np.broadcast_to(variances, (score.shape[0], to.shape[1]))
        self._sd = np.sqrt(self.variances)
        scaled = to * self._sd[:, None, :]  # T D^1/2, so that the kernel is well conditioned
        across = precision @ scaled
        kernel = np.swapaxes(scaled, 1, 2) @ across
        kernel[:, np.arange(to.shape[1]), np.arange(to.shape[1])] += 1.0
        self._inverse = np.linalg.inv(kernel)
        self._across = across
        _, self._ln_det = np.linalg.slogdet(kernel)
        self._along = np.einsum("nqr,nq->nr", scaled, score)
        self.message = precision - across @ self._inverse @ np.swapaxes(across, 1, 2)
        self.message = 0.5 * (self.message + np.swapaxes(self.message, 1, 2))
        self.pull = score - np.einsum("nqr,nrs,ns->nq", across, self._inverse, self._along)

    def ln_likelihood(self, centre: Floats) -> Floats:
        """Of every unit about its centre, but for what does not depend on the spread."""
        own = 0.5 * np.einsum("nr,nrs,ns->n", self._along, self._inverse, self._along) - 0.5 * self._ln_det
        moved = np.einsum("nq,nqp,np->n", centre, self.message, centre)
        return np.asarray(own + np.einsum("nq,nq->n", centre, self.pull) - 0.5 * moved)

    def _posterior(self, centre: Floats, covariance: Floats) -> tuple[Floats, Floats, Floats]:
        """Scaled effects: mean (n, r), covariance (n, r, r), and the gain by which they follow the centre."""
        gain = self._inverse @ np.swapaxes(self._across, 1, 2)
        mean = np.einsum("nrs,ns->nr", self._inverse, self._along) - np.einsum("nrq,nq->nr", gain, centre)
        return mean, self._inverse + gain @ covariance @ np.swapaxes(gain, 1, 2), gain

    def level(self, centre: Floats, covariance: Floats, weight: Floats) -> Level:
        """Expected squares about centres that are known up to a covariance."""
        mean, about, _ = self._posterior(centre, covariance)
        square = (mean**2 + np.einsum("nrr->nr", about)) * self.variances
        return Level(square, np.eye(self.to.shape[1]) - about, weight)

    def sums(self, centre: Floats, covariance: Floats) -> tuple[Floats, Floats]:
        """Mean and covariance of m + T x."""
        mean, _, gain = self._posterior(centre, covariance)
        scaled = self.to * self._sd[:, None, :]
        out = centre + np.einsum("nqr,nr->nq", scaled, mean)
        left = np.eye(centre.shape[1]) - scaled @ gain  # how the sum follows the centre
        both = scaled @ self._inverse @ np.swapaxes(scaled, 1, 2) + left @ covariance @ np.swapaxes(left, 1, 2)
        return out, 0.5 * (both + np.swapaxes(both, 1, 2))


def stray_share(of: Evidence, parts: Level) -> float:
    """Share of parts outside any spread, as this pass found them, with fifty parts' worth of the assumption."""
    return float((50.0 * OUTLIERS + (of.weight - parts.weight).sum()) / (50.0 + of.weight.sum()))


def _not_stray(usual: _Effects, stray: _Effects, centre: Floats, share: float = OUTLIERS) -> Floats:
    """Probability of each unit to belong to the spread rather than to the strays."""
    ratio = stray.ln_likelihood(centre) - usual.ln_likelihood(centre)
    odds = share / (1.0 - share) * np.exp(np.clip(ratio, -700.0, 700.0))
    return np.asarray(1.0 / (1.0 + odds))
