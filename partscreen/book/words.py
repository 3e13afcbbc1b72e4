"""Entries in plain words: one sentence each, the same on every page, command and export."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from partscreen.book.entries import (
    ApprovalKept,
    BiasKept,
    CorrectionKept,
    FittedKept,
    KitCheckKept,
    MatchKept,
    ObservationKept,
    OutcomeKept,
    OverrideKept,
    PartKept,
    Payload,
    QuarantineKept,
    RetestKept,
    ScreeningKept,
    StressKept,
)
from partscreen.quantities import ZERO_CELSIUS

OUTCOME_WORDS = {
    "passed_soak": "passed the soak",
    "failed_first_power_up": "failed at first power-up",
    "failed_after": "failed in service",
    "returned": "returned to the supplier",
    "refunded": "refunded by the supplier",
    "taken_out": "taken out, no failure",
}
CAUSE_WORDS = {"part": "cause: the part", "stage": "cause: the stage", "not_known": "cause not known"}
STRESS_WORDS = {
    "avalanche_base_emitter": "base-emitter junction driven into breakdown",
    "breakdown": "collector breakdown read",
    "dwell": "power dwell",
}
DISPOSITION_WORDS = {"accept": "accepted", "hold": "held", "reject": "rejected", None: "not usable"}


def sentence(payload: Payload) -> str:
    """What an entry says, in one line, without the place it speaks of."""
    tell = _TELL.get(type(payload))
    return tell(payload) if tell else type(payload).__name__.removesuffix("Kept").lower()


def _by(one: Any) -> str:
    return f", by {one.by}" if one.by else ""


def _note(one: Any) -> str:
    return f": {one.note}" if one.note else ""


def _screening(one: ScreeningKept) -> str:
    share = one.share_unfit
    bits = [f"judged: {one.judgement.replace('_', ' ')}"]
    if share and share.low is not None and share.high is not None:
        bits.append(f"share unfit {share.low:.0%} to {share.high:.0%} (95 %)")
    again = "; old readings judged again" if one.rescreened else ""
    return f"{'; '.join(bits)}; partscreen {one.versions.program}, library {one.versions.library[:8]}{again}"


def _part(one: PartKept) -> str:
    why = f": {one.result.reasons[0].sentence}" if one.result.reasons else ""
    return f"{DISPOSITION_WORDS[one.result.disposition]}{why}"


def _override(one: OverrideKept) -> str:
    was = DISPOSITION_WORDS[one.original]
    return f"{DISPOSITION_WORDS[one.disposition]} by {one.by} though {was} by the readings: {one.reason}"


def _approval(one: ApprovalKept) -> str:
    return f"{one.by} {'agrees' if one.agrees else 'does not agree'} with the override of entry {one.of}{_note(one)}"


def _quarantine(one: QuarantineKept) -> str:
    why = f": {one.reason}" if one.reason else ""
    if one.released:
        return f"released from quarantine{why}{_by(one)}"
    return f"set aside in {one.place}{why}{_by(one)}"


def _match(one: MatchKept) -> str:
    place = f", place {one.position}" if one.position else ""
    return f"in set {one.set}{place}, with {', '.join(part for _, _, part in one.beside) or 'no other part'}"


def _fitted(one: FittedKept) -> str:
    channel = f", channel {one.channel}" if one.channel else ""
    return f"fitted on {one.on} in job {one.job}{channel}, position {one.position}{_by(one)}"


def _bias(one: BiasKept) -> str:
    bits = [f"{one.volts * 1e3:.4g} mV"]
    if one.resistor:
        bits.append(f"across {one.resistor:.3g} ohm ({one.volts / one.resistor * 1e3:.3g} mA)")
    if one.minutes is not None:
        bits.append(f"{one.minutes:g} min after power-up")
    if one.ambient is not None:
        bits.append(f"{one.ambient - ZERO_CELSIUS:.3g} degC around")
    return f"bias at {one.position} on {one.on}: {', '.join(bits)}{_by(one)}"


def _outcome(one: OutcomeKept) -> str:
    days = f" after {one.days} days" if one.days is not None else ""
    where = f" in job {one.job}" if one.job else ""
    cause = f", {CAUSE_WORDS[one.cause]}" if one.cause else ""
    return f"{OUTCOME_WORDS[one.what]}{days}{where} on {one.on}{cause}{_note(one)}{_by(one)}"


def _observation(one: ObservationKept) -> str:
    photos = f" ({len(one.blobs)} photo{'s' if len(one.blobs) != 1 else ''})" if one.blobs else ""
    return f"seen on {one.on}: {one.text}{photos}{_by(one)}"


def _stress(one: StressKept) -> str:
    bits = [
        f"{value:.4g} {unit}"
        for value, unit in ((one.current, "A"), (one.volts, "V"), (one.seconds, "s"))
        if value is not None
    ]
    end = {True: ", survived", False: ", did not survive", None: ""}[one.survived]
    return f"{STRESS_WORDS[one.what]} on {one.on}{': ' if bits else ''}{', '.join(bits)}{end}{_note(one)}{_by(one)}"


def _kit_check(one: KitCheckKept) -> str:
    return f"kit {one.kit} checked on {one.on}: {'good' if one.good else 'not good'}{_note(one)}{_by(one)}"


def _correction(one: CorrectionKept) -> str:
    if one.reading is None:
        return f"corrects entry {one.supersedes}: {one.reason}{_by(one)}"
    cell = one.reading
    return (
        f"corrects {cell.file}, row {cell.row}, column {cell.column}: {cell.was!r} is to read {cell.now!r}: "
        f"{one.reason}{_by(one)}"
    )


def _retest(one: RetestKept) -> str:
    return f"read again on {one.on}: {one.sentence}"


_TELL: dict[type[Payload], Callable[[Any], str]] = {
    ScreeningKept: _screening,
    PartKept: _part,
    OverrideKept: _override,
    ApprovalKept: _approval,
    QuarantineKept: _quarantine,
    MatchKept: _match,
    FittedKept: _fitted,
    BiasKept: _bias,
    OutcomeKept: _outcome,
    ObservationKept: _observation,
    StressKept: _stress,
    KitCheckKept: _kit_check,
    CorrectionKept: _correction,
    RetestKept: _retest,
}
