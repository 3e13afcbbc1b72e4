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
_LN_2PI = float(np.log(2.0 * np.pi))


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
    jac = readings.jacobian
    total = jac @ covariance @ jac.transpose(0, 2, 1)
    variance = readings.std**2
    diagonal = np.arange(total.shape[1])
    total[:, diagonal, diagonal] += variance
    return np.asarray(np.linalg.cholesky(total), dtype=np.float64)


def whiten(lower: Floats, vectors: Floats) -> Floats:
    """Solve L z = v for every part. `lower` (n, k, k), `vectors` (n, k, h); same shape out."""
    out = np.empty_like(vectors)
    for row in range(lower.shape[1]):
        done = vectors[:, row] - np.einsum("nj,njh->nh", lower[:, row, :row], out[:, :row])
        out[:, row] = done / lower[:, row, row, None]
    return out


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
    gap = readings.residual[:, :, None] - readings.jacobian @ shift.transpose(0, 2, 1)
    z = whiten(lower, gap)
    diagonal = np.diagonal(lower, axis1=1, axis2=2)
    terms = -0.5 * z**2 - np.where(readings.present, np.log(diagonal) + 0.5 * _LN_2PI, 0.0)[:, :, None]
    out = np.zeros((z.shape[0], z.shape[2], len(ORDER)))
    for i in range(len(ORDER)):
        out[:, :, i] = terms[:, readings.kind <= i].sum(axis=1)
    return out
