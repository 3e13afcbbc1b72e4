"""Match parts: pairs, groups of one polarity, channel sets."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from partscreen.errors import Problem, UnusableInput
from partscreen.matching.distance import Differences, Features, differences
from partscreen.matching.families import Family, complements, one_type_each
from partscreen.matching.line_groups import LineGroups, groups_on_line, most_groups_on_line
from partscreen.matching.matched import group_set, pair_set, rail_set, ranked_sets
from partscreen.matching.options import MatchOptions
from partscreen.matching.pairs import Pairing, best_sum, most_within, smallest_worst, worst_then_sum
from partscreen.matching.ranked import ranked_pairings
from partscreen.matching.ready import Ready, make_ready
from partscreen.matching.set_problem import group_problem, rail_problem
from partscreen.matching.settle import settle_sets
from partscreen.matching.stock import Stock
from partscreen.matching.two_channels import alike_channels, amplifiers
from partscreen.matching.worth import worth_reasons
from partscreen.results import Reason
from partscreen.results.matching import MatchedSet, Matching, OtherWay, Unmatched

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(slots=True)
class _Found:
    """What came of one family."""

    sets: list[MatchedSet]
    total: float
    bound: float
    method: str
    used: set[tuple[str, str]]
    matched_vbe: list[float] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    ways: list[OtherWay] = field(default_factory=list)


def match_stock(
    stock: Stock, options: MatchOptions, complement_of: Callable[[str], str | None], *, version: str = ""
) -> Matching:
    """Match the parts of a stock.

    Parameters
    ----------
    stock : from `partscreen.matching.stock.collect`
    options : MatchOptions
    complement_of : gives the complement of a type as the library names it, or None

    Raises
    ------
    UnusableInput
        Options that cannot be, too few parts, one polarity missing, or a stage whose currents were not read.
    """
    options = options.checked()
    reasons: list[Reason] = []
    alone: list[Unmatched] = []
    if options.kind == "groups":
        families = one_type_each(stock.parts)
    else:
        _both_polarities(stock)
        families, reasons, alone = complements(stock.parts, complement_of)
    if not families:
        raise UnusableInput([Problem("NO_COMPLEMENT", "no NPN type here has its complement among the PNP types",
                                     "bring the complement's result, or choose lots with --lot")])  # fmt: skip
    if options.kind == "sets" and len(families) > 1:
        names = "; ".join(f.name for f in families)
        raise UnusableInput([Problem("SEVERAL_TYPES", f"channel sets of several types at once: {names}",
                                     "choose the lots of one amplifier with --lot")])  # fmt: skip
    return _assembled(stock, options, families, reasons, alone, version)


def _assembled(
    stock: Stock, options: MatchOptions, families: Sequence[Family], reasons: list[Reason], alone: list[Unmatched],
    version: str,
) -> Matching:  # fmt: skip
    ready = [make_ready(stock.parts, family, options) for family in families]
    found = [_of_family(one, options, len(families) == 1) for one in ready]
    if not any(f.sets for f in found) and options.aim != "count":
        raise UnusableInput([Problem("TOO_FEW", f.reasons[0].sentence, "bring more parts") for f in found if f.reasons])
    sets = ranked_sets([s for f in found for s in f.sets])
    used = set().union(*(f.used for f in found))
    over = [
        Unmatched(part=p.part, lot=p.lot, why="left over")
        for one in ready
        for p in (*one.a, *one.b)
        if (p.lot, p.part) not in used
    ]
    total, bound = math.fsum(s.distance for s in sets), math.fsum(f.bound for f in found)
    worst = max((s.distance for s in sets), default=0.0)
    if options.aim == "worst" and options.kind == "pairs":
        bound = max((f.bound for f in found), default=0.0)
    reached = worst if options.aim == "worst" and options.kind == "pairs" else total
    bag = np.concatenate([_bag_differences(one, options) for one in ready])
    matched = np.array([v for f in found for v in f.matched_vbe])
    worth = worth_reasons(
        bag, matched, per_rail=_per_rail(options), resistor=options.emitter_resistor, idle=options.idle
    )
    return Matching(
        version=version, kind=options.kind, aim=options.aim, settings=_settings(options),
        currents=[one.currents for one in ready],
        reasons=[*worth, *reasons, *(r for one in ready for r in one.reasons), *(r for f in found for r in f.reasons)],
        sets=sets, unmatched=[*over, *(u for one in ready for u in one.left_out), *alone, *stock.left_out],
        total=total, worst=worst, bound=bound,
        gap_percent=100.0 * max(reached / bound - 1.0, 0.0) if bound > 0 else (0.0 if reached <= bound else None),
        method="; ".join(dict.fromkeys(f.method for f in found)),
        other_ways=[way for f in found for way in f.ways],
    )  # fmt: skip


def _per_rail(options: MatchOptions) -> int | None:
    return options.k if options.kind in ("sets", "groups") else options.per_rail


def _settings(options: MatchOptions) -> dict[str, Any]:
    told = asdict(options)
    return {name: value for name, value in told.items() if name not in ("kind", "aim")} | {"lots": list(options.lots)}


def _both_polarities(stock: Stock) -> None:
    for polarity in ("NPN", "PNP"):
        if not any(p.polarity == polarity for p in stock.parts):
            other = "PNP" if polarity == "NPN" else "NPN"
            what = f"no {polarity} part to match: all {len(stock.parts)} parts are {other}"
            fix = "bring a result with the other polarity, or make groups of one polarity with --groups K"
            raise UnusableInput([Problem("ONE_POLARITY", what, fix)])


def _of_family(ready: Ready, options: MatchOptions, only: bool) -> _Found:
    try:
        if options.kind == "pairs":
            return _pairs(ready, options)
        return _groups(ready, options) if options.kind == "groups" else _sets(ready, options)
    except ValueError as error:
        if only:
            raise UnusableInput([Problem("TOO_FEW", str(error), "bring more parts, or ask for fewer")]) from error
        said = Reason(code="TOO_FEW", sentence=f"{ready.name}: {error}.")
        return _Found([], 0.0, 0.0, "nothing to choose", set(), reasons=[said])


def _pairs(ready: Ready, options: MatchOptions) -> _Found:
    d = differences(ready.points_a, ready.points_b, options.tolerance)
    chosen, bound, method = _pairing(d, options)
    rows, columns = chosen.rows.tolist(), chosen.columns.tolist()
    sets = [pair_set(ready, d, i, j) for i, j in zip(rows, columns, strict=True)]
    reasons = []
    n, m = d.distance.shape
    if n != m:
        more, over = ("NPN", n - m) if n > m else ("PNP", m - n)
        sentence = f"{ready.name}: {n} NPN and {m} PNP; {over} {more} must stay over."
        reasons.append(Reason(code="UNEQUAL_COUNTS", sentence=sentence, figures={"npn": n, "pnp": m}))
    used = {(ready.a[i].lot, ready.a[i].part) for i in rows} | {(ready.b[j].lot, ready.b[j].part) for j in columns}
    ways = _ways(ready, d, chosen, options.ways) if options.ways > 1 else []
    matched = [float(d.vbe[i, j]) for i, j in zip(rows, columns, strict=True)]
    return _Found(sets, chosen.total, bound, method, used, matched, reasons, ways)


def _pairing(d: Differences, options: MatchOptions) -> tuple[Pairing, float, str]:
    """The pairing, what bounds it (equal to what was reached: all of these are exact), and how."""
    cost, best = d.distance, options.best
    if options.aim == "sum":
        found = best_sum(cost, best)
        return found, found.total, "exact: assignment of smallest sum"
    if options.aim == "worst":
        found = worst_then_sum(cost, best)
        return found, smallest_worst(cost, best), "exact: smallest worst pair"
    if options.aim == "count":
        found = most_within(cost, d.within, best)
        return found, found.total, "exact: most pairs within tolerance, then the smallest sum"
    found = worst_then_sum(cost, best)
    return found, found.total, "exact: smallest worst pair, then the smallest sum"


def _ways(ready: Ready, d: Differences, chosen: Pairing, count: int) -> list[OtherWay]:
    """The next best ways to pair by sum, each with the pairs that the chosen way does not have."""
    have = set(zip(chosen.rows.tolist(), chosen.columns.tolist(), strict=True))
    out = []
    for way in ranked_pairings(d.distance, count)[1:]:
        new = [pair for pair in zip(way.rows.tolist(), way.columns.tolist(), strict=True) if pair not in have]
        out.append(OtherWay(total=way.total, pairs=[[ready.a[i].label, ready.b[j].label] for i, j in new]))
    return out


def _groups(ready: Ready, options: MatchOptions) -> _Found:
    d = differences(ready.points_a, ready.points_a, options.tolerance)
    vbe = ready.points_a.vbe @ np.sqrt(ready.usage.weight)
    if options.by_vbe:
        line = _line_groups(vbe, options)
        members, method = line.members, f"exact: dynamic programme along the sorted VBE ({options.aim})"
        spread = [float(np.ptp(vbe[row])) / options.tolerance.vbe for row in members]
    else:
        settled = settle_sets(group_problem(d.distance, vbe, options.k, options.best), prove=options.prove)
        members, method = settled.sets, settled.method
    sets = [group_set(ready, d, row) for row in members]
    if options.by_vbe:
        sets = [one.model_copy(update={"distance": far}) for one, far in zip(sets, spread, strict=True)]
    used = {(ready.a[i].lot, ready.a[i].part) for i in members.ravel().tolist()}
    matched = [float(v) for row in members for v in d.vbe[np.ix_(row, row)][np.triu_indices(row.size, 1)]]
    total = math.fsum(s.distance for s in sets)
    return _Found(sets, total, total if options.by_vbe else settled.bound, method, used, matched)


def _line_groups(vbe: Floats, options: MatchOptions) -> LineGroups:
    if options.aim == "count":
        return most_groups_on_line(vbe, options.k, options.tolerance.vbe)
    return groups_on_line(vbe, options.k, options.best, aim=options.aim)


def _sets(ready: Ready, options: MatchOptions) -> _Found:
    own = [differences(f, f, options.tolerance) for f in (ready.points_a, ready.points_b)]
    across = differences(ready.points_a, ready.points_b, options.tolerance)
    root = np.sqrt(ready.usage.weight)
    lines = (ready.points_a.vbe @ root, ready.points_b.vbe @ root)
    problem = rail_problem(own[0].distance, own[1].distance, across.distance, lines, options.k, options.best)
    settled = settle_sets(problem, prove=options.prove)
    points = _scaled(ready.points_a, ready.points_b, options)
    chosen, bound, method = settled.sets, settled.bound, settled.method
    if problem.n_sets == 2:
        alike = alike_channels(problem, points, settled)
        chosen, bound, method = alike.sets, alike.bound, alike.method
    number = amplifiers(problem, points, chosen)
    n = problem.n_a
    sets = [
        rail_set(ready, own[0], own[1], across, row[: problem.k], row[problem.k :] - n, float(cost), place)
        for row, cost, place in zip(chosen, problem.costs(np.sort(chosen, axis=1)), number, strict=True)
    ]
    used = {(p.lot, p.part) for row in chosen for p in ((*ready.a, *ready.b)[i] for i in row.tolist())}
    rails = [(own[0], row[: problem.k]) for row in chosen] + [(own[1], row[problem.k :] - n) for row in chosen]
    matched = [float(v) for d, row in rails for v in d.vbe[np.ix_(row, row)][np.triu_indices(row.size, 1)]]
    return _Found(sets, math.fsum(s.distance for s in sets), bound, method, used, matched)


def _scaled(a: Features, b: Features, options: MatchOptions) -> Floats:
    """Parts as points in units of the tolerances, so that a plain distance is the distance of a match."""
    t = options.tolerance
    return np.vstack([np.hstack([f.hfe / t.ln_hfe, f.vbe / t.vbe]) for f in (a, b)])


def _bag_differences(ready: Ready, options: MatchOptions) -> Floats:
    """VBE differences between all parts of one polarity as they come. [V]"""
    out = []
    for points in (ready.points_a, ready.points_b):
        if points.n > 1:
            out.append(differences(points, points, options.tolerance).vbe[np.triu_indices(points.n, 1)])
    return np.concatenate(out) if out else np.zeros(0)
