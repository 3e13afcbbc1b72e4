"""The lot report: what to do with the lot first, then its parts, what to measure next, figures, what was not tested."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from partscreen.reference import Library
from partscreen.report import numbers
from partscreen.report.data import LotData
from partscreen.report.figures import SHAPES, WORDS, band_words, hfe_panel, sat_panel
from partscreen.report.papers.arrays import lot_arrays
from partscreen.report.papers.chosen import at_current, files_of, long_names, pick_lot, working_current
from partscreen.report.papers.press import press
from partscreen.report.svg import panel_svg
from partscreen.report.view import JUDGEMENTS, LotView, hazard, lot_views
from partscreen.results import LotResult, PartResult, Screening

EVERY_PART = 400  # beyond so many, accepted parts are named together and not a row each
WIDTH, HEIGHT = 330.0, 236.0  # of a figure's drawing; two stand side by side
SHEET_WORDS = (
    ("order", "order"), ("bought_on", "bought on"), ("return_by", "return by"), ("price", "price"),
    ("source_kind", "source"), ("maker", "maker"), ("gain_group", "gain group"), ("code_on_parts", "code on parts"),
    ("count", "parts in the lot"), ("notes", "notes"),
)  # fmt: skip
NOT_STRESSED = "Nothing here has stressed a part at its rated voltage, power or temperature unless a reading says so."
_DIE_AREA = re.compile(r"; die area [\d.]+ of the type's \([\d.]+ to [\d.]+\)(?=\.$)")  # has a column of its own
CODES = "Cautions beside a measurement are the usual ones; local electrical codes and licensed practice come first."


def lot_pdf(screening: Screening, lot_name: str | None, library: Library, *, recorded: str = "") -> bytes:
    """The report of one lot as PDF.

    `recorded`: where in the bench book it stands, empty where it was not recorded.

    Raises
    ------
    UnusableInput
        There is no such lot.
    """
    lot = pick_lot(screening, lot_name)
    view = next(view for view in lot_views(screening) if view.result is lot)
    arrays = lot_arrays(lot, library)
    figures, pictures = _figures(lot, arrays)
    data = {
        "title": f"Lot {lot.lot}" + (f", marked {lot.type}" if lot.type else ""),
        "judgement": view.judgement,
        "tally": f"{lot.n_parts} parts: {view.tally}. {view.tail}".strip(),
        "share": lot.share_sentence or "",
        "actions": [action.sentence for action in lot.actions if action.sentence],
        "reasons": [reason.sentence for reason in lot.reasons],
        "facts": _facts(lot),
        "sub_lots": _sub_lots(lot),
        "current": _current_words(lot),
        "parts": _rows(lot),
        "long_names": long_names(lot.parts),
        "together": _together(lot),
        "next": _next(lot.parts),
        "figures": figures,
        "no_figures": "" if figures else "The result holds no curves (it was written with --brief): no figures.",
        "not_reached": [f"{', '.join(limits)}: {n} parts" for n, limits in view.not_reached],
        "not_stressed": [NOT_STRESSED, CODES],
        "quality": _quality(view),
        "kit": kit_lines(screening),
        "control": control_lines(lot),
        "files": [[item.file, item.sha256 or "not known"] for item in files_of(screening, lot)],
        "program": f"partscreen {screening.version}, form {screening.schema_}",
        "recorded": recorded or "Not recorded in a bench book.",
    }
    return press("lot", data, pictures)


def _facts(lot: LotResult) -> list[list[str]]:
    told = [["supplier", lot.supplier or "not stated"], ["type", lot.type or "not stated"]]
    told += [["edition", lot.edition]] if lot.edition else []
    told += [["known good", "yes"]] if lot.known_good else []
    currency = lot.sheet.get("currency", "")
    for key, words in SHEET_WORDS:
        if lot.sheet.get(key):
            told.append([words, f"{lot.sheet[key]} {currency}".strip() if key == "price" else lot.sheet[key]])
    return told


def _sub_lots(lot: LotResult) -> list[list[str]]:
    """Parts of one date code, a row a code: how many, what to do with them, the share that is unfit."""
    rows = []
    for sub in lot.sub_lots:
        share, span = sub.share_unfit, "–"
        if share is not None and share.low is not None and share.high is not None:
            span = f"{100 * share.low:.0f} % to {100 * share.high:.0f} %"
        rows.append([", ".join(sub.codes), str(sub.n_parts), JUDGEMENTS[sub.judgement], span])
    return rows


def _current_words(lot: LotResult) -> str:
    ic = working_current(lot)
    return f"at {numbers.exact(ic, 'A')}" if ic is not None else ""


def _rows(lot: LotResult) -> list[dict[str, Any]]:
    ic = working_current(lot)
    shown = [p for p in lot.parts if len(lot.parts) <= EVERY_PART or p.disposition != "accept"]
    return [_row(part, ic) for part in shown]


def _row(part: PartResult, ic: float | None) -> dict[str, Any]:
    area = part.area_ratio
    at = at_current(part, ic) if ic is not None else None
    first = part.reasons[0].sentence if part.reasons else f"Status: {part.status.replace('_', ' ')}."
    if area is not None:
        first = _DIE_AREA.sub("", first)
    return {
        "shape": SHAPES[part.disposition],
        "word": WORDS[part.disposition],
        "part": part.part,
        "reason": first,
        "area": "–" if area is None or area.value is None else f"{area.value:.2f} ({area.low:.2f} to {area.high:.2f})",
        "hfe": "–" if at is None or at.hfe is None else numbers.measured(at.hfe, at.hfe_std, "1"),
        "vbe": "–" if at is None or at.vbe is None else numbers.measured(at.vbe, at.vbe_std, "V"),
        "reach": "–" if part.reach is None else f"{part.reach:.2f}",
    }


def _together(lot: LotResult) -> str:
    if len(lot.parts) <= EVERY_PART:
        return ""
    names = [part.part for part in lot.parts if part.disposition == "accept"]
    return f"Accepted: {', '.join(names)}." if names else ""


def _next(parts: Iterable[PartResult]) -> list[dict[str, Any]]:
    """What to measure next, a block a reading: for which parts, why, how."""
    found: dict[str, dict[str, Any]] = {}
    for part in parts:
        step = part.next_measurement
        if step is None:
            continue
        block = found.setdefault(
            step.reading,
            {
                "reading": step.reading,
                "why": step.why,
                "minutes": "" if step.minutes is None else f"about {step.minutes:.2g} minutes a part",
                "recipe": (step.recipe or "").splitlines(),
                "hazard": hazard((step.reading, step.recipe)),
                "parts": [],
            },
        )
        block["parts"].append(part.part)
    return [block | {"parts": ", ".join(block["parts"])} for block in found.values()]


def _figures(lot: LotResult, arrays: LotData | None) -> tuple[list[dict[str, str]], dict[str, bytes]]:
    if arrays is None:
        return [], {}
    made = (
        (hfe_panel(lot, arrays), band_words(arrays.hfe)),
        (sat_panel(lot, arrays), band_words(arrays.vce_sat)),
    )
    figures, pictures = [], {}
    for i, (panel, caption) in enumerate(made):
        if panel is not None:
            pictures[f"figure{i}.svg"] = standalone(panel_svg(panel, f"f{i}", WIDTH, HEIGHT))
            figures.append(
                {"file": f"figure{i}.svg", "title": panel.title, "words": panel.description, "caption": caption}
            )
    return figures, pictures


def standalone(svg: str) -> bytes:
    """An `<svg>` element of a page as a file of its own."""
    return svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" font-family="DejaVu Sans" ', 1).encode()


def _quality(view: LotView) -> list[str]:
    found = []
    for warned in view.warned:
        alike: dict[str, list[str]] = {}
        for part, note in warned.notes:
            alike.setdefault(note.sentence, []).append(part.result.part)
        found += [f"{sentence} ({', '.join(names)})" for sentence, names in alike.items()]
    return found


def kit_lines(screening: Screening) -> list[str]:
    """The instruments in words."""
    kit = screening.kit
    if kit is None:
        name = screening.settings.get("kit")
        return [f"Kit: {name}." if name else "No kit was given: ordinary bench accuracy was assumed."]
    lines = [f"Kit: {kit.name}" + (f", calibrated on {kit.calibrated_on}." if kit.calibrated_on else ".")]
    for one in kit.instruments:
        accuracy = f"; limits of error: {', '.join(one.accuracy)}" if one.accuracy else ""
        lines.append(f"{one.name}: {', '.join(one.reads)}{accuracy}.")
    return lines


def control_lines(lot: LotResult) -> list[str]:
    """What the control piece did, a line a session."""
    if not lot.control:
        return ["No control piece was read more than once."]
    lines = []
    for seen in lot.control:
        moved = [] if seen.gain_change is None else [f"hFE by {100 * seen.gain_change:+.2f} %"]
        moved += [] if seen.vbe_change is None else [f"VBE by {1e3 * seen.vbe_change:+.1f} mV"]
        what = ", ".join(moved).replace("-", numbers.MINUS) or "nothing comparable"
        lines.append(f"Session {seen.session}: control piece read {seen.readings} times; it moved at most {what}.")
    return lines
