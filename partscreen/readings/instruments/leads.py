"""Resistance of leads, capacitance of a fixture: from a reading without the part, else from the kit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from partscreen.readings.instruments.kit import Instrument, Kit
from partscreen.readings.tables import Batch, Bools, Floats

# A reading with a wire in place of the part, or with nothing in the fixture, says so in its conditions:
# "piece=short", "piece=open".
PIECE = "piece"


@dataclass(frozen=True, slots=True)
class SessionLeads:
    """Lead resistances per session, arrays of shape (n_sessions,). [ohm]

    `collector`, `emitter`, `base` with `*_std`; `total_std`: of collector and emitter lead together; `from_short`:
    taken from a reading of a short circuit, of which half is ascribed to either lead (assumption: two leads alike).
    """

    collector: Floats
    emitter: Floats
    base: Floats
    total_std: Floats
    emitter_std: Floats
    base_std: Floats
    emitter_in_vbe: bool
    from_short: Bools

    @property
    def known(self) -> Bools:
        any_known: Bools = (self.collector > 0.0) | (self.emitter > 0.0) | (self.base > 0.0)
        return any_known


def session_leads(batch: Batch, kit: Kit | None) -> SessionLeads | None:
    """Leads of every session, or None where neither the kit nor a short-circuit reading gives a value."""
    n = len(batch.sessions)
    reader = (kit.reader_of("vce_sat") or kit.reader_of("vce")) if kit else None
    leads = reader.lead_resistance if reader else None
    value, std, found = _short_circuit(batch, n)
    if leads is None and not found.any():
        return None
    base = _base_reader(kit)
    collector = np.full(n, leads.collector.value if leads else 0.0)
    emitter = np.full(n, leads.emitter.value if leads else 0.0)
    total = np.full(n, float(np.hypot(leads.collector.std, leads.emitter.std)) if leads else 0.0)
    emitter_std = np.full(n, leads.emitter.std if leads else 0.0)
    return SessionLeads(
        collector=np.where(found, 0.5 * value, collector),
        emitter=np.where(found, 0.5 * value, emitter),
        base=np.full(n, base.lead_resistance.base.value if base else 0.0),
        total_std=np.where(found, std, total),
        emitter_std=np.where(found, np.hypot(0.5 * std, 0.1 * value), emitter_std),
        base_std=np.full(n, base.lead_resistance.base.std if base else 0.0),
        emitter_in_vbe=base.lead_resistance.emitter_in_vbe if base else False,
        from_short=found,
    )


def _base_reader(kit: Kit | None) -> Instrument | None:
    return kit.reader_of("vbe") if kit else None


def empty_fixture(batch: Batch) -> Bools:
    """Spot readings taken without a part: never judged."""
    return np.array([PIECE in conditions for conditions in batch.spots.conditions], dtype=bool)


def _short_circuit(batch: Batch, n: int) -> tuple[Floats, Floats, Bools]:
    """Per session: weighted mean of V / IC of short-circuit readings, its uncertainty, where there is one."""
    spots = batch.spots
    weight, weighted = np.zeros(n), np.zeros(n)
    for index in np.flatnonzero(empty_fixture(batch)):
        conditions = spots.conditions[index]
        current = conditions.get("IC")
        is_short = str(conditions[PIECE]).lower() == "short" and str(spots.quantity[index]) == "vce_sat"
        if not is_short or not isinstance(current, (int, float)) or current <= 0.0 or not spots.std[index] > 0.0:
            continue
        session, w = int(spots.session[index]), (current / spots.std[index]) ** 2
        weight[session] += w
        weighted[session] += w * spots.value[index] / current
    found = weight > 0.0
    safe = np.where(found, weight, 1.0)
    return weighted / safe, np.where(found, 1.0 / np.sqrt(safe), 0.0), found


def session_fixture(batch: Batch, kit: Kit | None, quantity: str) -> tuple[Floats, Floats]:
    """Fixture capacitance of a capacitance reading, per session, with its standard uncertainty. [F]"""
    n = len(batch.sessions)
    reader = kit.reader_of(quantity) if kit else None
    value = np.full(n, reader.fixture_capacitance.value if reader else 0.0)
    std = np.full(n, reader.fixture_capacitance.std if reader else 0.0)
    spots = batch.spots
    for index in np.flatnonzero(empty_fixture(batch)):
        if str(spots.conditions[index][PIECE]).lower() == "open" and str(spots.quantity[index]) == quantity:
            value[spots.session[index]], std[spots.session[index]] = spots.value[index], spots.std[index]
    return value, std
