"""Which library types can take an obsolete type's place: every rating compared, cautions before the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from partscreen import __version__
from partscreen.errors import UnusableInput
from partscreen.reference.library import Library
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import ReferenceType
from partscreen.reference.wording import figure_text
from partscreen.results.stage import CheckOutcome, RatingComparison, Replacement, ReplaceResult, StageCheck
from partscreen.stage.devices import Side
from partscreen.stage.judge import CAUTIONS, check_side
from partscreen.stage.model import Stage
from partscreen.stage.package import package_caution
from partscreen.stage.safe_area import lines_of, lowest, permitted, pulses_of, ratings_of
from partscreen.stage.stress import COLD

CLOSE = 0.10
"""A rating short by no more than this is marginal, more is not ok (assumption: sheets of one type number differ by
about as much from maker to maker; IC of 15 or 16 A, RthJC of 1.67 or 1.92 degC/W)."""
FASTER = 2.0
"""A transition frequency this many times higher asks for a look with the oscilloscope (assumption: compensation of an
old amplifier has seldom more than a factor two in hand)."""
NEAR = 0.8
"""A printed gain at a current this little below the one asked for is told, as marginal at best (assumption: gain falls
by some percent from there on)."""
DECIDING = ("VCEO", "IC", "PC", "hFE", "safe area")
"""What decides the verdict without a stage; the other figures are told and count in the order of equals."""
ORDER: tuple[CheckOutcome, ...] = ("not_ok", "not_known", "marginal", "ok")
"""Worst first. A figure that is not known weighs more than one that barely holds: nothing unknown is taken as safe."""
LARGER_IS_BETTER = (
    ("VCEO", "V", "collector-emitter voltage, base open"),
    ("VCBO", "V", "collector-base voltage"),
    ("VEBO", "V", "emitter-base voltage"),
    ("IC", "A", "collector current"),
    ("ICM", "A", "peak collector current"),
    ("IB", "A", "base current"),
    ("PC", "W", "dissipation at 25 degC case"),
    ("TJ", "degC", "highest junction temperature"),
)
SAFE_AREA_SHARES = (0.25, 0.5, 0.75)
"""Where safe areas are compared: these shares of the old type's VCEO."""


@dataclass(frozen=True, slots=True)
class _Pair:
    old: ReferenceType
    new: ReferenceType
    group: str | None


def replacements(
    printed: str, library: Library, stage: Stage | None = None, *, most: int | None = None
) -> ReplaceResult:
    """Library types of the same polarity and construction, ranked as replacements.

    Parameters
    ----------
    printed : type number or print of the obsolete type
    library : Library
    stage : the stage it stands in; then each candidate is also put through the stage's checks in its place
    most : keep so many candidates; None: all

    Raises
    ------
    UnknownType
        The obsolete type is not in the library.
    UnusableInput
        The stage holds another type on that side.
    """
    found = library.find(printed)
    old = found.type
    group = found.gain_group
    if stage is not None:
        _must_hold(stage, library, old)
        group = group or stage.stage.gain_group
    same = [
        kind
        for kind in library
        if kind.name != old.name
        and kind.polarity == old.polarity
        and kind.device.construction == old.device.construction
    ]
    drafts = [_candidate(_Pair(old, kind, group), library, stage) for kind in same]
    drafts.sort(key=_order)
    ranked = [draft.model_copy(update={"rank": rank}) for rank, draft in enumerate(drafts, 1)]
    complement = old.device.complement or None
    return ReplaceResult(
        version=__version__, type=old.name, polarity=old.polarity, complement=complement,
        cautions=_general_cautions(old), candidates=ranked[:most],
    )  # fmt: skip


def _must_hold(stage: Stage, library: Library, old: ReferenceType) -> None:
    from partscreen.errors import Problem, UnknownType

    side = stage.stage.npn if old.polarity == "NPN" else stage.stage.pnp
    try:
        held = library.find(side).type.name
    except UnknownType:
        held = side
    if held != old.name:
        what = f"the stage holds {held} as {old.polarity}, the type to replace is {old.name}"
        raise UnusableInput([Problem("OTHER_TYPE", what, "name the type that the stage holds", column="stage")])


