"""The questions that copy a data sheet on paper into a reference file, every figure with its sheet and page."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

from partscreen.quantities import ZERO_CELSIUS
from partscreen.readings.columns.conditions import parse_conditions
from partscreen.readings.instruments.kit_words import figure
from partscreen.readings.typed.interview import Interview, one_of, optional, text_answer, yes_no
from partscreen.reference.symbols import CHARACTERISTICS, CONDITIONS, RATINGS

RATINGS_ASKED = ("VCEO", "VCBO", "VEBO", "IC", "ICM", "IB", "PC", "TJ", "RTHJC")
ROWS_ASKED = ("hFE", "VBE", "VCE(sat)", "V(BR)CEO", "ICBO", "IEBO", "C_CB", "C_BE", "fT")
_FORM = {
    "hFE": ("min 55 max 160", "VCE=5 V, IC=1 A"), "VBE": ("max 1.5 V", "VCE=5 V, IC=7 A"),
    "VCE(sat)": ("max 3 V", "IC=8 A, IB=0.8 A"), "V(BR)CEO": ("min 230 V", "IC=5 mA, base=open"),
    "ICBO": ("max 5 uA", "VCB=230 V"), "IEBO": ("max 5 uA", "VEB=5 V"), "C_CB": ("typ 200 pF", "VCB=10 V, f=1 MHz"),
    "C_BE": ("typ 5 nF", "VEB=0.5 V, f=1 MHz"), "fT": ("typ 30 MHz", "VCE=5 V, IC=1 A"),
}  # fmt: skip
# What a rating of a bipolar transistor can be (assumption: from small-signal to the largest modules).
_SIZES = {"V": (1.0, 3000.0), "A": (0.001, 1000.0), "W": (0.05, 5000.0), "degC": (50.0, 300.0),
          "degC/W": (0.02, 500.0)}  # fmt: skip
_PAGE = re.compile(r"[,;]?\s*\b(?:page|p\.?|sheet)\s*(?P<page>\d+\w?)\s*$", re.IGNORECASE)
_SIDES = re.compile(
    r"(?P<side>min|typ|max)\.?\s*[:=]?\s*(?P<text>.+?)(?=\s*[,;]?\s*\b(?:min|typ|max)\b|$)", re.IGNORECASE
)
_TO = re.compile(r"(?P<low>.+?)\s*(?:\bto\b|\.\.\.?|–)\s*(?P<high>.+)")
_POLARITY = {"2SA": "PNP", "2SB": "PNP", "2SC": "NPN", "2SD": "NPN"}  # by JIS C 7012 (memory)


@dataclass(slots=True)
class TypeAnswers:
    """A reference file in the making."""

    data: dict[str, Any]
    groups: list[str] = field(default_factory=list)


def type_questionnaire(ask: Interview, type_number: str) -> TypeAnswers:
    """Ask about a type and its sheets."""
    answers = TypeAnswers({"device": _device(ask, type_number)})
    sheets = _sheets(ask, answers.data)
    groups = ask.ask(
        "groups", "Which gain groups do the sheets name? (letters with spaces between, - none)", optional(_groups), "-",
        "Some sheets sort hFE into groups and print a letter on the part. Rows of a group count only for it.",
    )  # fmt: skip
    answers.groups = groups or []
    answers.data["ratings"], answers.data["characteristics"] = [], []
    for number, sheet in enumerate(sheets, start=1):
        ask.say(f"Figures of sheet {number}: {sheet['title']}. - for what it does not print.")
        _ratings(ask, answers, sheet, number)
        _rows(ask, answers, sheet, number)
    if answers.groups:
        printed = ask.ask(
            "marking", "Where does the letter of the group stand on the part? (in words, - not known)",
            optional(text_answer), "-",
        )  # fmt: skip
        if printed is not None:
            answers.data["marking"] = [{"fact": f"Gain group: {printed}", "source": sheets[0]["id"]}]
    return answers


def _device(ask: Interview, type_number: str) -> dict[str, Any]:
    usual = _POLARITY.get(type_number[:3].upper(), "")
    device: dict[str, Any] = {"type_number": type_number}
    device["polarity"] = ask.ask("polarity", "NPN or PNP?", one_of({"NPN": "", "PNP": ""}), usual)
    device["construction"] = ask.ask(
        "construction", "single or darlington?", one_of({"single": "", "darlington": ""}), "single",
        "A Darlington is two transistors in one package; it is judged by limits and within its lot only.",
    )  # fmt: skip
    for key, question in (("package", "Package? (- not known)"), ("complement", "Complementary type? (- not known)")):
        said = ask.ask(key, question, optional(text_answer), "-")
        if said is not None:
            device[key] = said
    return device


def _sheets(ask: Interview, data: dict[str, Any]) -> list[dict[str, Any]]:
    """The sheets, and the editions where there are several."""
    sheets: list[dict[str, Any]] = []
    editions: list[dict[str, Any]] = []
    while True:
        n = len(sheets) + 1
        title = ask.ask(
            f"s{n}.title", f"Title of sheet {n}, as printed?" + ("" if n == 1 else " (- no more sheets)"),
            text_answer if n == 1 else optional(text_answer), "" if n == 1 else "-", _TITLE,
        )  # fmt: skip
        if title is None:
            break
        sheet: dict[str, Any] = {"id": f"S{n}", "title": _long_enough(title)}
        maker = ask.ask(f"s{n}.maker", "Who published it?", text_answer)
        sheet["publisher"] = maker
        sheet["revision"] = ask.ask(
            f"s{n}.revision", "Revision and date, as printed? (none, if it has none)", text_answer, "",
            "Makers change parts without changing the number; the revision says which parts the figures are of.",
        )  # fmt: skip
        held = ask.ask(
            f"s{n}.held", "Do you have the sheet in front of you?", yes_no, "yes",
            "no: the figures are recalled. A limit from memory never rejects a part by itself.",
        )  # fmt: skip
        sheet["basis"] = "stored copy" if held else "memory"
        sheets.append(sheet)
        _edition(ask, editions, sheet, n)
    data["sources"] = sheets
    if len(editions) > 1:
        data["editions"] = editions
    else:
        data["device"]["maker"] = editions[0]["maker"]
    return sheets


_TITLE = "Every figure names its sheet: title, revision and page. A second maker's sheet is a sheet of its own."


def _edition(ask: Interview, editions: list[dict[str, Any]], sheet: dict[str, Any], n: int) -> None:
    same = False
    if editions:
        same = ask.ask(
            f"s{n}.same", "Does it describe the same parts as the sheet before (maker, process)?", yes_no, "no",
            "A part is nonconforming with its maker unknown only if it fails every edition.",
        )  # fmt: skip
    if same:
        editions[-1]["sources"].append(sheet["id"])
        return
    stem = re.sub(r"[^a-z0-9]+", "-", sheet["publisher"].lower()).strip("-") or f"sheet-{n}"
    name = stem if all(e["id"] != stem for e in editions) else f"{stem}-{n}"
    editions.append({"id": name, "maker": sheet["publisher"], "revision": sheet["revision"], "sources": [sheet["id"]]})


def _ratings(ask: Interview, answers: TypeAnswers, sheet: dict[str, Any], n: int) -> None:
    page = ask.ask(
        f"s{n}.rpage", "Page of the limiting values?", _page, "1", "Another page may follow a figure: 230 V p. 3"
    )
    there: dict[str, float] = {}
    for symbol in RATINGS_ASKED:
        unit = RATINGS[symbol].unit

        def check(text: str, symbol: str = symbol, unit: str = unit) -> tuple[float, str]:
            return _rating(text, symbol, unit, there)

        found = ask.ask(
            f"s{n}.{symbol}", f"{symbol}, {RATINGS[symbol].words}? (in {unit})", optional(check), "-",
            "As printed, with its unit; the sign of a PNP sheet is left out.",
        )  # fmt: skip
        if found is None:
            continue
        value, own = found
        there[symbol] = value
        answers.data["ratings"].append(
            {"symbol": symbol, "value": value, "unit": unit, "source": sheet["id"], "where": f"page {own or page}"}
        )


def _rows(ask: Interview, answers: TypeAnswers, sheet: dict[str, Any], n: int) -> None:
    page = ask.ask(f"s{n}.cpage", "Page of the table of characteristics?", _page, "2")
    for symbol in ROWS_ASKED:
        number = 1
        while _row(ask, answers, sheet, symbol, f"s{n}.{symbol}.{number}", page):
            number += 1


def _row(ask: Interview, answers: TypeAnswers, sheet: dict[str, Any], symbol: str, key: str, page: str) -> bool:
    """One row of the table; False: no more of this symbol."""
    known = CHARACTERISTICS[symbol]
    form, at = _FORM[symbol]
    again = "" if key.endswith(".1") else "another row, "
    sides = ask.ask(
        key, f"{symbol}, {known.words}: {again}figures? (as {form})", optional(lambda text: _sides(text, known.unit)),
        "-", "min, typ and max as printed, with the unit. A typical value is no limit.",
    )  # fmt: skip
    if sides is None:
        return False
    figures, own = sides
    conditions = ask.ask(
        f"{key}.at", f"  at which conditions? (as {at}; - the sheet does not say)",
        optional(lambda text: _conditions(text, known.needs)), "",
        f"Without {' and '.join(known.needs)} the figure is shown, and is no limit.",
    )  # fmt: skip
    row: dict[str, Any] = {"symbol": symbol, **figures, "unit": known.unit}
    if conditions:
        row["conditions"] = conditions
    row["case_temperature_c"] = ask.ask(
        f"{key}.temp",
        "  at which case temperature, degC?",
        _celsius,
        "25",
        "Sheets state it above the table, as a rule.",
    )
    if answers.groups and symbol == "hFE":
        group = ask.ask(
            f"{key}.group", f"  of which gain group? ({', '.join(answers.groups)}; - all)",
            optional(one_of(dict.fromkeys(answers.groups, ""))), "-",
        )  # fmt: skip
        if group is not None:
            row["rank"] = group
    row |= {"source": sheet["id"], "where": f"page {own or page}"}
    answers.data["characteristics"].append(row)
    return True


def _cut_page(text: str) -> tuple[str, str]:
    found = _PAGE.search(text)
    return (text[: found.start()], found["page"]) if found else (text, "")


def _rating(text: str, symbol: str, unit: str, there: dict[str, float]) -> tuple[float, str]:
    body, page = _cut_page(text.strip().lstrip("-−"))
    value = _with_unit(body, unit)
    low, high = _SIZES[unit]
    if not low <= value <= high:
        raise ValueError(f"{symbol} of {value:g} {unit} is no transistor's ({low:g} to {high:g}); look at the unit")
    for smaller, larger in (("VCEO", "VCBO"), ("IC", "ICM")):
        if symbol == larger and smaller in there and value < there[smaller]:
            raise ValueError(
                f"{larger} of {value:g} {unit} is below {smaller} of {there[smaller]:g} {unit}; it cannot be: look "
                "whether two lines are exchanged, back leads to the question before"
            )
    return value, page


def _with_unit(text: str, unit: str) -> float:
    """A figure whose unit may be left out; temperatures and their ratios are taken as degC and degC/W."""
    body = text.strip()
    if unit in ("degC", "degC/W", "W"):
        body = re.sub(r"\s*(?:°|deg)?\s*[CK]?(?:\s*/\s*W)?$" if unit != "W" else r"\s*W(?:atts?)?$", "", body)
        return figure(body, "1")
    bare = re.fullmatch(r"[\d.,]+", body)
    return figure(f"{body} {unit}" if bare and unit != "1" else body, unit)


def _sides(text: str, unit: str) -> tuple[dict[str, float], str]:
    body, page = _cut_page(text.strip())
    out: dict[str, float] = {}
    to = _TO.fullmatch(body)
    found = [(m["side"].lower(), m["text"]) for m in _SIDES.finditer(body)]
    if not found and to:
        unit_of_high = re.sub(r"^[\d.,\s]+", "", to["high"])
        low = to["low"] if re.search(r"[A-Za-zµ]", to["low"]) else f"{to['low']} {unit_of_high}"
        found = [("min", low), ("max", to["high"])]
    if not found:
        raise ValueError(f"{text!r}: say whether it is min, typ or max, as min 55 max 160, or 55 to 160")
    for side, said in found:
        if side in out:
            raise ValueError(f"{text!r} says {side} twice")
        value = figure(said.strip(" ,;").lstrip("-−"), unit)
        if not value > 0.0:
            raise ValueError(f"{text!r}: a figure of zero is no limit; write what the sheet prints")
        out[side] = value
    if "min" in out and "max" in out and out["min"] > out["max"]:
        raise ValueError(f"min {out['min']:g} is above max {out['max']:g}; look whether they are exchanged")
    return {side: out[side] for side in ("min", "typ", "max") if side in out}, page


def _conditions(text: str, needs: tuple[str, ...]) -> dict[str, float]:
    if not text:
        raise ValueError("the conditions decide which readings the figure speaks of; - if the sheet does not say")
    found, problems, _ = parse_conditions(text)
    if problems:
        raise ValueError("; ".join(f"{problem.what}: {problem.fix}" for problem in problems))
    out = {
        key: float(f"{value:.12g}") for key, value in found.items() if key in CONDITIONS and isinstance(value, float)
    }
    if "IC_over_IB" in out and "IC" in out and "IB" in needs:
        out["IB"] = float(f"{out['IC'] / out.pop('IC_over_IB'):.6g}")
    left = [key for key in found if key not in out and key not in ("base", "emitter", "collector", "IC_over_IB")]
    if left:
        raise ValueError(f"{', '.join(left)} cannot stand here; conditions are {', '.join(CONDITIONS)}")
    missing = [key for key in needs if key not in out]
    if missing:
        raise ValueError(f"{' and '.join(missing)} missing; add it, or - if the sheet does not say")
    return out


def _groups(text: str) -> list[str]:
    found = list(dict.fromkeys(re.split(r"[\s,;/]+", text.strip())))
    if any(not re.fullmatch(r"\w{1,4}", one) for one in found):
        raise ValueError(f"{text!r}: write the letters with spaces between, as R O")
    return found


def _page(text: str) -> str:
    if re.fullmatch(r"\w{1,6}", text):
        return text
    raise ValueError(f"{text!r}: write the page alone, as 2")


def _celsius(text: str) -> float:
    value = figure(re.sub(r"\s*(?:°|deg)?\s*[cC]$", "", text.strip().lstrip("-−")), "1")
    value = -value if text.strip().startswith(("-", "−")) else value
    if not -ZERO_CELSIUS < value < 300.0:
        raise ValueError(f"{text!r} is no temperature of a transistor; write degrees Celsius, as 25")
    return value


def _long_enough(title: str) -> str:
    return title if len(title) >= 3 else f"sheet {title}"
