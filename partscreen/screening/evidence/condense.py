"""Readings of each kind turned into the few combinations that tell hypotheses apart.

Twenty points on a gain curve say no more of a part than some six numbers. Within a kind the readings of a part
are turned (an orthogonal change of the whitened readings, so their noise stays independent), and the turned readings in
which no hypothesis expects anything are dropped: noise, the same under all of them. Kinds are never mixed, so evidence
is still counted up in the printed order.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.linear import ORDER, Linearised

Floats = npt.NDArray[np.float64]

SILENT = 1e-2
"""Largest signal of a combination that is dropped, in its own standard uncertainties, with everything added up that
any hypothesis expects (the change of evidence is tested to stay under 0.02)."""


def condense(readings: Linearised, expected: Floats, silent: float = SILENT) -> Linearised:
    """The same readings in fewer rows of standard uncertainty 1.

    Parameters
    ----------
    readings : Linearised
    expected : array, shape (q, q)
        Second moment of everything any hypothesis expects of a part's coordinates.

    Returns
    -------
    Linearised
        Rows by kind, ascending. Log likelihoods of it differ from those of `readings` by a constant of each part and
        kind, the same under every hypothesis. `misfit` and `place` are zero: what lots share is to be taken off before.
    """
    if not readings.kind.size:  # nothing the model speaks of was read: one row that says nothing
        n, q = readings.point.shape
        one, none = np.zeros((n, 1)), np.zeros((n, 1), dtype=np.int64)
        silence = np.zeros((n, 1), dtype=np.bool_)
        return Linearised(readings.point, one, np.zeros((n, 1, q)), one + 1.0, silence, none[0], one, none)
    values, vectors = np.linalg.eigh(expected)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    blocks = [_turned(readings, kind, root, silent) for kind in range(len(ORDER)) if np.any(readings.kind == kind)]
    residual, jacobian, kinds = (np.concatenate([b[i] for b in blocks], axis=1) for i in range(3))
    shape = residual.shape
    return Linearised(
        readings.point,
        residual,
        jacobian,
        np.ones(shape),
        np.asarray(jacobian.any(axis=2), dtype=np.bool_),
        kinds[0].astype(np.int64),
        np.zeros(shape),
        np.zeros(shape, dtype=np.int64),
    )


def dropped(readings: Linearised, few: Linearised) -> Floats:
    """Sum of squares, in standard uncertainties, of what `condense` left out of these readings; shape (n_parts,).

    Added to a squared distance of the condensed readings it gives that of all readings.
    """
    whole = ((readings.residual / readings.std) ** 2).sum(axis=1)
    return np.asarray(np.maximum(whole - (few.residual**2).sum(axis=1), 0.0))


def _turned(readings: Linearised, kind: int, root: Floats, silent: float) -> tuple[Floats, Floats, Floats]:
    mine = readings.kind == kind
    scale = 1.0 / readings.std[:, mine]
    jacobian = readings.jacobian[:, mine] * scale[:, :, None]
    residual = readings.residual[:, mine] * scale
    if mine.sum() > 1:
        seen = jacobian @ root
        power, axes = np.linalg.eigh(seen @ seen.transpose(0, 2, 1))
        kept = power > silent**2
        width = max(int(kept.sum(axis=1).max(initial=0)), 1)
        # The strongest come last; a part that needs fewer than its neighbours keeps zeros in their place.
        turn = np.where(kept[:, None, -width:], axes[:, :, -width:], 0.0).transpose(0, 2, 1)
        jacobian, residual = turn @ jacobian, (turn @ residual[:, :, None])[:, :, 0]
    return residual, jacobian, np.full((1, residual.shape[1]), float(kind)).repeat(residual.shape[0], axis=0)