def _general_cautions(old: ReferenceType) -> list[str]:
    partner = f" ({old.device.complement})" if old.device.complement else ""
    return [
        *CAUTIONS[:2],
        "Replace both halves: a new type on one side needs its own complement on the other, and all devices of a bank "
        f"of one type and lot. The complement of {old.name}{partner} goes with it.",
        "A faster device can make an old amplifier oscillate: look with an oscilloscope, no load, current limited, "
        "before it gets a loudspeaker.",
        "Compare pins, package and insulator with the sheets before you solder; another case may sit badly on the heat "
        "sink.",
        "Ratings are no promise for one part: screen the parts before they are fitted.",
        "A rating below that of the old type may do in your amplifier, and an equal one may not: give the stage file.",
    ]


def _order(draft: Replacement) -> tuple[int, int, int, int, float, str]:
    counts = [sum(row.result == result for row in draft.ratings) for result in ("not_ok", "marginal")]
    spare = [
        row.has / row.wanted for row in draft.ratings if row.symbol in ("VCEO", "IC", "PC") and row.has and row.wanted
    ]
    # Of equals, the nearest in ratings: a type far above is another, usually slower or dearer, kind of part.
    distance = sum(abs(ratio - 1.0) for ratio in spare)
    doubts = counts[1] + len(draft.unknown)
    return (-ORDER.index(draft.verdict), counts[0], len(draft.cautions), doubts, distance, draft.type)


def _candidate(pair: _Pair, library: Library, stage: Stage | None) -> Replacement:
    rows = [
        *(_rating(pair, *row) for row in LARGER_IS_BETTER),
        _thermal(pair),
        *_gains(pair),
        *_safe_areas(pair),
        _speed(pair),
        _capacitance(pair),
    ]
    rows = [row for row in rows if row.wanted is not None or row.has is not None or row.symbol == "safe area"]
    checks = _in_stage(pair, library, stage)
    unknown = [
        f"{row.symbol}{f' at {row.conditions}' if row.conditions else ''}" for row in rows if row.result == "not_known"
    ]
    deciding = [row.result for row in rows if row.symbol in DECIDING] if stage is None else []
    verdict = _worst([*deciding, *(check.result for check in checks)])
    return Replacement(
        type=pair.new.name, rank=0, verdict=verdict, complement=pair.new.device.complement or None,
        cautions=_cautions(pair, library), ratings=rows, unknown=unknown, stage=checks,
        why=_why(rows, checks, verdict, stage is not None),
    )  # fmt: skip


def _worst(found: Sequence[CheckOutcome]) -> CheckOutcome:
    for result in ORDER:
        if result in found:
            return result
    return "ok"


def _why(rows: Sequence[RatingComparison], checks: Sequence[StageCheck], verdict: CheckOutcome, in_stage: bool) -> str:
    if in_stage:
        failing = [f"{c.code} ({c.about})" for c in checks if c.result == verdict]
    else:
        failing = [
            f"{r.symbol}{f' at {r.conditions}' if r.conditions else ''}"
            for r in rows
            if r.result == verdict and r.symbol in DECIDING
        ]
    if verdict == "ok":
        return "nothing falls short in the stage" if in_stage else "no rating that decides falls short"
    return ", ".join(dict.fromkeys(failing))


def _compare(
    symbol: str, words: str, unit: str, wanted: float | None, has: float | None, conditions: str = "",
    *, smaller_is_better: bool = False,
) -> RatingComparison:  # fmt: skip
    result: CheckOutcome
    if wanted is None:
        result, sentence = "ok", "the old type prints no figure"
    elif has is None:
        result, sentence = "not_known", "the library holds no figure for the candidate"
    else:
        short = has / wanted - 1.0 if smaller_is_better else 1.0 - has / wanted
        result = "ok" if short <= 1e-9 else "marginal" if short <= CLOSE else "not_ok"
        direction = "above" if has > wanted else "below" if has < wanted else "equal to"
        sentence = f"{figure_text(has, unit)}, {direction} {figure_text(wanted, unit)}"
    return RatingComparison(
        symbol=symbol, words=words, unit=unit, wanted=wanted, has=has, conditions=conditions, result=result,
        sentence=sentence,
    )  # fmt: skip


