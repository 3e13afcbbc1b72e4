"""Fuses found against fuses specified, and against the currents they carry."""

from __future__ import annotations

from partscreen.results.stage import CheckOutcome, StageCheck
from partscreen.stage.conditions import lowest_impedance, not_known
from partscreen.stage.model import Fuse, Stage

CONTINUOUS = 0.75
"""A fuse carries three quarters of its rating for years; above that it ages (common practice, no source)."""
BURST = {"FF": 2.75, "F": 2.75, "M": 4.0, "T": 10.0, "TT": 10.0}
"""Peak over rating a fuse passes for a bass half-cycle: the shortest opening times printed for F are 10 ms at 2.75
times, for T 20 ms at 10 times its rating (IEC 60127-2, memory). FF is taken as F, M between the two, TT as T
(assumption: to the safe side)."""
_SPEED = {"FF": 0, "F": 1, "M": 2, "T": 3, "TT": 4}


def _print(rating: float, time_class: str | None) -> str:
    return f"{time_class} {rating:g} A" if time_class else f"{rating:g} A"


def check_fuses(stage: Stage) -> list[StageCheck]:
    """Every fuse of the file: its print against the specified one, its current against its rating."""
    if not stage.fuses:
        return [not_known("FUSE_RATING", "fuses", ["fuses"], "Look at every fuse before power: rating and time class.")]
    checks = []
    for fuse in stage.fuses:
        checks += [_against_specified(fuse), _against_current(stage, fuse)]
    return checks


def _against_specified(fuse: Fuse) -> StageCheck:
    """A fuse above its specified rating, or slower than specified, no longer protects."""
    code = "FUSE_RATING"
    found = _print(fuse.found, fuse.found_class)
    if fuse.specified is None:
        return not_known(code, fuse.place, ["the specified fuse"], f"Found: {found}.", value=fuse.found, unit="A")
    wanted = _print(fuse.specified, fuse.specified_class)
    both = fuse.found_class is not None and fuse.specified_class is not None
    slower = 0 if not both else _SPEED[fuse.found_class or ""] - _SPEED[fuse.specified_class or ""]
    result: CheckOutcome = "ok"
    words = "as specified"
    if fuse.found > fuse.specified:
        result, words = "not_ok", "above the specified rating: put it right before anything else is judged"
    elif slower > 0:
        result, words = "not_ok", "slower than specified: put it right before anything else is judged"
    elif fuse.found < fuse.specified or slower < 0:
        result, words = "marginal", "weaker or faster than specified: it may open without a fault"
    elif fuse.specified_class is not None and not both:
        result, words = "not_known", "its time class is not known: read the print on the cap"
    return StageCheck(
        code=code, about=fuse.place, result=result, value=fuse.found, limit=fuse.specified, unit="A",
        margin=1.0 - fuse.found / fuse.specified, sentence=f"Found {found}, specified {wanted}: {words}.",
        source="common practice, no source; the rating on the chassis or in the service manual decides",
    )  # fmt: skip


def _against_current(stage: Stage, fuse: Fuse) -> StageCheck:
    """Rms and peak current at full sine output into the nominal load against the rating that belongs there."""
    code = "FUSE_CURRENT"
    if fuse.carries == "mains":
        words = "Its current is that of the transformer: inrush and charging pulses do not follow from the stage file."
        return not_known(code, fuse.place, ["the transformer"], words)
    rails, impedance = stage.rails.loaded, stage.load.resistance or lowest_impedance(stage.load)
    needed = {"carries": fuse.carries or None, "rails.loaded": rails, "load.resistance": impedance}
    missing = [name for name, value in needed.items() if value is None]
    if missing or rails is None or impedance is None:
        return not_known(code, fuse.place, missing)
    peak = rails.highest / impedance
    rms = peak / 2.0 if fuse.carries == "rail" else peak / 2.0**0.5
    rating, time_class = fuse.found, fuse.found_class
    if fuse.specified is not None:
        rating, time_class = fuse.specified, fuse.specified_class or fuse.found_class
    words = f"{rms:.3g} A rms and {peak:.3g} A peak at full sine into {impedance:g} ohm"
    figures: dict[str, float | int | str | None] = {"rms": rms, "peak": peak, "time_class": time_class}
    if rms > rating:
        result: CheckOutcome = "not_ok"
        words += f": opens on a full sine, rated {rating:g} A"
    elif time_class is None:
        return not_known(code, fuse.place, ["its time class"], f"{words}.", value=rms, unit="A", figures=figures)
    elif peak > BURST[time_class] * rating:
        result = "marginal"
        words += f": bass peaks above {BURST[time_class]:g} times its rating of {rating:g} A may open it"
    else:
        result = "marginal" if rms > CONTINUOUS * rating else "ok"
        words += f", rated {_print(rating, time_class)}" + (", above three quarters of it" if result != "ok" else "")
    return StageCheck(
        code=code, about=fuse.place, result=result, value=rms, limit=rating, unit="A", margin=1.0 - rms / rating,
        sentence=f"{words}.", figures=figures,
        source="rms of half-waves half the peak, of a sine 0.707 (derived); three quarters: common practice, no "
        "source; peaks: IEC 60127-2, memory",
    )  # fmt: skip
