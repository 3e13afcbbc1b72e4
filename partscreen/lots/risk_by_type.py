"""Which type is risky from whom, and which type is risky from anybody; types of a supplier are pooled in part."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from partscreen.lots.trust_fit import Fitted, outside

Floats = npt.NDArray[np.float64]
_CHUNK = 500  # pairs at once


def pair_posterior(fit: Fitted) -> Floats:
    """Mass of the share v of each type of each supplier, everything else integrated out; (n_pairs, n_means)."""
    of, groups = fit.of, fit.groups
    before = outside(fit, np.arange(groups.n_suppliers))
    n = groups.supplier.size
    mass = np.zeros((n, of.means.size))
    for begin in range(0, n, _CHUNK):
        rows = np.arange(begin, min(begin + _CHUNK, n))
        j = groups.supplier[rows]
        others = fit.whole[j] - fit.of_pairs[rows]  # (pair, c, style, u)
        rest = np.exp(others - others.max(axis=(1, 2, 3), keepdims=True)) * before[j][:, :, None]
        own = np.exp(fit.pairs.ln[rows] - fit.pairs.ln[rows].max(axis=(1, 2), keepdims=True))
        joint = (np.einsum("pcsu,cuv->psv", rest, of.type_prior, optimize=True) * own).sum(axis=1)
        mass[rows] = joint / joint.sum(axis=1, keepdims=True)
    return mass


def numbered(names: Sequence[str]) -> tuple[list[str], npt.NDArray[np.int64]]:
    """Names once each, in order, and the number of each item's name."""
    once = sorted(set(names))
    place = {name: i for i, name in enumerate(once)}
    return once, np.array([place[name] for name in names], dtype=np.int64)
