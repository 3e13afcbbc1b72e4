"""What the page says, put in order: parts grouped by why, tables in rows. No statistics, no markup."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from partscreen.device.parameters import PARAMETERS
from partscreen.report import numbers
from partscreen.report.data import Floats, PartData
from partscreen.results import Fit, LotResult, PartResult, QualityNote, Screening

LONG_LOT = 40  # beyond this, figures only for parts with a reason of their own
MOST_DRAWN = 100  # in a long lot, so many parts have figures, rejected ones first
ENDLESS_LOT = 400  # beyond this, parts without a reason of their own are a line in a list, and no more have a block
NOT_SEEN = 0.8  # share of the prior above which a parameter is not called measured
_WAITING = "NOT_YET_WEIGHED"
# Reasons that say nothing of the one part: they hold whole lots, or are remarks on what was read.
_SHARED = frozenset(
    {
        _WAITING,
        "NO_REFERENCE",
        "NO_POPULATION",
        "LIMITS_NOT_REACHED",
        "CAPACITANCE_NO_REFERENCE",
        "CAPACITANCE_REFERENCE",
    }
)

_HAZARD = re.compile(
    r"br_?c[eb]|br_?ebo|breakdown|avalanche|high voltage|dwell|power|icbo|iceo|ices|icer|icex|v\(br\)", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class PartView:
    """A part with its place on the page."""

    result: PartResult
    anchor: str
    drawn: bool  # with figures
    full: bool  # with a block of its own, else a line in a list

    @property
    def first_reason(self) -> str:
        """The sentence that leads: the first reason's, else the status in words."""
        if self.result.reasons:
            return self.result.reasons[0].sentence
        if self.result.status != "judged":
            return f"Status: {self.result.status.replace('_', ' ')}."
        return "No reason is recorded."


@dataclass(frozen=True, slots=True)
class Group:
    """Parts whose first reason has one code. `sentence` is set where all of them say the same."""

    code: str
    members: tuple[PartView, ...]
    sentence: str | None


@dataclass(frozen=True, slots=True)
class Warned:
    """A quality check and the parts it spoke about."""

    code: str
    notes: tuple[tuple[PartView, QualityNote], ...]


