"""The refund sheet: what was read of the rejected parts, which limit it misses, and how it can be repeated.

Only readings, limits and graded findings. Never a prior, a probability, evidence, what is thought of a supplier, or
another lot: none of these is handed to the template.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from partscreen.errors import Problem, UnusableInput
from partscreen.quantities import find_quantity
from partscreen.reference.wording import figure_text
from partscreen.report import numbers
from partscreen.report.papers.chosen import Numbered, files_of, long_names, pick_lot, pick_parts
from partscreen.report.papers.photos import Photo
from partscreen.report.papers.press import press
from partscreen.report.papers.words import Words, words_of
from partscreen.results import Interval, LimitResult, LotResult, PartResult, Screening

Grade = Literal["outside", "dead", "inconsistent"]
_DEAD = {"OPEN": "dead_open", "SHORT": "dead_short", "NO_GAIN": "dead_no_gain"}
_OTHER_WAY = {"SWAPPED_LEADS": "swapped", "WRONG_POLARITY": "polarity"}
_COLUMNS = ("part", "finding", "condition", "measured", "limit", "source")
_SERIES = re.compile(r"(?P<symbol>\S+) (?P<count>\d+) points (?P<low>\S+) to (?P<high>\S+) A$")
_SHEET = ("order", "bought_on", "return_by", "price", "source_kind", "listing", "maker", "code_on_parts")


@dataclass(frozen=True, slots=True)
class Claim:
    """A part that is sent back: how it is graded, the limits it misses, or the sentence that says it."""

    part: PartResult
    grade: Grade
    rows: tuple[LimitResult, ...] = ()
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class RefundOptions:
    """`parts`: only these; `listing`: words of the offer; `day`: date of the sheet."""

    language: str = "en"
    parts: tuple[str, ...] = ()
    listing: str | None = None
    day: str = ""
    photos: tuple[Photo, ...] = field(default=())


def refund_pdf(screening: Screening, lot_name: str | None, options: RefundOptions) -> bytes:
    """The refund sheet of one lot as PDF.

    Raises
    ------
    UnusableInput
        No such lot, part or language; or no part of it is rejected for a reason that can be stated.
    """
    words = words_of(options.language)
    lot = pick_lot(screening, lot_name)
    chosen = pick_parts(lot, options.parts)
    claims = [claim for claim in (claim_of(part, lot, words) for part in chosen) if claim is not None]
    if not claims:
        fix = "a refund sheet states rejected parts only; a held part is undecided: measure what is named, screen again"
        what = f"no part of lot {lot.lot}" + (" that was named" if options.parts else "") + " is rejected"
        raise UnusableInput([Problem("NOTHING_TO_CLAIM", what, fix, "paper refund")])
    data = _data(screening, lot, claims, options, words)
    data["photos"] = [[f"photo{i}.jpg", photo.name, photo.sha256] for i, photo in enumerate(options.photos)]
    return press("refund", data, {f"photo{i}.jpg": photo.content for i, photo in enumerate(options.photos)})


def claim_of(part: PartResult, lot: LotResult, words: Words) -> Claim | None:
    """How a rejected part is stated, by the strongest thing that was found; None: nothing is claimed of it."""
    if part.disposition != "reject":
        return None
    codes = [reason.code for reason in part.reasons]
    rows = broken_rows(part)
    if rows:
        return Claim(part, "outside", tuple(rows))
    for code in codes:
        if code in _DEAD:
            return Claim(part, "dead", sentence=words(_DEAD[code]))
        if code in _OTHER_WAY:
            return Claim(part, "inconsistent", sentence=words(_OTHER_WAY[code], type=lot.type or "?"))
    if part.status == "dead":
        return Claim(part, "dead", sentence=words("dead_other"))
    if "SUSPECT" in codes:
        return Claim(part, "inconsistent", sentence=_suspect(part.area_ratio, lot, words))
    return None


def broken_rows(part: PartResult) -> list[LimitResult]:
    """The printed limits that the part misses in every edition: those named by its reasons, read at the condition."""
    named = {reason.limit for reason in part.reasons if reason.code == "LIMIT_BROKEN"}
    rows = [
        row
        for row in part.limits
        if row.reached == "direct" and row.basis != "memory" and row.value is not None and _text(row) in named
    ]
    seen: dict[tuple[str, str, str], LimitResult] = {}
    for row in rows:
        seen.setdefault((row.symbol, row.side, row.conditions), row)
    return list(seen.values())


def _text(row: LimitResult) -> str:
    """A limit as reasons name it."""
    return f"{row.symbol} {row.side} {figure_text(row.limit, row.unit)} at {row.conditions}"


def _suspect(area: Interval | None, lot: LotResult, words: Words) -> str:
    """By its die area where the interval leaves out that of the type, else by the readings taken together."""
    name = lot.type or "?"
    if area is None or area.value is None or area.low is None or area.high is None or area.low <= 1.0 <= area.high:
        return words("inconsistent", type=name)
    value, low, high = (words.figure(f"{v:.2f}") for v in (area.value, area.low, area.high))
    return words("inconsistent_area", type=name, value=value, low=low, high=high)


def _data(
    screening: Screening, lot: LotResult, claims: Sequence[Claim], options: RefundOptions, words: Words
) -> dict[str, Any]:
    sources = Numbered()
    findings = [row for claim in claims for row in _finding_rows(claim, words, sources)]
    count = {grade: sum(claim.grade == grade for claim in claims) for grade in ("outside", "dead", "inconsistent")}
    single_columns, singles = _singles(lot, claims, words)
    together = any(claim.grade == "inconsistent" for claim in claims)
    headings = ("findings", "singles", "sources", "measured", "not_tested", "repeat", "untouched", "photos", "files",
                "signed", "page", "of", "title")  # fmt: skip
    return {
        "language": options.language,
        "words": {key: words(key) for key in headings},
        "facts": _facts(lot, options, words),
        "request": words("request"),
        "summary": words("summary", read=len(lot.parts), other=len(lot.parts) - len(claims), **count),
        "columns": [words(f"col_{name}") for name in _COLUMNS[: 6 if count["outside"] else 2]],
        "long_names": long_names([claim.part for claim in claims]),
        "finding_rows": findings if count["outside"] else [row[:2] for row in findings],
        "singles": singles,
        "single_columns": single_columns,
        "source_rows": sources.names,
        "measured": _measured(screening, lot, claims, words, together),
        "not_tested": _not_tested(claims, words),
        "repeat": _repeat(lot, claims, words),
        "untouched": _untouched(lot, words),
        "files": [[item.file, item.sha256 or "–"] for item in files_of(screening, lot)],
        "no_files": words("files_unknown"),
        "meaning": words("meaning"),
    }


def _facts(lot: LotResult, options: RefundOptions, words: Words) -> list[list[str]]:
    sheet = dict(lot.sheet)
    sheet["listing"] = options.listing or listing_of(lot) or ""
    if sheet.get("price"):
        sheet["price"] = f"{sheet['price']} {sheet.get('currency', '')}".strip()
    told = [[words("to"), lot.supplier or ""], [words("day"), options.day]]
    told += [[words("order"), sheet.get("order", "")], [words("return_by"), sheet.get("return_by", "")]]
    told += [[words(key), sheet[key]] for key in _SHEET if key not in ("order", "return_by") and sheet.get(key)]
    told += [[words("marked_type"), lot.type or ""], [words("our_lot"), lot.lot]]
    told += [[words("parts_delivered"), sheet.get("count", "")], [words("parts_read"), str(len(lot.parts))]]
    return told


def listing_of(lot: LotResult) -> str | None:
    """Words of the listing as the lot sheet tells them: a note that begins with `listing:`, up to a semicolon.

    Other notes are the bench's own and never leave the house.
    """
    for note in lot.sheet.get("notes", "").split(";"):
        key, colon, text = note.partition(":")
        if colon and key.strip().lower() == "listing":
            return text.strip()
    return None


def _finding_rows(claim: Claim, words: Words, sources: Numbered) -> list[list[str]]:
    if not claim.rows:
        return [[claim.part.part, claim.sentence, "", "", "", ""]]
    out = []
    for i, row in enumerate(claim.rows):
        limit = words.figure(numbers.exact(row.limit, row.unit))
        out.append(
            [
                claim.part.part if i == 0 else "",
                words("outside") if i == 0 else "",
                f"{row.symbol}, {words.conditions(row.conditions)}",
                words.figure(numbers.measured(row.value, row.std, row.unit)),
                words("at_least" if row.side == "min" else "at_most", limit=limit),
                sources.number(row.source),
            ]
        )
    return out


def _singles(lot: LotResult, claims: Sequence[Claim], words: Words) -> tuple[list[str], list[list[str]]]:
    """Single readings of the claimed parts: header line and a row a part, a column a quantity under its conditions."""
    names = [claim.part.part for claim in claims]
    spots = [spot for spot in lot.spots if spot.used and spot.part in set(names) and measured(spot.symbol)]
    heads = list(dict.fromkeys((spot.symbol, spot.conditions) for spot in spots))
    cells: dict[tuple[str, tuple[str, str]], list[str]] = {}
    for spot in spots:
        known = spot.std is not None
        figure = numbers.measured(spot.value, spot.std, spot.unit) if known else numbers.figure(spot.value, spot.unit)
        figure = words.figure(figure)
        cells.setdefault((spot.part, (spot.symbol, spot.conditions)), []).append(figure)
    rows = [
        [name, *(", ".join(cells.get((name, head), ["–"])) for head in heads)]
        for name in names
        if any((name, head) in cells for head in heads)
    ]
    return [words("col_part"), *(f"{s}, {words.conditions(c)}" if c else s for s, c in heads)], rows


def _measured(screening: Screening, lot: LotResult, claims: Sequence[Claim], words: Words, together: bool) -> list[str]:
    lines = [words("taken", readings="; ".join(_series(claims, words)))] if _series(claims, words) else []
    kit = screening.kit
    if kit is None:
        name = screening.settings.get("kit")
        lines.append(words("kit", kit=str(name)) if name else words("no_kit"))
    else:
        told = words("kit", kit=kit.name)
        lines.append(f"{told} {words('calibrated', date=kit.calibrated_on)}" if kit.calibrated_on else told)
        lines += [
            words("instrument", name=one.name, accuracy=words.figure(", ".join(one.accuracy)))
            for one in kit.instruments
            if one.accuracy
        ]
    lines.append(words("uncertainty"))
    for seen in lot.control:
        gain = "–" if seen.gain_change is None else f"{abs(100 * seen.gain_change):.2f} %"
        vbe = "–" if seen.vbe_change is None else f"{abs(1e3 * seen.vbe_change):.1f} mV"
        filled = {"gain": words.figure(gain), "vbe": words.figure(vbe)}
        lines.append(words("control", n=seen.readings, session=seen.session, **filled))
    if not lot.control:
        lines.append(words("no_control"))
    if together:
        known_good = any(reason.code == "KNOWN_GOOD" for reason in lot.reasons)
        lines.append(words("reference_known" if known_good else "reference_sheets"))
    return lines


def _series(claims: Sequence[Claim], words: Words) -> list[str]:
    """What was read of the claimed parts; what only stands in our own short words is told by its symbol."""
    told: dict[str, None] = {}
    for used in (used for claim in claims for used in claim.part.readings_used if measured(used)):
        match = _SERIES.match(used)
        if match:
            low, high = (words.figure(numbers.exact(float(match[name]), "A")) for name in ("low", "high"))
            told[words("series", symbol=match["symbol"], count=match["count"], low=low, high=high)] = None
        else:
            told[words.figure(used.replace(" at ", " @ "))] = None
    return list(told)


def measured(symbol: str) -> bool:
    """Whether it was read with an instrument: what was only seen is a hint, and no reading to hold against a seller."""
    quantity = find_quantity(symbol)
    return quantity is None or not (quantity.answers or quantity.key == "code_year")


def _not_tested(claims: Sequence[Claim], words: Words) -> list[str]:
    rows = {
        f"{row.symbol} ({words.conditions(row.conditions)})": None
        for claim in claims
        for row in claim.part.limits
        if row.reached != "direct" and row.basis != "memory"
    }
    lines = [words("not_reached", limits="; ".join(rows))] if rows else []
    return [*lines, words("not_stressed")]


def _repeat(lot: LotResult, claims: Sequence[Claim], words: Words) -> list[str]:
    symbols = {row.symbol for claim in claims for row in claim.rows}
    together = any(claim.grade == "inconsistent" and claim.part.status == "judged" for claim in claims)
    names = {claim.part.part for claim in claims}
    single = {spot.symbol for spot in lot.spots if spot.part in names}
    keys = {"hFE": "repeat_hfe", "VBE": "repeat_vbe", "VCE(sat)": "repeat_vce_sat"}
    lines = [words(key) for symbol, key in keys.items() if symbol in symbols]
    if symbols - keys.keys():
        lines.append(words("repeat_other"))
    if {"C_BE", "C_CB"} & single:
        lines.append(words("repeat_capacitance"))
    if together:
        lines.append(words("repeat_together"))
    if any(claim.part.status in ("dead", "wrong_polarity") for claim in claims):
        lines.append(words("repeat_dead"))
    return [*lines, words("repeat_caution")]


def _untouched(lot: LotResult, words: Words) -> str:
    count = lot.sheet.get("count", "")
    if not count.isdecimal() or len(count) > 9 or int(count) < len(lot.parts):
        return words("untouched_unknown")
    left = int(count) - len(lot.parts)
    return words("untouched_some", n=left, count=count) if left else words("untouched_none", count=count)
