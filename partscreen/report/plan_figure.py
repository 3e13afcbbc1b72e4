"""The figure of an operating curve. It arranges ready values and computes no statistics."""

from __future__ import annotations

import numpy as np

from partscreen.report.panels import Label, Line, Mark, Panel, Points, linear_axis
from partscreen.report.svg import panel_svg
from partscreen.results.plan import PlanResult, PlanRisk

_XMLNS = 'xmlns="http://www.w3.org/2000/svg"'
_ROOM = 1.5
_FEW = 40  # so many points are marked one by one: a lot has whole parts


def curve_panel(result: PlanResult) -> Panel | None:
    """Chance of acceptance against the bad share, with the two risks marked; None without a curve."""
    points = result.operating_curve
    if len(points) < 2:
        return None
    share = np.array([p.share for p in points])
    chance = np.array([p.accepted for p in points])
    told = [risk.share for risk in result.risks if risk.share <= share[-1]]
    right = min(1.0, max([float(share[-1]), *(_ROOM * at for at in told)]))  # room for a name beside its point
    x = linear_axis(f"bad share of the lot [%]{_sample_words(result)}", 0.0, right, scale=0.01)
    y = linear_axis("chance that the lot is accepted [%]", 0.0, 1.04, scale=0.01, about=6)
    marks: list[Mark] = [Line(share, chance, 1.2)]
    if points[0].bad_in_lot is not None and len(points) <= _FEW:
        marks.append(Points(share, chance, "disc", 1.0, 2.0, filled=True))
    for risk in result.risks:
        if risk.share <= share[-1]:
            marks += _risk_marks(risk, x.high, result.lot_size)
    return Panel("Operating curve", _words(result), x, y, tuple(marks))


def _sample_words(result: PlanResult) -> str:
    """Lot and sample the curve is for."""
    lot = f", lot of {result.lot_size}" if result.lot_size else ", lot of very many"
    sample = f", {'at most ' if result.sequence else ''}{result.sample_size} tested"
    allowed = "" if result.acceptance_number is None else f", {result.acceptance_number} bad allowed"
    return f"{lot}{sample}{allowed}"


def _risk_marks(risk: PlanRisk, right: float, lot_size: int | None) -> list[Mark]:
    """Where the risk is read off: a diamond on the curve and its name beside it."""
    at = risk.bad_in_lot / lot_size if risk.bad_in_lot is not None and lot_size else risk.share
    height = risk.chance if risk.whose == "consumer" else 1.0 - risk.chance
    name = f"{risk.whose}'s risk"
    beyond = at > 0.7 * right
    nudge = -0.02 * right if beyond else 0.02 * right
    # Above the curve on its way down, where there is room.
    label = Label(at + nudge, min(height + 0.05, 1.0), name, "end" if beyond else "start")
    return [Points(np.array([at]), np.array([height]), "diamond", 1.0, 3.6), label]


def _words(result: PlanResult) -> str:
    told = [
        f"{risk.whose.capitalize()}'s risk {100 * risk.chance:.3g} % at {100 * risk.share:.3g} % bad."
        for risk in result.risks
    ]
    return " ".join(["Chance of acceptance against the bad share of the lot.", result.sentence, *told])


def curve_svg(result: PlanResult, identity: str = "operating-curve") -> str | None:
    """The figure as the text of an SVG file; None without a curve."""
    panel = curve_panel(result)
    if panel is None:
        return None
    figure = panel_svg(panel, identity, 360.0, 240.0)
    font = 'font-family="sans-serif" font-size="11" '
    return figure.replace("<svg ", f"<svg {_XMLNS} {font}", 1) + "\n"
