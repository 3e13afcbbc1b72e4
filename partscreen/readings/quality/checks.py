"""All quality checks of a batch, in their order. Thresholds stand with their reasons in the `quality_*` files.

| code | says | readings |
|---|---|---|
| IMPOSSIBLE_SIZE | a figure of impossible size, or about 1000 off its neighbours | left out |
| SENSOR_FAULT | one case temperature among steady ones is far off | left out |
| SHORT, OPEN, NO_GAIN | the part is dead | the part is rejected with that reason |
| SWAPPED_LEADS, WRONG_POLARITY | leads exchanged, or the other polarity | the part is rejected with that reason |
| LEADS_DOUBTED | gain a quarter of the lot's or less: leads exchanged, or a worn or other part | kept |
| IB_NOT_RESOLVED | collector current without base current, gain or VBE | left out |
| COMPLIANCE, AT_RANGE_LIMIT | supply or tester at its limit | left out |
| OFFSET, LEAKAGE | low end spoilt by an offset; leakage of a tenth or more | left out |
| VBE_NOT_RISING, UNSTEADY | no transistor draws such a curve | left out |
| HEATING_DRIFT | up and down differ, gain climbs at constant current | kept, widened |
| TOO_FEW_POINTS | fewer than three points left | kept |
| CONDITIONS_MISSING, BIAS_NOT_STATED | a spot reading without its conditions | left out; kept, broad |
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from partscreen.readings.findings import Desk, PolarityOfLot, open_desk, settle, settle_parts
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.instruments.leads import empty_fixture
from partscreen.readings.quality.dead import dead_parts, leads_doubted, wrong_polarity
from partscreen.readings.quality.exchanged import note_exchanged
from partscreen.readings.quality.heating import heating_drift
from partscreen.readings.quality.limits import at_range_limit, base_current_missing, compliance, too_few_points
from partscreen.readings.quality.low import leakage, offsets
from partscreen.readings.quality.shape import current_breaks, gain_dips, unsteady, vbe_not_rising
from partscreen.readings.quality.size import (
    capacitance_slips,
    impossible_size,
    single_slips,
    slips_of_thousand,
    spot_sizes,
    temperature_jumps,
)
from partscreen.readings.quality.spots import missing_conditions, spots_at_range_limit
from partscreen.readings.tables import Batch, PartCondition

_CHECKS = (
    slips_of_thousand,
    leads_doubted,
    base_current_missing,
    compliance,
    at_range_limit,
    leakage,
    offsets,
    current_breaks,
    vbe_not_rising,
    unsteady,
    gain_dips,
    heating_drift,
    too_few_points,
)


# NaN is "not measured" and every comparison with it fails; zeros and infinities of a file must not stop a batch.
@np.errstate(divide="ignore", invalid="ignore", over="ignore")
def check_quality(batch: Batch, kit: Kit | None, polarity_of_lot: PolarityOfLot | None = None) -> Batch:
    """Run every check and return the batch with notes, masks and conditions added.

    Parameters
    ----------
    batch : Batch
        After `apply_kit`: the checks weigh against the standard uncertainties.
    kit : Kit or None
        Ranges and supply limits come from it.
    polarity_of_lot : callable of Lot, or dict by lot name, or None
        "NPN", "PNP" or None (not known).

    Returns
    -------
    Batch
        Nothing is removed: readings left out have `use` False and a note says why.
    """
    with_part = replace(batch.spots, use=batch.spots.use & ~empty_fixture(batch))
    batch = missing_conditions(spot_sizes(replace(batch, spots=with_part)))
    batch = capacitance_slips(spots_at_range_limit(batch, kit))
    desk = open_desk(batch, kit)
    for check in (impossible_size, single_slips, temperature_jumps):
        desk = settle(desk, check(desk))
    desk = settle_parts(desk, [*wrong_polarity(desk, polarity_of_lot), *dead_parts(desk)])
    for check in _CHECKS:
        desk = settle(desk, check(desk))
    return note_exchanged(_unusable_parts(desk))


def _unusable_parts(desk: Desk) -> Batch:
    """Parts none of whose readings are left, and that are not dead: unusable."""
    batch, n = desk.batch, desk.batch.n_parts
    points, spots = desk.points, batch.spots
    left = np.bincount(points.part[points.use], minlength=n) + np.bincount(spots.part[spots.use], minlength=n)
    own = ~spots.control & ~empty_fixture(batch)
    read = np.bincount(points.part[~points.control], minlength=n) + np.bincount(spots.part[own], minlength=n)
    condition = dict(batch.condition)
    for part in np.flatnonzero((left == 0) & (read > 0)):
        if int(part) not in condition:
            codes = ", ".join(dict.fromkeys(note.code for note in batch.quality.get(int(part), ()) if not note.used))
            why = codes or "no figures"
            sentence = f"None of its readings can be used ({why}): put the file right or read the part again."
            condition[int(part)] = PartCondition(
                "unusable", "NO_USABLE_READINGS", sentence, {"readings": int(read[part])}
            )
    return replace(batch, condition=condition)
