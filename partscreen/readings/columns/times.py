"""Clock times in a time column, as seconds since its first reading."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np

from partscreen.readings.tables import Floats


def clock_seconds(cells: Sequence[str]) -> Floats | None:
    """Seconds since the first filled cell for `14:03:22`, `14:03` or ISO date and time; None when a cell is neither.

    A clock that runs past midnight without a date goes on counting.
    """
    out = np.full(len(cells), np.nan)
    dated = None
    last, days = -1.0, 0
    for index, cell in enumerate(cells):
        text = cell.strip()
        if not text:
            continue
        try:
            if "-" in text or "T" in text:
                moment = datetime.datetime.fromisoformat(text)
                seconds, has_date = moment.timestamp(), True
            else:
                clock = datetime.time.fromisoformat(text if len(text.split(":")[0]) == 2 else "0" + text)
                seconds, has_date = (
                    clock.hour * 3600 + clock.minute * 60 + clock.second + clock.microsecond / 1e6,
                    False,
                )
        except ValueError:
            return None
        if dated is not None and dated is not has_date:
            return None
        dated = has_date
        if not has_date:
            days += seconds + 86_400 * days < last - 43_200
            seconds += 86_400 * days
        last = seconds
        out[index] = seconds
    first = out[~np.isnan(out)]
    return out - first[0] if first.size else None
