"""Evidence in words: one sentence in odds, area ratio and reach first; the figures behind it."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from math import fsum  # correctly rounded, and so alike in every Python; sum changed in 3.12

import numpy as np

from partscreen.results import Hypothesis, Interval, ReadingEvidence, Reason, Unseen, made
from partscreen.screening.disposition import Rule
from partscreen.screening.evidence.linear import ORDER
from partscreen.screening.outliers.parts import UNLIKE
from partscreen.screening.weighing import WeighedLot
from partscreen.screening.without_power.die_edges import READING as DIE_EDGES

LEAST_PROBABILITY = 1e-3  # hypotheses below it are printed as one line, "all others"
CLEAR_POWER = 0.9  # an alternative these readings would have shown in nine of ten such parts is not listed as unseen
EVEN = 0.4  # natural log; odds below three to two are told as even (assumption)
DECIDES_NOTHING = 1.0  # natural log; within this of zero the readings decide nothing either way (assumption)


def odds_text(evidence: float) -> str:
    """ "about 300 times", from a natural log of either sign; more than a million is not told apart."""
    ratio = float(np.exp(min(abs(evidence), 20.0)))
    if ratio > 1e6:
        return "more than a million times"
    digits = int(np.floor(np.log10(ratio)))
    rounded = round(ratio, -digits) if ratio >= 10 else round(ratio)
    return f"about {rounded:,.0f} times"


_ALTERNATIVE_WORDS = (
    ("die area", "the die is {size} than the type's"),
    ("die of", "it is a {name}"),
    ("gain", "its gain is another than the lot's"),
    ("base-emitter leak", "its base-emitter junction leaks"),
    ("bond", "a bond or contact inside has too much resistance"),
    ("lower voltage grade", "it is of a lower voltage grade"),
    ("unlike", "it is unlike any known part"),
)


@lru_cache(maxsize=1024)
def explanation(name: str) -> str:
    """A hypothesis as half a sentence."""
    for start, words in _ALTERNATIVE_WORDS:
        if name.startswith(start):
            size = "smaller" if "die area 0" in name else "larger"
            return words.format(size=size, name=name)
    return name


def leading(of: WeighedLot, part: int) -> tuple[str, str]:
    """Name and kind of the likeliest way in which the part is not as marked, alike ones taken together."""
    weighed = of.evidence.weighed
    p = weighed.probability[part].tolist()
    alike = _alike(weighed.names)
    words = max(alike, key=lambda w: fsum(p[h] for h in alike[w]))
    return words, weighed.names[max(alike[words], key=lambda h: p[h])]


@lru_cache(maxsize=64)
def _alike(names: tuple[str, ...]) -> dict[str, list[int]]:
    """Numbers of the hypotheses besides "as marked" by the half sentence that tells them."""
    out: dict[str, list[int]] = {}
    for h, name in enumerate(names[1:], start=1):
        out.setdefault(explanation(name), []).append(h)
    return out


def unexplained(of: WeighedLot, part: int) -> bool:
    """No hypothesis explains an outlying part, and the leading one says so: held, whatever its evidence."""
    return bool(of.outliers.flagged[part]) and leading(of, part)[1].startswith(UNLIKE)


def area_text(area: Interval) -> str:
    """ "die area 0.52 of the type's (0.45 to 0.60)"."""
    return f"die area {area.value:.2f} of the type's ({area.low:.2f} to {area.high:.2f})"


def area_of(of: WeighedLot, part: int) -> Interval:
    """Die area ratio with its 95 % interval."""
    ln, sd = float(of.evidence.area.ln[part]), float(of.evidence.area.sd[part])
    low, high = float(np.exp(ln - 1.96 * sd)), float(np.exp(ln + 1.96 * sd))
    return made(Interval, value=float(np.exp(ln)), low=low, high=high)


def hypotheses_of(of: WeighedLot, part: int) -> list[Hypothesis]:
    """The likely ones, the rest as one; they sum to 1."""
    weighed = of.evidence.weighed
    order = np.argsort(-weighed.probability[part]).tolist()
    p = weighed.probability[part].tolist()
    shown = [h for h in order if p[h] >= LEAST_PROBABILITY or h == 0]
    out = [made(Hypothesis, name=weighed.names[h], probability=p[h]) for h in shown]
    rest = 1.0 - fsum(one.probability for one in out)
    return [*out, made(Hypothesis, name="all others", probability=max(rest, 0.0))]


def by_reading(of: WeighedLot, part: int) -> list[ReadingEvidence]:
    """Evidence each kind of reading adds after those before it; kinds the part has no reading of are left out."""
    terms, read = of.evidence.weighed.by_reading[part].tolist(), of.evidence.read[part].tolist()
    out = [
        made(ReadingEvidence, reading=name, evidence=term)
        for name, term, was_read in zip(ORDER, terms, read, strict=True)
        if was_read
    ]
    if of.edge_term is not None and np.isfinite(of.edge_term[part]):
        out.append(made(ReadingEvidence, reading=DIE_EDGES, evidence=float(of.edge_term[part])))
    if of.seen_term is not None and np.isfinite(of.seen_term[part]):
        out.append(made(ReadingEvidence, reading="observations", evidence=float(of.seen_term[part])))
    return out


def unseen(of: WeighedLot, part: int) -> list[Unseen]:
    """Alternatives that fewer than nine in ten such parts would have shown, with the power against each."""
    power = of.evidence.power[part].tolist()
    return [
        made(Unseen, alternative=name, power=p)
        for name, p in zip(of.evidence.alternatives, power, strict=True)
        if p < CLEAR_POWER and not name.endswith("other process")
    ]


def reason_for(of: WeighedLot, part: int, reach: float, *, alone: bool, rule: Rule) -> Callable[[str], Reason]:
    """Reasons by outcome, made when asked for."""
    weighed = of.evidence.weighed
    evidence, p = float(weighed.evidence[part]), float(weighed.probability_unfit[part])

    def say(outcome: str) -> Reason:
        if outcome in ("against", "undecided"):
            return against(of, part, evidence, p, decided=outcome == "against")
        if outcome == "short_reach":
            return short_reach(evidence, reach, rule.reach, alone=alone)
        if outcome == "risky":
            return not_sure(evidence, p, rule.most_probability)
        return in_favour(of, part, evidence, reach)

    return say


def against(of: WeighedLot, part: int, evidence: float, probability: float, *, decided: bool) -> Reason:
    """The readings speak against the marking: enough to reject, or not."""
    words, name = leading(of, part)
    area = area_of(of, part)
    verdict = "Suspect" if decided else "Undecided"
    sentence = f"{verdict}: these readings are {odds_text(evidence)} likelier if {words}; {area_text(area)}."
    if evidence < EVEN:
        sentence = f"{verdict}: these readings are as likely if {words} as if the part is as marked; {area_text(area)}."
    hints = float(of.seen_term[part]) if of.seen_term is not None else 0.0
    if hints > 0.0:
        sentence = (
            f"{verdict}: readings and looks together are {odds_text(evidence)} likelier if {words}; {area_text(area)}."
        )
        if evidence - hints <= 0.0:
            read = bool(of.evidence.read[part].any())
            measured = (
                "the readings do not speak against the marking" if read else "no reading speaks for or against it"
            )
            sentence = (
                f"{verdict}: {measured}; what was seen without power does, "
                f"a substituted or unfit part is {odds_text(evidence)} likelier. That is a hint, not proof."
            )
    figures: dict[str, float | int | str | None] = {
        "evidence": evidence,
        "probability_unfit": probability,
        "leading": name,
        "area_ratio": area.value,
    }
    return Reason(code="SUSPECT" if decided else "EVIDENCE_AGAINST", sentence=sentence, figures=figures)


def sheets_alone(of: WeighedLot, part: int) -> Reason:
    """Against the marking, but by the data sheets alone: held."""
    evidence = float(of.evidence.weighed.evidence[part])
    words, name = leading(of, part)
    sentence = (
        f"Undecided: by the data sheets alone these readings are {odds_text(evidence)} likelier if {words}; "
        f"{area_text(area_of(of, part))}. How far the sheets are off this type's own parts is not known well enough to "
        "reject by that: two known-good parts read beside it would decide."
    )
    return Reason(code="SHEETS_ALONE", sentence=sentence, figures={"evidence": evidence, "leading": name})


def bulk_near(of: WeighedLot, part: int) -> Reason:
    """Against the marking like most of the lot, but not loudly enough to reject a lot's bulk: held."""
    evidence = float(of.evidence.weighed.evidence[part])
    words, name = leading(of, part)
    sentence = (
        f"Undecided: these readings are {odds_text(evidence)} likelier if {words}, and so are those of most of the "
        f"lot; {area_text(area_of(of, part))}. One error shared by a whole lot could do that: read the known-good "
        "parts and some of these in one sitting, with both capacitances."
    )
    return Reason(code="BULK_NEAR", sentence=sentence, figures={"evidence": evidence, "leading": name})


