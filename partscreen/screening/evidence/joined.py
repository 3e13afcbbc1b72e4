"""Lots laid side by side, so that one call fits them all: small arrays cost numpy more in calls than in arithmetic."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.device.prior import TypeConstants
from partscreen.device.weighted import Block, usable_readings

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TOGETHER = 4000  # parts: derivatives of their readings then take some 40 MB
_BY_SESSION = ("session_temp_std", "session_gain_ln_std", "session_lead_std")


@dataclass(frozen=True, slots=True)
class Joined:
    """Lots in one. family : (n_parts,), place of each part's lot; used, first, total : by lot, its sessions that have
    parts, where they begin among all, and how many it knows."""

    observations: Observations
    family: Ints
    used: tuple[Ints, ...]
    first: tuple[int, ...]
    total: tuple[int, ...]

    def rows_of(self, place: int) -> Ints:
        """Parts of one lot."""
        return np.flatnonzero(self.family == place)

    def sessions_in(self, of_lots: Sequence[Floats]) -> Floats:
        """Errors of sessions (n_sessions, 3) of every lot, for all."""
        return np.concatenate([shared[used] for shared, used in zip(of_lots, self.used, strict=True)])

    def sessions_out(self, shared: Floats, place: int) -> Floats:
        """Errors of the sessions of one lot; zero for those without parts."""
        out = np.zeros((self.total[place], shared.shape[1]))
        used = self.used[place]
        out[used] = shared[self.first[place] : self.first[place] + used.size]
        return out


def join(lots: Sequence[Observations]) -> Joined:
    """One set of observations of lots whose readings are laid out in the same columns; no session is shared."""
    used, sessions, first, at = [], [], [], 0
    for o in lots:
        own, local = np.unique(o.session, return_inverse=True)
        used.append(own)
        sessions.append(local + at)
        first.append(at)
        at += own.size
    arrays = {
        f.name: np.concatenate([getattr(o, f.name) for o in lots])
        for f in fields(Observations)
        if f.name not in _BY_SESSION
    }
    by_session = {
        name: np.concatenate([getattr(o, name)[own] for o, own in zip(lots, used, strict=True)]) for name in _BY_SESSION
    }
    arrays["session"] = np.concatenate(sessions).astype(np.int64)
    family = np.repeat(np.arange(len(lots)), [o.n_parts for o in lots])
    totals = tuple(o.session_temp_std.shape[0] for o in lots)
    return Joined(Observations(**arrays, **by_session), family, tuple(used), tuple(first), totals)


def side_by_side(lots: Sequence[Observations], constants: TypeConstants) -> list[list[int]]:
    """Numbers of lots that go into one call: alike in their columns and in what their readings see, not too many."""
    groups: dict[tuple[object, ...], list[list[int]]] = {}
    for number, o in enumerate(lots):
        seen = Block(o, constants, usable_readings(o), np.arange(o.n_parts)).seen
        key = (o.gain_ic.shape[1], o.sat_ic.shape[1], o.cap.shape[1], *seen.tolist())
        runs = groups.setdefault(key, [[]])
        if runs[-1] and sum(lots[i].n_parts for i in runs[-1]) + o.n_parts > TOGETHER:
            runs.append([])
        runs[-1].append(number)
    return [run for runs in groups.values() for run in runs]
