"""The parts to be matched: their curves, taken from results of `screen`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from partscreen.errors import Problem, UnusableInput
from partscreen.results import Curves, LotResult, PartResult, Screening
from partscreen.results.matching import Unmatched

Floats = npt.NDArray[np.float64]

NOT_SEEN = 0.9  # posterior over prior spread above which a parameter is not seen by the readings (assumption)


@dataclass(frozen=True, slots=True)
class PartCurves:
    """One part: ln hFE and VBE [V] at its own currents `ic` [A], with the standard uncertainties of either: `own`, of
    the part itself, and `session`, shared by the parts of its session. Arrays of shape (m,); NaN where not reached.

    `run`: number of the result it came from; sessions of one name are the same only within a run. `split`: own and
    session are told apart (False: an older result, `own` holds both).
    """

    part: str
    lot: str
    type: str
    polarity: str
    session: str | None
    run: int
    ic: Floats
    ln_hfe: Floats
    vbe: Floats
    own: tuple[Floats, Floats]
    shared: tuple[Floats, Floats]
    split: bool

    @property
    def label(self) -> str:
        """Lot and name."""
        return self.part if self.part.startswith(self.lot) else f"{self.lot}/{self.part}"


@dataclass(frozen=True, slots=True)
class Stock:
    """Parts that may be matched, in one order whatever the order of files; parts left out with the reason.

    `accepted`, `judged`: how many were accepted of those with a disposition, in the lots used.
    """

    parts: tuple[PartCurves, ...]
    left_out: tuple[Unmatched, ...]
    accepted: int
    judged: int


def collect(
    runs: Sequence[tuple[str, Screening]],
    polarity_of: Callable[[str], str | None],
    *,
    held: bool = False,
    lots: Iterable[str] = (),
) -> Stock:
    """Accepted parts (held ones on request) of one or more results of `screen`.

    Parameters
    ----------
    runs : (file name, result) each
    polarity_of : gives NPN or PNP of a type, None where the type is not known
    held : take held parts too
    lots : only these lots; none: all

    Raises
    ------
    UnusableInput
        Every problem at once: a part in two results, no part to match, a result without curves, a type of unknown
        polarity, a lot that is in no result.
    """
    wanted, problems = set(lots), []
    parts: list[PartCurves] = []
    left_out: list[Unmatched] = []
    seen: dict[tuple[str, str], str] = {}
    accepted = judged = 0
    allowed = ("accept", "hold") if held else ("accept",)
    names = {lot.lot for _, run in runs for lot in run.lots}
    for name in sorted(wanted - names):
        fix = f"lots in these results: {', '.join(sorted(names)) or 'none'}"
        problems.append(Problem("NO_SUCH_LOT", f"no lot {name!r} in these results", fix))
    for number, (file, run) in enumerate(runs):
        used = [lot for lot in run.lots if not wanted or lot.lot in wanted]
        problems += _without_curves(file, used, allowed)
        for lot in used:
            polarity = polarity_of(lot.type) if lot.type else None
            problems += _twice(file, lot, seen)
            placed = [part for part in lot.parts if part.disposition in allowed and part.curves is not None]
            if placed and polarity is None:
                problems.append(_no_polarity(file, lot))
                continue
            for part in lot.parts:
                judged += part.disposition is not None
                accepted += part.disposition == "accept"
                why = _why_not(part, allowed)
                if why:
                    left_out.append(Unmatched(part=part.part, lot=lot.lot, why=why))
                else:
                    parts.append(_curves_of(part, lot, polarity or "", number))
    if not parts and not problems:
        problems.append(_nothing(left_out, held))
    if problems:
        raise UnusableInput(problems)
    parts.sort(key=lambda p: (p.polarity, p.type, p.lot, p.part))
    left_out.sort(key=lambda p: (p.lot, p.part))
    return Stock(tuple(parts), tuple(left_out), accepted, judged)


def _without_curves(file: str, lots: Sequence[LotResult], allowed: tuple[str, ...]) -> list[Problem]:
    parts = [part for lot in lots for part in lot.parts if part.disposition in allowed]
    if not parts or any(part.curves is not None for part in parts):
        return []
    what = "this result holds no curves, so its parts cannot be compared; it was written with --brief"
    return [Problem("NO_CURVES", what, "run `partscreen screen ... --json OUT.json` again without --brief", file)]


def _twice(file: str, lot: LotResult, seen: dict[tuple[str, str], str]) -> list[Problem]:
    problems = []
    for part in lot.parts:
        key = (lot.lot, part.part)
        if key in seen:
            where = "twice in this result" if seen[key] == file else f"in {seen[key]} too"
            what = f"part {part.part} of lot {lot.lot} is {where}"
            fix = "give each result once; if these are two parts, give one of the lots another name and screen it again"
            problems.append(Problem("PART_TWICE", what, fix, file, part=part.part, lot=lot.lot))
        seen.setdefault(key, file)
    return problems


def _no_polarity(file: str, lot: LotResult) -> Problem:
    what = f"lot {lot.lot}: whether {lot.type or 'a part of no stated type'} is NPN or PNP is not known"
    return Problem("NO_POLARITY", what, "bring the type's figures with --reference FILE.toml", file, lot=lot.lot)


def _nothing(left_out: Sequence[Unmatched], held: bool) -> Problem:
    count: dict[str, int] = {}
    for part in left_out:
        count[part.why] = count.get(part.why, 0) + 1
    told = "; ".join(f"{why} ({n})" for why, n in count.items()) or "the results hold no parts"
    fix = "measure what `screen` asks for and screen again"
    return Problem("NO_PARTS", f"no part to match: {told}", fix if held else f"{fix}, or take held parts with --held")


def _why_not(part: PartResult, allowed: tuple[str, ...]) -> str:
    if part.disposition is None:
        return "not usable"
    if part.disposition not in allowed:
        return {"hold": "held", "reject": "rejected"}.get(part.disposition, part.disposition)
    if part.curves is None or part.fit is None:
        return "no curves: its fit came to no result"
    share = dict(zip(part.fit.names, part.fit.prior_share, strict=True))
    if share.get("is", 0.0) > NOT_SEEN:
        return "VBE was not read"
    if share.get("bf", 0.0) > NOT_SEEN and share.get("leak", 0.0) > NOT_SEEN and share.get("ikf", 0.0) > NOT_SEEN:
        return "hFE was not read"
    hfe, vbe = _array(part.curves.hfe), _array(part.curves.vbe)
    if np.sum(np.isfinite(hfe) & np.isfinite(vbe)) < 2:
        return "its curve has fewer than 2 points"
    return ""


def _array(values: Sequence[float | None] | None) -> Floats:
    return np.array([np.nan if v is None else v for v in values or ()], dtype=float)


def _curves_of(part: PartResult, lot: LotResult, polarity: str, run: int) -> PartCurves:
    curves: Curves | None = part.curves
    assert curves is not None
    hfe, vbe = _array(curves.hfe), _array(curves.vbe)
    split = curves.hfe_own_std is not None and any(v is not None for v in curves.hfe_own_std)
    own_hfe = _array(curves.hfe_own_std if split else curves.hfe_std) / hfe
    own_vbe = _array(curves.vbe_own_std if split else curves.vbe_std)
    shared_hfe = _array(curves.hfe_session_std) / hfe if split else np.zeros(hfe.size)
    shared_vbe = _array(curves.vbe_session_std) if split else np.zeros(hfe.size)
    return PartCurves(
        part.part, lot.lot, lot.type or "", polarity, part.session, run, _array(list(curves.ic)), np.log(hfe), vbe,
        (own_hfe, own_vbe), (shared_hfe, shared_vbe), split,
    )  # fmt: skip