def _rating(pair: _Pair, symbol: str, unit: str, words: str) -> RatingComparison:
    # Against the old type's largest printed rating the candidate's lowest: safe whichever edition is at hand.
    return _compare(symbol, words, unit, pair.old.rating(symbol), lowest(pair.new, symbol))


def _thermal(pair: _Pair) -> RatingComparison:
    old, new = pair.old.ratings_of("RTHJC"), pair.new.ratings_of("RTHJC")
    wanted = min((r.value for r in old), default=None)
    has = max((r.value for r in new), default=None)
    words = "thermal resistance, junction to case"
    return _compare("RTHJC", words, "degC/W", wanted, has, smaller_is_better=True)


def _gains(pair: _Pair) -> list[RatingComparison]:
    """The old type's printed minima of hFE, each against the candidate's minimum at the next higher current."""
    out = []
    for row in limits(pair.old, None, pair.group):
        if row.symbol != "hFE" or row.side != "min" or not row.is_limit:
            continue
        ic = row.conditions["IC"]
        theirs = [r for r in limits(pair.new) if r.symbol == "hFE" and r.side == "min" and r.is_limit]
        nearest = _row_at(theirs, ic)
        at = f"IC={ic:g} A" + (f", group {row.gain_group}" if row.gain_group else "")
        there = ic if nearest is None else nearest.conditions["IC"]
        compared = _compare("hFE", "least gain", "1", row.value, None if nearest is None else nearest.value, at)
        if abs(there / ic - 1.0) > 1e-3:
            told = f"{compared.sentence}; the candidate's is printed at {there:g} A"
            compared = compared.model_copy(update={"sentence": told})
        if compared.result == "not_ok" and there > 1.5 * ic:
            # A minimum at a much higher current is no statement about this one: gain falls in between.
            compared = compared.model_copy(update={"result": "not_known"})
        if compared.result == "ok" and there < ic * 0.999:
            compared = compared.model_copy(update={"result": "marginal"})
        out.append(compared)
    return out


def _row_at(rows: Sequence[Limit], ic: float) -> Limit | None:
    """The row at the next higher current; else the one at the next lower, down to NEAR of it."""
    above = [row for row in rows if row.conditions["IC"] >= ic * 0.999]
    if above:
        return min(above, key=lambda row: (row.conditions["IC"], row.value))
    below = [row for row in rows if row.conditions["IC"] >= NEAR * ic]
    return max(below, key=lambda row: (row.conditions["IC"], -row.value), default=None)


def _safe_areas(pair: _Pair) -> list[RatingComparison]:
    """Dc safe areas at 25 degC case, at shares of the old type's VCEO; one row where a dc line is missing."""
    words, vceo = "dc safe area, 25 degC case", ratings_of(pair.old).vceo
    lines = [(kind.name, lines_of(kind, None)) for kind in (pair.old, pair.new)]
    without = [name for name, found in lines if not found]
    beside = _pulse_areas(pair)
    if without or vceo is None:
        sentence = f"the library holds no dc line of {' and '.join(without) or pair.old.name}; give the stage file"
        unknown = RatingComparison(
            symbol="safe area", words=words, unit="A", wanted=None, has=None, result="not_known", sentence=sentence
        )
        return [unknown, *beside]
    volts = [share * vceo for share in SAFE_AREA_SHARES]
    both = (permitted(kind, None, volts, COLD).current for kind in (pair.old, pair.new))
    return [
        _compare("safe area", words, "A", _figure(old), _figure(new), f"VCE={vce:.3g} V")
        for vce, old, new in zip(volts, *both, strict=True)
    ]


