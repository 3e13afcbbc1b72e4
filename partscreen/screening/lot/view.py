"""What the parts of a lot say of each other: outliers, two groups, and the judgement of the lot.

Nothing here rejects a part. An outlier is a remark; two groups are shown with their figures, and say only "two
populations", not which
of them is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.device.observations import Observations
from partscreen.results import GroupsSeen, Interval, LotJudgement, Reason
from partscreen.screening.lot.figures import LotFigure, RollOff, gain_roll_off, lot_figures
from partscreen.screening.lot.robust import Split, best_split, modified_z, outlying

Ints = npt.NDArray[np.int64]

ABOUT_EQUAL = 0.35  # the smaller group is at least this share: neither is the lot's main population (assumption)
TOLERABLE_SHARE = 0.10  # share of unfit parts a lot may be used or returned at (assumption of the design)
NAMED = 12  # parts named in a sentence; all are in the figures


@dataclass(frozen=True, slots=True)
class LotView:
    """`outliers`: reasons by part (number within the lot). `groups`: the two groups of parts, or None.

    `seen`: the figure in which groups were looked for; None where the readings of the parts have no common range.
    """

    outliers: dict[int, tuple[Reason, ...]]
    groups: tuple[Ints, Ints] | None
    about_equal: bool
    reasons: tuple[Reason, ...]
    seen: GroupsSeen | None = None


def view_lot(observations: Observations, names: Sequence[str]) -> LotView:
    """Compare the parts of one lot. `names`: of the parts, in the order of the observations."""
    roll = gain_roll_off(observations)
    split = best_split(roll.figure.values, roll.figure.std) if roll else None
    found = split if split is not None and split.found else None
    outliers: dict[int, list[Reason]] = {}
    for figure in lot_figures(observations):
        if found is not None and figure.key == "gain_roll_off":
            continue  # a group is told as a group
        for part, reason in _outliers(figure):
            outliers.setdefault(part, []).append(reason)
    reasons = [] if found is None or roll is None else [_two_groups(found, roll, names)]
    if outliers:
        reasons.append(_outlier_summary(outliers, names))
    return LotView(
        {part: tuple(r) for part, r in outliers.items()},
        None if found is None else (found.low, found.high),
        found is not None and found.smaller_share >= ABOUT_EQUAL,
        tuple(reasons),
        None if roll is None else _seen(roll, split, names),
    )


def _seen(roll: RollOff, split: Split | None, names: Sequence[str]) -> GroupsSeen | None:
    known = np.flatnonzero(np.isfinite(roll.figure.values))
    if not known.size:
        return None
    two = split is not None and split.found
    upper = set(split.high.tolist()) if split is not None and two else set()
    return GroupsSeen(
        quantity="gain at the higher current over gain at the lower",
        conditions=roll.figure.at,
        parts=[names[i] for i in known.tolist()],
        values=[float(v) for v in np.exp(roll.figure.values[known])],
        group=[2 if i in upper else 1 for i in known.tolist()],
        two=two,
        statistic=None if split is None else split.statistic,
        bar=None if split is None else split.bar,
    )


def _outliers(figure: LotFigure) -> list[tuple[int, Reason]]:
    flagged, score = outlying(figure.values, figure.std)
    if not flagged.any():
        return []
    known = np.isfinite(figure.values)
    z = np.full(score.shape, np.nan)
    z[known] = modified_z(figure.values[known])
    middle = float(np.nanmedian(figure.values))
    shown_middle = float(np.exp(middle)) if figure.log else middle
    out = []
    for part in np.flatnonzero(flagged):
        value, away = figure.shown(int(part)), float(score[part])
        sentence = (
            f"Stands apart from its lot: {figure.words} at {figure.at} is {_figure(value, figure)}, the lot's median "
            f"{_figure(shown_middle, figure)} ({abs(away):.1f} robust standard deviations away)."
        )
        figures: dict[str, float | int | str | None] = {
            "value": value, "lot_median": shown_middle, "robust_z": away,
            "modified_z": float(z[part]) if np.isfinite(z[part]) else None,
        }  # fmt: skip
        out.append((int(part), Reason(code="LOT_OUTLIER", sentence=sentence, figures=figures, source=OUTLIER_SOURCE)))
    return out


OUTLIER_SOURCE = "robust mean and sigma after AEC-Q001, raised bar in small lots (simulated)"
SPLIT_SOURCE = "largest split statistic against its simulated distribution on clean lots of the same size"


def _figure(value: float, figure: LotFigure) -> str:
    if figure.unit == "F":
        return f"{value * 1e9:.3g} nF" if value >= 1e-9 else f"{value * 1e12:.3g} pF"
    return f"{value:.4g} V" if figure.unit == "V" else f"{value:.3g}"


def join_names(names: Sequence[str]) -> str:
    """Part names as a sentence lists them; a long list is cut and counted."""
    if len(names) > NAMED:
        return ", ".join(names[:NAMED]) + f" and {len(names) - NAMED} more"
    return ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]


def _range(values: npt.NDArray[np.float64]) -> tuple[float, float]:
    return float(np.nanmin(values)), float(np.nanmax(values))


def _two_groups(split: Split, roll: RollOff, names: Sequence[str]) -> Reason:
    ratio = np.exp(roll.figure.values)
    small, large = (split.low, split.high) if split.low.size <= split.high.size else (split.high, split.low)
    (a, b), (c, d) = _range(ratio[small]), _range(ratio[large])
    first = [names[i] for i in small]
    which = "neither is the lot's main group" if split.smaller_share >= ABOUT_EQUAL else "the others belong together"
    sentence = (
        f"The lot holds two groups: in parts {join_names(first)} the gain at {roll.high:.3g} A is {a:.2f} to {b:.2f} "
        f"of that at {roll.low:.3g} A, in the other {large.size} it is {c:.2f} to {d:.2f}; {which}. "
        "This says that there are two populations, not which of them is right."
    )
    figures: dict[str, float | int | str | None] = {
        "parts": ", ".join(first), "n_group": int(small.size), "n_others": int(large.size),
        "ratio_group_low": a, "ratio_group_high": b, "ratio_others_low": c, "ratio_others_high": d,
        "ic_low_A": roll.low, "ic_high_A": roll.high, "vce_V": None if np.isnan(roll.vce) else roll.vce,
        "gap_in_std": split.gap, "statistic": split.statistic, "statistic_one_clean_lot_in_100": split.bar,
    }  # fmt: skip
    for label, members in (("group", small), ("others", large)):
        low, high = _range(roll.last_over_first[members])
        figures[f"last_over_first_{label}_low"], figures[f"last_over_first_{label}_high"] = low, high
    return Reason(code="TWO_GROUPS", sentence=sentence, figures=figures, source=SPLIT_SOURCE)


def _outlier_summary(outliers: dict[int, list[Reason]], names: Sequence[str]) -> Reason:
    who = [names[i] for i in sorted(outliers)]
    verb = "stands" if len(who) == 1 else "stand"
    sentence = (
        f"Part{'' if len(who) == 1 else 's'} {join_names(who)} {verb} apart from the rest of the lot; see the part."
    )
    return Reason(code="LOT_OUTLIERS", sentence=sentence, figures={"parts": ", ".join(who)}, source=OUTLIER_SOURCE)


def judge_lot(
    *,
    known_type: bool,
    about_equal: bool,
    rejected: int,
    share_unfit: Interval | None,
    tolerable: float = TOLERABLE_SHARE,
) -> LotJudgement:
    """Judgement of a lot (design section 3).

    use: no reject and the share of unfit parts at most `tolerable` at its upper end; return: above it at its lower end;
    undecided: two groups of about equal size without a reference; no_reference: type not known; test_all: otherwise.
    """
    if not known_type:
        return "no_reference"
    if share_unfit is not None and share_unfit.low is not None and share_unfit.low > tolerable:
        return "return"
    if about_equal:
        return "undecided"
    if rejected == 0 and share_unfit is not None and share_unfit.high is not None and share_unfit.high <= tolerable:
        return "use"
    return "test_all"
