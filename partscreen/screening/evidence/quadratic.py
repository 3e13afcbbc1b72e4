"""A part's log likelihood as a quadratic function of its lot's centre, parts' spread about that centre integrated out.

With z_i ~ N(m, S) and readings straight in z, ln p(y_i | m) = c_i + m' u_i - m' M_i m / 2. Lots are fitted in this
form: M_i and u_i are made once, then any centre is weighed at the cost of a few products.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.linear import Linearised

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Quadratic:
    """c : (n,), u : (n, q), m : (n, q, q); centres are counted from `origin`, shape (q,)."""

    c: Floats
    u: Floats
    m: Floats
    origin: Floats

    def at(self, centres: Floats) -> Floats:
        """ln p of every part at each centre. `centres` (h, q) in full coordinates; returns (n, h)."""
        d = (np.atleast_2d(centres) - self.origin).T
        return np.asarray(self.c[:, None] + self.u @ d - 0.5 * ((self.m @ d) * d).sum(axis=1))


def inverse(matrix: Floats) -> Floats:
    """Inverse of one matrix or a stack of them, symmetric to the last bit."""
    out = np.asarray(np.linalg.inv(matrix), dtype=np.float64)
    return 0.5 * (out + np.swapaxes(out, -1, -2))


def ln_sum(values: Floats) -> Floats:
    """ln of the sum of exponentials along the second axis."""
    top = values.max(axis=1, keepdims=True)
    top = np.where(np.isfinite(top), top, 0.0)  # all of them impossible: ln 0
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(np.exp(values - top).sum(axis=1)) + top[:, 0])


@dataclass(frozen=True, slots=True)
class Information:
    """Readings alone: precision (n, q, q), score (n, q) and constant (n,) of ln p(y_i | z)."""

    precision: Floats
    score: Floats
    constant: Floats
    origin: Floats


def information(readings: Linearised, origin: Floats) -> Information:
    """What the readings say of z, counted from `origin`."""
    variance = readings.std**2
    scale = 1.0 / np.sqrt(variance)
    jac = readings.jacobian * scale[:, :, None]
    y = scale * (readings.residual + np.einsum("nkq,nq->nk", readings.jacobian, readings.point - origin))
    jac_t = jac.transpose(0, 2, 1)
    constant = -0.5 * (y**2).sum(axis=1) + (readings.present * (np.log(scale) - 0.5 * np.log(2 * np.pi))).sum(axis=1)
    return Information(jac_t @ jac, np.einsum("nqk,nk->nq", jac_t, y), constant, origin)


def integrate(info: Information, spread: Floats) -> Quadratic:
    """Integrate z out over N(m, spread), spread (q, q) positive semi-definite."""
    values, vectors = np.linalg.eigh(spread)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    root = root[:, values > 1e-14 * values.max()]
    seen = info.precision @ root
    kernel = root.T @ seen
    diagonal = np.arange(root.shape[1])
    kernel[:, diagonal, diagonal] += 1.0
    _, ln_det = np.linalg.slogdet(kernel)
    pull = np.einsum("qr,nq->nr", root, info.score)
    both = np.linalg.solve(kernel, np.concatenate((seen.transpose(0, 2, 1), pull[:, :, None]), axis=2))
    m = info.precision - seen @ both[:, :, :-1]
    u = info.score - np.einsum("nqr,nr->nq", seen, both[:, :, -1])
    c = info.constant - 0.5 * ln_det + 0.5 * np.einsum("nr,nr->n", pull, both[:, :, -1])
    return Quadratic(c, u, 0.5 * (m + m.transpose(0, 2, 1)), info.origin)