def _pulse_areas(pair: _Pair) -> list[RatingComparison]:
    """The longest pulse for which both types have lines, told beside a missing dc line; it decides nothing."""
    common = set(pulses_of(pair.old)) & set(pulses_of(pair.new))
    vceo = ratings_of(pair.old).vceo
    if not common or vceo is None:
        return []
    pulse = max(common)
    # Below the first printed corner a line is carried on, not printed: nothing is compared there.
    first = max(line.points[0][0] for kind in (pair.old, pair.new) for line in lines_of(kind, pulse))
    volts = [share * vceo for share in SAFE_AREA_SHARES if share * vceo >= first]
    both = [permitted(kind, pulse, volts, COLD).current for kind in (pair.old, pair.new)]
    return [
        _compare(f"safe area {pulse:g} s", "pulse safe area, 25 degC case", "A", wanted, has, f"VCE={vce:.3g} V")
        for vce, old, new in zip(volts, *both, strict=True)
        if (wanted := _figure(old)) is not None and (has := _figure(new)) is not None
    ]


def _figure(value: float) -> float | None:
    return None if value != value else float(f"{value:.4g}")


def transition_frequency(kind: ReferenceType) -> float | None:
    """Printed fT [Hz]: the typical value, else the minimum, the largest of them; None where no sheet prints it."""
    rows = [c.typ or c.min for c in kind.characteristics if c.symbol == "fT"]
    return max((value for value in rows if value is not None), default=None)


def _speed(pair: _Pair) -> RatingComparison:
    old, new = transition_frequency(pair.old), transition_frequency(pair.new)
    row = _compare("fT", "transition frequency (typical or least)", "Hz", old, new)
    if old and new and row.result != "ok":
        # Slower is no shortfall of a rating: it may cost bandwidth.
        row = row.model_copy(update={"result": "marginal"})
    return row


def _capacitance(pair: _Pair) -> RatingComparison:
    def largest(kind: ReferenceType) -> float | None:
        rows = [c.typ or c.max for c in kind.characteristics if c.symbol == "C_CB"]
        return max((value for value in rows if value is not None), default=None)

    row = _compare(
        "C_CB", "collector-base capacitance (typical or largest)", "F", largest(pair.old), largest(pair.new),
        smaller_is_better=True,
    )  # fmt: skip
    return row.model_copy(update={"result": "marginal"}) if row.result == "not_ok" else row


def _cautions(pair: _Pair, library: Library) -> list[str]:
    """What to look out for with this candidate, beside its ratings."""
    old, new = transition_frequency(pair.old), transition_frequency(pair.new)
    out = []
    if old and new and new >= FASTER * old:
        out.append(
            f"Faster: fT {figure_text(new, 'Hz')} in place of {figure_text(old, 'Hz')}. It may oscillate where the old "
            "type did not."
        )
    elif old and new and old >= FASTER * new:
        out.append(
            f"Slower: fT {figure_text(new, 'Hz')} in place of {figure_text(old, 'Hz')}; compensation may not fit."
        )
    elif not (old and new):
        out.append("Speed not known: fT is not printed for both types. Look for oscillation.")
    package = package_caution(pair.old, pair.new)
    if package:
        out.append(package)
    partner = pair.new.device.complement
    if not partner:
        out.append("No complement is known in the library: the other half cannot be replaced to match.")
    elif partner not in library:
        out.append(f"Its complement {partner} is not in the library.")
    elif partner != pair.old.device.complement:
        out.append(f"Its complement is {partner}: fit that on the other side too.")
    if pair.new.ratings and all(pair.new.basis(r.source) == "memory" for r in pair.new.ratings):
        out.append("All its figures are recalled, not read in a sheet: find the sheet before you buy.")
    if pair.new.device.role and pair.old.device.role and pair.new.device.role != pair.old.device.role:
        out.append(f"Sold as {pair.new.device.role}, the old type as {pair.old.device.role}.")
    return out


def _in_stage(pair: _Pair, library: Library, stage: Stage | None) -> list[StageCheck]:
    """The stage's checks with the candidate in the old type's place, and its complement on the other side.

    Gain groups are left out: they are names of one type's sheet.
    """
    if stage is None:
        return []
    checks = check_side(stage, Side(pair.new, None))
    partner = pair.new.device.complement
    if partner and partner in library:
        checks += check_side(stage, Side(library.type(partner), None))
    return checks
