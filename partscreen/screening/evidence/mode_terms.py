"""Terms of every hypothesis for some parts of a lot, mode by mode, added up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.screening.evidence.hypotheses import Family
from partscreen.screening.evidence.knowledge import Knowledge
from partscreen.screening.evidence.linear import ORDER, Linearised
from partscreen.screening.evidence.lot import Fitted, Share
from partscreen.screening.evidence.mode_likelihoods import Prepared, UnderMode, prepare, under_alike, without_each
from partscreen.screening.evidence.quadratic import ln_sum

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
MARKED = "as marked"


def labels(groups: tuple[Family, ...], known: Knowledge) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names and kinds of all hypotheses: as marked, the families', the types'."""
    names, kinds = [MARKED], ["marked"]
    for group in groups:
        names += group.names
        kinds += [group.kind] * len(group.names)
    names += [f"die of {o.name}" for o in known.others]
    kinds += ["type"] * len(known.others)
    return tuple(names), tuple(kinds)


@dataclass(frozen=True, slots=True)
class Terms:
    """Natural logs, modes added up by what the rest of the lot makes of them.

    marked, bad : (n, 1 + len(ORDER)), likelihood of the readings up to each kind if the part is as marked, and if it is
    not. final : (n, h), joint with the prior of each hypothesis, all readings.
    """

    marked: Floats
    bad: Floats
    final: Floats


def weigh_rows(
    readings: Linearised,
    rows: Ints,
    known: Knowledge,
    groups: tuple[Family, ...],
    fitted: list[Fitted],
    alike: list[list[int]],
    good: Share,
    bad: Share,
    *,
    every: bool,
) -> Terms:
    """Some parts of the lot under all hypotheses and modes. `alike`: modes that share factors, from `modes_alike`."""
    ready = prepare(readings.pick(rows), known, groups)
    adding = _Adding(ready, readings.point.shape[0], rows, known, groups, good, bad)
    for numbers in alike:
        modes = [fitted[i] for i in numbers]
        left_out = [without_each(one, adding.n_lot, every=every) for one in modes]
        covariance = left_out[0][1][rows] if every else left_out[0][1][0]
        for one, under in zip(
            modes, under_alike(ready, modes, [c[rows] for c, _ in left_out], covariance), strict=True
        ):
            adding.add(one, under)
    return adding.terms()


class _Adding:
    """Modes added up, one after the other."""

    def __init__(
        self,
        ready: Prepared,
        n_lot: int,
        rows: Ints,
        known: Knowledge,
        groups: tuple[Family, ...],
        good: Share,
        bad: Share,
    ) -> None:
        self.n_lot, self._ready, self._rows, self._good, self._bad = n_lot, ready, rows, good, bad
        names = labels(groups, known)[0]
        self._place = {name: i for i, name in enumerate(names)}
        self._first_type = len(names) - len(known.others)
        self._all_types = ln_sum(ready.types) - np.log(len(known.others)) if known.others else None
        n = rows.size
        self._marked, self._against = (np.full((n, len(ORDER) + 1), -np.inf) for _ in range(2))
        self._final, self._of_types = np.full((n, len(names)), -np.inf), np.full(n, -np.inf)

    def add(self, one: Fitted, under: UnderMode) -> None:
        """Add a mode."""
        is_marked = one.mode.kind == "marked"
        rest = _rest_share(one, self._rows, self.n_lot, self._good if is_marked else self._bad)
        ln_rest = np.log(rest)[:, None] + _ln_weights(one, self._rows, self.n_lot)
        n_families = self._first_type - 1
        ln_type = ln_rest[:, n_families]
        belongs = _from_prior(under.belongs) + np.log1p(-rest)[:, None]
        families = _from_prior(under.families) + ln_rest[:, :n_families, None]
        parts = [ln_sum(families)]
        if self._all_types is not None:
            parts.append(_from_prior(self._all_types) + ln_type[:, None])
        as_marked = belongs
        if not is_marked:
            parts.append(belongs)
            as_marked = _as_marked(self._ready, one, under, ln_rest)
        against = ln_sum(np.stack(parts, axis=1))
        # To the mode's likelihood without this part: off with what it adds itself.
        weight = one.ln_likelihood - np.logaddexp(as_marked[:, -1], against[:, -1])
        # Likelihoods given the state, not joint with it: how many bad parts the lot has is no reading of this part.
        self._marked = np.logaddexp(self._marked, as_marked - as_marked[:, :1] + weight[:, None])
        self._against = np.logaddexp(self._against, against - against[:, :1] + weight[:, None])
        last = np.concatenate((as_marked[:, -1:], families[:, :, -1]), axis=1)
        final = self._final[:, : self._first_type]
        np.logaddexp(final, last + weight[:, None], out=final)
        if not is_marked:
            at = self._place[one.mode.name]
            self._final[:, at] = np.logaddexp(self._final[:, at], belongs[:, -1] + weight)
        self._of_types = np.logaddexp(self._of_types, ln_type + weight)

    def terms(self) -> Terms:
        """The sums."""
        types = self._ready.types
        if types.shape[1]:
            own = types[:, :, -1] + (self._of_types - np.log(types.shape[1]))[:, None]
            self._final[:, self._first_type :] = np.logaddexp(self._final[:, self._first_type :], own)
        return Terms(self._marked, self._against, self._final)


def _as_marked(ready: Prepared, one: Fitted, under: UnderMode, ln_rest: Floats) -> Floats:
    """ln p of a sound part in a lot whose main population is none, with its weights: by the reference alone, and
    (smaller dies) as a sound part of the lot's own process; (n, 1 + len(ORDER))."""
    alone = _from_prior(ready.marked) + ln_rest[:, -2:-1]
    if one.mode.ln_area >= 0.0:
        return alone
    return np.logaddexp(alone, _from_prior(under.own) + ln_rest[:, -1:])


def _rest_share(one: Fitted, rows: Ints, n: int, prior: Share) -> Floats:
    """Expected share of parts outside the main population, as the other parts say; shape (n_rows,)."""
    own = 1.0 - one.weight[rows] if one.weight.size == n else np.zeros(rows.size)
    rest = (prior.a + (1.0 - one.weight).sum() - own) / (prior.a + prior.b + one.weight.size - 1.0)
    return np.asarray(np.clip(rest, 1e-12, 1.0 - 1e-12))


def _ln_weights(one: Fitted, rows: Ints, n: int) -> Floats:
    """ln weights of the explanations of the rest, as the other parts say; (n_rows, f)."""
    if one.weight.size == n:
        return one.ln_others[rows]
    return np.broadcast_to(one.ln_explained, (rows.size, one.ln_explained.size))


def _from_prior(cumulative: Floats) -> Floats:
    """With a first column for no reading at all; last axis len(ORDER). Exactly as likely: what says nothing adds 0."""
    first = np.zeros((*cumulative.shape[:-1], 1))
    return np.concatenate((first, cumulative), axis=-1)