@dataclass(frozen=True, slots=True)
class LotView:
    """A lot, its parts in groups, and the words on top."""

    result: LotResult
    anchor: str
    parts: tuple[PartView, ...]
    counts: dict[str, int] = field(default_factory=dict)

    def with_disposition(self, disposition: str | None) -> tuple[PartView, ...]:
        """The parts of one disposition, in the order of the result."""
        return tuple(p for p in self.parts if p.result.disposition == disposition)

    def groups(self, disposition: str | None) -> tuple[Group, ...]:
        """The parts of one disposition: those that say something of their own first, then those that say the same."""
        alike: dict[tuple[str, str], list[PartView]] = {}
        for part in self.with_disposition(disposition):
            code = part.result.reasons[0].code if part.result.reasons else ""
            alike.setdefault((code, part.first_reason), []).append(part)
        single: dict[str, list[PartView]] = {}
        for (code, _), members in alike.items():
            if len(members) == 1:
                single.setdefault(code, []).extend(members)
        shared = [(c, words, m) for (c, words), m in alike.items() if len(m) > 1]
        shared.sort(key=lambda group: (group[0] in _SHARED, len(group[2])))
        return (
            *(Group(code, tuple(members), None) for code, members in single.items()),
            *(Group(code, tuple(members), words) for code, words, members in shared),
        )

    @property
    def tally(self) -> str:
        """The counts in words: `1 rejected, 11 held`."""
        words = {"reject": "rejected", "hold": "held", "accept": "accepted", "unusable": "not usable"}
        told = [f"{self.counts[key]} {word}" for key, word in words.items() if self.counts.get(key)]
        return ", ".join(told) or "no parts"

    @property
    def tail(self) -> str:
        """What follows for fitting them, from the result itself."""
        accepted = self.with_disposition("accept")
        if not accepted:
            waiting = any(r.code == _WAITING for p in self.parts for r in p.result.reasons)
            return (
                "No part is accepted until the evidence for the marking has been weighed."
                if waiting
                else "No part is accepted."
            )
        clear = sum(p.result.evidence is not None and p.result.evidence <= 0 for p in accepted)
        return f"No evidence of substitution in {clear} of {self.result.n_parts}." if clear else ""

    @property
    def warned(self) -> tuple[Warned, ...]:
        """Quality notes of all parts, by check; not what already stands as the part's first reason."""
        found: dict[str, list[tuple[PartView, QualityNote]]] = {}
        for part in self.parts:
            for note in part.result.quality:
                if note.sentence == part.first_reason:
                    continue
                found.setdefault(note.code, []).append((part, note))
        return tuple(Warned(code, tuple(notes)) for code, notes in found.items())

    @property
    def not_reached(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """Limits that readings did not reach, by the number of parts it happened to, largest first."""
        count = Counter(
            limit
            for part in self.parts
            for limit in {f"{x.symbol} ({x.conditions})": x for x in part.result.limits if x.reached == "not_reached"}
        )
        numbers_of_parts = sorted(set(count.values()), reverse=True)
        return tuple((n, tuple(limit for limit, m in count.items() if m == n)) for n in numbers_of_parts)

    @property
    def judgement(self) -> str:
        """The judgement of the lot in words."""
        return JUDGEMENTS[self.result.judgement]


JUDGEMENTS = {
    "use": "use: nothing speaks against fitting the accepted parts",
    "test_all": "test every part: a sample does not speak for this lot",
    "return": "return: too large a share is judged unfit",
    "undecided": "undecided: the parts do not say which of them are right",
    "no_reference": "no reference: nothing says what the lot as a whole should be",
}


def has_own_reason(part: PartResult) -> bool:
    """Rejected, or held for a reason that is the part's own."""
    if part.disposition == "reject":
        return True
    return part.disposition == "hold" and any(reason.code not in _SHARED for reason in part.reasons)


def lot_views(screening: Screening) -> tuple[LotView, ...]:
    """Every lot of a result, ready for the page. Anchors are numbers: names may hold anything."""
    return tuple(_lot_view(lot, i) for i, lot in enumerate(screening.lots, 1))


def _lot_view(lot: LotResult, number: int) -> LotView:
    long, endless = len(lot.parts) > LONG_LOT, len(lot.parts) > ENDLESS_LOT
    own = [i for i, part in enumerate(lot.parts) if has_own_reason(part)]
    own.sort(key=lambda i: lot.parts[i].disposition != "reject")
    drawn = set(own[:MOST_DRAWN]) if long else set(range(len(lot.parts)))
    full = set(own[:ENDLESS_LOT]) if endless else set(range(len(lot.parts)))
    parts = tuple(PartView(part, f"lot{number}-part{i + 1}", i in drawn, i in full) for i, part in enumerate(lot.parts))
    return LotView(lot, f"lot{number}", parts, dict(Counter(p.disposition or "unusable" for p in lot.parts)))


@dataclass(frozen=True, slots=True)
class ParameterRow:
    """One fitted parameter as printed; `value` None: the readings do not see it."""

    symbol: str
    words: str
    value: str | None
    share: float


_PARAMETERS = {p.name: p for p in PARAMETERS}


def parameter_rows(fit: Fit) -> tuple[ParameterRow, ...]:
    """The fitted parameters; one that hangs on the prior (share above 0.8) carries no value."""
    return tuple(_parameter_row(fit, i, name) for i, name in enumerate(fit.names))


def _parameter_row(fit: Fit, i: int, name: str) -> ParameterRow:
    share, theta = fit.prior_share[i], fit.theta[i]
    known = _PARAMETERS.get(name)
    symbol, words = (known.symbol, known.words) if known else (name, "")
    if share > NOT_SEEN:
        return ParameterRow(symbol, words, None, share)
    variance = fit.covariance[i][i] if fit.covariance else None
    std = None if variance is None or variance < 0 else variance**0.5
    unit = known.unit if known else "1"
    value = numbers.logged(theta, std, unit) if known is None or known.log else numbers.measured(theta, std, unit)
    return ParameterRow(symbol, words, value, share)


def hazard(texts: Iterable[str | None]) -> bool:
    """Whether a proposed measurement involves power, high voltage or breakdown, so that a caution stands beside it."""
    return any(_HAZARD.search(text) for text in texts if text)


def reading_rows(read: PartData) -> tuple[tuple[str, ...], ...]:
    """The readings as text: IC, hFE, VBE, VCE(sat), residuals; what was not read is a dash."""
    gain = zip(
        read.ic, read.hfe, *(_padded(a, read.ic) for a in (read.vbe, read.hfe_residual, read.vbe_residual)), strict=True
    )
    sat = zip(read.sat_ic, read.vce_sat, _padded(read.sat_residual, read.sat_ic), strict=True)
    return (
        *(
            (_cell(ic, "A"), _cell(h, "1", 4), _cell(v, "V", 4), "–", _residuals(hFE=a, VBE=b))
            for ic, h, v, a, b in gain
        ),
        *((_cell(ic, "A"), "–", "–", _cell(v, "V"), _residuals(**{"VCE(sat)": a})) for ic, v, a in sat),
    )


def _padded(values: Floats, like: Floats) -> Floats:
    return values if len(values) == len(like) else np.full(len(like), np.nan)


def _cell(value: float, unit: str, digits: int = 3) -> str:
    return numbers.figure(float(value), unit, digits) if np.isfinite(value) else "–"


def _residuals(**values: float) -> str:
    told = (f"{name} {v:+.1f}".replace("-", numbers.MINUS) for name, v in values.items() if np.isfinite(v))
    return ", ".join(told) or "–"
