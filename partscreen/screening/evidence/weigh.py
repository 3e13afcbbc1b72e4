"""Log likelihood of a part's readings under Gaussian hypotheses about its parameters, reading by reading.

With readings y = f(z) + noise, z ~ N(m, S), and f straight about the part's own fit, y is Gaussian with covariance J
S J' + R. One Cholesky factor of that matrix gives the likelihood and, row by row, the chain-rule terms ln p(y_k | y_1
.. y_k-1).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.linear import ORDER, Linearised

Floats = npt.NDArray[np.float64]
CHUNK = 256
"""Parts weighed at once: their matrices stay in the processor's cache."""

_LN_2PI = float(np.log(2.0 * np.pi))


def spread_of(readings: Linearised, covariance: Floats) -> Floats:
    """Covariance of the readings, noise apart, for parts spread by `covariance`: J S J'.

    Parameters
    ----------
    covariance : array, shape (q, q) or (n_parts, q, q)
        S.

    Returns
    -------
    array, shape (n_parts, n_readings, n_readings)
    """
    jac = readings.jacobian
    return np.asarray(jac @ covariance @ jac.transpose(0, 2, 1), dtype=np.float64)


def add_noise(readings: Linearised, total: Floats) -> Floats:
    """R added to a covariance of the readings, in place."""
    diagonal = np.arange(total.shape[1])
    total[:, diagonal, diagonal] += readings.std**2
    return total


def factor(readings: Linearised, covariance: Floats) -> Floats:
    """Cholesky factor of J S J' + R.

    Parameters
    ----------
    covariance : array, shape (q, q) or (n_parts, q, q)
        S.

    Returns
    -------
    array, shape (n_parts, n_readings, n_readings), lower triangular. A missing reading has 1 on the diagonal.
    """
    n, k = readings.residual.shape
    out = np.empty((n, k, k))
    for begin in range(0, n, CHUNK):
        rows = slice(begin, begin + CHUNK)
        jac = readings.jacobian[rows]
        total = jac @ (covariance if covariance.ndim == 2 else covariance[rows]) @ jac.transpose(0, 2, 1)
        diagonal = np.arange(k)
        total[:, diagonal, diagonal] += readings.std[rows] ** 2
        out[rows] = root_of(total)
    return out


def root_of(total: Floats) -> Floats:
    """Cholesky factors of a stack of covariances."""
    return np.asarray(np.linalg.cholesky(total), dtype=np.float64)


def whiten(lower: Floats, vectors: Floats) -> Floats:
    """Solve L z = v for every part. `lower` (n, k, k), `vectors` (n, k, h); same shape out."""
    out = np.array(vectors, dtype=np.float64)
    for begin in range(0, out.shape[0], CHUNK):
        some, low = out[begin : begin + CHUNK], lower[begin : begin + CHUNK]
        inverse = 1.0 / np.diagonal(low, axis1=1, axis2=2)
        for row in range(low.shape[1]):
            if row:
                some[:, row : row + 1] -= low[:, row : row + 1, :row] @ some[:, :row]
            some[:, row] *= inverse[:, row, None]
    return out


def gaps(readings: Linearised, centre: Floats) -> Floats:
    """Readings minus what parts at a centre, shape (q,) or (n_parts, q), would read: (n_parts, n_readings)."""
    away = np.broadcast_to(centre, readings.point.shape) - readings.point
    return np.asarray(readings.residual - (readings.jacobian @ away[:, :, None])[:, :, 0])


def by_kind(readings: Linearised, lower: Floats, gap: Floats) -> Floats:
    """ln p of the readings up to and including each kind of ORDER.

    Parameters
    ----------
    lower : from `factor`
    gap : array, shape (n_parts, n_readings, n_hypotheses)
        Readings minus what each hypothesis expects.

    Returns
    -------
    array, shape (n_parts, n_hypotheses, len(ORDER))
    """
    z = whiten(lower, gap)
    np.square(z, out=z)
    squares = [z[:, begin:end].sum(axis=1) for begin, end in _kinds(readings)]
    return likelihood_by_kind(readings, lower, squares)


def squares_by_kind(readings: Linearised, gap: Floats, shift: Floats) -> list[Floats]:
    """Squared length of every gap (n, k, m) less every shift (n, k, h), both whitened, by kind: (n, m, h) each."""
    out = []
    for begin, end in _kinds(readings):
        away, moved = gap[:, begin:end], shift[:, begin:end]
        both = away.transpose(0, 2, 1) @ moved
        both *= -2.0
        both += (away**2).sum(axis=1)[:, :, None]
        both += (moved**2).sum(axis=1)[:, None, :]
        out.append(both)
    return out


def likelihood_by_kind(readings: Linearised, lower: Floats, squares: list[Floats]) -> Floats:
    """ln p up to and including each kind from the whitened squares of each, (n, ...); (n, ..., len(ORDER))."""
    diagonal = np.diagonal(lower, axis1=1, axis2=2)
    constant = np.where(readings.present, np.log(diagonal) + 0.5 * _LN_2PI, 0.0)
    shape = squares[0].shape
    out = np.zeros((*shape, len(ORDER)))
    lift = (slice(None), *(None,) * (len(shape) - 1))
    for i, ((begin, end), square) in enumerate(zip(_kinds(readings), squares, strict=True)):
        if i:
            out[..., i] = out[..., i - 1]
        if end > begin:
            out[..., i] -= 0.5 * square
            out[..., i] -= constant[:, begin:end].sum(axis=1)[lift]
    return out


def _kinds(readings: Linearised) -> list[tuple[int, int]]:
    """Where the readings of each kind of ORDER begin and end."""
    ends = np.searchsorted(readings.kind, np.arange(len(ORDER)), side="right").tolist()
    return list(zip([0, *ends[:-1]], ends, strict=True))


def cumulative_log_likelihood(readings: Linearised, means: Floats, lower: Floats) -> Floats:
    """ln p of the readings up to and including each kind of ORDER.

    Parameters
    ----------
    means : array, shape (n_hypotheses, q) or (n_parts, n_hypotheses, q)
        Centres of the hypotheses, which share the covariance behind `lower`.
    lower : array, shape (n_parts, n_readings, n_readings)
        From `factor`.

    Returns
    -------
    array, shape (n_parts, n_hypotheses, len(ORDER))
    """
    means_ = np.broadcast_to(means, (readings.point.shape[0], *means.shape[-2:]))
    shift = means_ - readings.point[:, None, :]
    return by_kind(readings, lower, readings.residual[:, :, None] - readings.jacobian @ shift.transpose(0, 2, 1))