def in_favour(of: WeighedLot, part: int, evidence: float, reach: float) -> Reason:
    """Accepted: what the accept is worth."""
    odds = f"these readings are {odds_text(evidence)} likelier if the part is as marked"
    if evidence > -EVEN:
        odds = "these readings fit the marking as well as any alternative"
    sentence = (
        f"No evidence of substitution: {odds}, and they would have shown a die below {reach:.2f} of the type's; "
        f"{area_text(area_of(of, part))}."
    )
    return Reason(code="AS_MARKED", sentence=sentence, figures={"evidence": evidence, "reach": reach})


def short_reach(evidence: float, reach: float, wanted: float, *, alone: bool) -> Reason:
    """Nothing speaks against the part, but the readings could not have shown much."""
    against_what = "against the data sheets alone" if alone else "against the rest of the lot"
    sentence = (
        f"Undecided: nothing speaks against the marking, but {against_what} these readings would only have shown a die "
        f"below {_told_apart(reach, wanted)} of the type's; {wanted:.2f} is asked for."
    )
    return Reason(code="REACH_SHORT", sentence=sentence, figures={"evidence": evidence, "reach": reach})


def _told_apart(reach: float, wanted: float) -> str:
    """The reach with as many digits as tell it from what is asked for."""
    return next((told for digits in (2, 3, 4) if float(told := f"{reach:.{digits}f}") != wanted), f"{reach:.5f}")


def not_sure(evidence: float, probability: float, most: float) -> Reason:
    """The readings lean to the marking, but an accept would still be too much of a risk at the stated cost."""
    sentence = (
        f"Undecided: the chance that the part is unfit is still {probability:.1%}; at the stated cost of a bad part an "
        f"accept needs {most:.1%} or less."
    )
    return Reason(code="RISK_OF_ACCEPT", sentence=sentence, figures={"evidence": evidence, "probability": probability})
