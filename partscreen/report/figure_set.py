"""Every figure of a result under a name that can be a file's: lots, parts, match, stage, plan, suppliers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from partscreen.report.data import ReportData
from partscreen.report.figures import capacitance_panels, hfe_panel, sat_panel, short, vbe_panel
from partscreen.report.figures_lot import area_panel, control_panels, groups_panel
from partscreen.report.figures_part import evidence_panel, gain_panel, residual_panel
from partscreen.report.figures_part import sat_panel as part_sat_panel
from partscreen.report.figures_part import vbe_panel as part_vbe_panel
from partscreen.report.figures_stage import crossover_panel, load_line_panel, sharing_panel
from partscreen.report.figures_trust import trust_panels
from partscreen.report.panels import Panel
from partscreen.report.plan_figure import curve_panel
from partscreen.report.view import LotView, PartView, lot_views
from partscreen.results import LotResult, Screening
from partscreen.results.plan import PlanResult
from partscreen.results.stage import StageResult
from partscreen.results.trust import Trust

LONGEST = 60  # letters of a name: folders and archives of every system take that


@dataclass(frozen=True, slots=True)
class NamedPanel:
    """A figure and the name of its file, without the ending."""

    name: str
    panel: Panel = field(repr=False)

    def _repr_svg_(self) -> str:
        """How a notebook shows it."""
        from partscreen.report.figure_files import figure_file

        return figure_file(self.panel, "svg").decode()


def screening_set(screening: Screening, data: ReportData | None) -> list[NamedPanel]:
    """The figures of every lot, and of the parts that are rejected or held for a reason of their own."""
    found: list[tuple[str, Panel | None]] = []
    for lot in lot_views(screening):
        of_lot = f"lot-{lot.result.lot}"
        found += [(f"{of_lot}-{name}", panel) for name, panel in lot_set(lot.result, data)]
        for part in _told_apart(lot):
            name = f"{of_lot}-part-{part.result.part}"
            found += [(f"{name}-{what}", panel) for what, panel in part_set(lot.result, part, data)]
    return named(found)


def lot_set(lot: LotResult, data: ReportData | None) -> list[tuple[str, Panel | None]]:
    """Every figure of a lot, by a short name; None where its readings do not allow it."""
    arrays = data.lots.get(lot.lot) if data is not None else None
    found: list[tuple[str, Panel | None]] = []
    if arrays is not None:
        found += [
            ("gain", hfe_panel(lot, arrays)),
            ("saturation", sat_panel(lot, arrays)),
            *((panel.y.label.split(" ")[0], panel) for panel in capacitance_panels(lot, arrays)),
            ("vbe", vbe_panel(lot, arrays)),
        ]
    found += [("area", area_panel(lot)), ("groups", groups_panel(lot))]
    if arrays is not None:
        found += [("control-gain" if "hFE" in p.y.label else "control-vbe", p) for p in control_panels(arrays)]
    return found


def part_set(lot: LotResult, part: PartView, data: ReportData | None) -> list[tuple[str, Panel | None]]:
    """Every figure of a part, by a short name."""
    arrays = data.lots.get(lot.lot) if data is not None else None
    read = arrays.parts.get(part.result.part) if arrays is not None else None
    found: list[tuple[str, Panel | None]] = []
    if arrays is not None and read is not None:
        found += [
            ("gain", gain_panel(part.result, arrays, read)),
            ("vbe", part_vbe_panel(part.result, arrays, read)),
            ("saturation", part_sat_panel(part.result, arrays, read)),
            ("residuals", residual_panel(part.result, arrays, read)),
        ]
    return [*found, ("evidence", evidence_panel(part.result))]


def _told_apart(lot: LotView) -> list[PartView]:
    """Rejected parts, then held ones whose first reason is their own alone: those somebody has to be shown."""
    alone = {part.result.part for group in lot.groups("hold") if group.sentence is None for part in group.members}
    held = [part for part in lot.with_disposition("hold") if part.result.part in alone]
    return [part for part in (*lot.with_disposition("reject"), *held) if part.drawn]


def match_set(figures: Sequence[tuple[Panel, Panel]]) -> list[NamedPanel]:
    """Gain and VBE of each set, from `workflow.matched_figures`."""
    found: list[tuple[str, Panel | None]] = []
    for number, (gain, vbe) in enumerate(figures, 1):
        found += [(f"set_{number:03d}_hfe", gain), (f"set_{number:03d}_vbe", vbe)]
    return named(found)


def stage_set(result: StageResult) -> list[NamedPanel]:
    """Load lines in the safe area, gain near crossover, sharing."""
    found: list[tuple[str, Panel | None]] = [
        (f"load-line-{n}", load_line_panel(drawn)) for n, drawn in enumerate(result.load_lines, 1)
    ]
    found.append(("crossover", crossover_panel(result.crossover)))
    found += [(f"sharing-{n}", sharing_panel(shared)) for n, shared in enumerate(result.sharing, 1)]
    return named(found)


def plan_set(result: PlanResult) -> list[NamedPanel]:
    """The operating curve."""
    return named([("operating-curve", curve_panel(result))])


def trust_set(result: Trust) -> list[NamedPanel]:
    """The share of unfit parts over time, one figure a supplier."""
    return named([(f"supplier-{panel.title}", _private(panel)) for panel in trust_panels(result)])


def _private(panel: Panel) -> Panel:
    """The figure of a supplier as it stands alone: it says what it shows, and for whom."""
    words = f"{panel.description} Private, not for publication."
    return replace(panel, title=f"Unfit parts to expect, supplier {short(panel.title, 32)}", description=words)


def named(found: Iterable[tuple[str, Panel | None]]) -> list[NamedPanel]:
    """Figures that exist, under names any system takes: two never differ by the case of their letters alone."""
    taken: set[str] = set()
    out = []
    for told, panel in found:
        if panel is None:
            continue
        plain = re.sub(r"[^A-Za-z0-9_.-]+", "_", told).strip("._")[:LONGEST] or "figure"
        name, number = plain, 2
        while name.lower() in taken:
            name, number = f"{plain}~{number}", number + 1
        taken.add(name.lower())
        out.append(NamedPanel(name, panel))
    return out
