"""Reasons of a part: stable codes, plain sentences, the figures behind them. One place for all wording of the
screening room."""

from __future__ import annotations

from collections.abc import Sequence

from partscreen.reference.wording import figure_text
from partscreen.results import Reason
from partscreen.screening.limits.judge import LimitLike

Figures = dict[str, float | int | str | None]

QUANTITY_WORDS = {
    "hfe": "gain", "vbe": "VBE", "vce_sat": "VCE(sat)", "vbe_sat": "VBE(sat)", "c_cb": "C_CB", "c_be": "C_BE", "icbo":
    "ICBO",
    "iceo": "ICEO", "iebo": "IEBO", "ices": "ICES", "icer": "ICER", "icex": "ICEX", "v_br_ceo": "V(BR)CEO",
    "v_br_cer": "V(BR)CER", "v_br_ces": "V(BR)CES", "v_br_cbo": "V(BR)CBO", "v_br_ebo": "V(BR)EBO", "ft": "fT",
    "outline_seen": "outline seen", "print_seen": "print seen", "pins_seen": "pins seen", "magnet_test": "magnet test",
    "wipe_test": "wipe test", "die_seen": "die seen", "body_thickness": "body thickness", "body_weight": "body weight",
    "code_year": "code year",
}  # fmt: skip


def rounded(value: float, unit: str) -> str:
    """A figure to three digits with its unit."""
    return figure_text(float(f"{value:.3g}"), unit)


def limit_text(limit: LimitLike) -> str:
    """A limit as one line: "hFE min 25 at VCE=5 V, IC=8 A"."""
    return f"{limit.symbol} {limit.side} {figure_text(limit.value, limit.unit)} at {limit.conditions_text}"


def _against(limit: LimitLike, value: float) -> str:
    beyond = "below the minimum" if limit.side == "min" else "above the maximum"
    where = f"{limit.symbol} at {limit.conditions_text} is {rounded(value, limit.unit)}"
    return f"{where}, {beyond} of {figure_text(limit.value, limit.unit)}"


def _limit_figures(limit: LimitLike, value: float, std: float, chance: float) -> Figures:
    return {
        "value": value, "std": std, "limit": limit.value, "probability_conforming": chance,
        "editions": ", ".join(limit.editions) or None,
    }  # fmt: skip


def limit_broken(limit: LimitLike, value: float, std: float, chance: float) -> Reason:
    """A firm limit, broken in every edition that limits the quantity."""
    sentence = f"Outside a printed limit: {_against(limit, value)}; no edition on record allows it."
    figures = _limit_figures(limit, value, std, chance)
    return Reason(code="LIMIT_BROKEN", sentence=sentence, figures=figures, limit=limit_text(limit), source=limit.source)


def limit_unconfirmed(limit: LimitLike, value: float, std: float, chance: float, *, carried: bool) -> Reason:
    """A limit broken, but by a row or in a way that decides nothing alone."""
    if carried:
        why = "the readings do not reach that condition themselves, the fit carries them there"
        then = "a reading at the limit's condition would decide"
    elif limit.basis == "memory":
        why, then = "the limit is recalled, not read in a data sheet", "find the sheet of this maker before deciding"
    else:
        why, then = f"the row is in doubt ({limit.doubt})", "find a clearer copy of the sheet before deciding"
    sentence = f"Would be outside a limit: {_against(limit, value)}; but {why}, so it does not decide alone: {then}."
    figures = _limit_figures(limit, value, std, chance)
    return Reason(
        code="LIMIT_UNCONFIRMED", sentence=sentence, figures=figures, limit=limit_text(limit), source=limit.source
    )


def near_miss(limit: LimitLike, value: float, std: float, chance: float, *, carried: bool) -> Reason:
    """Outside at the risk the user picked, but not surely enough to reject."""
    how = "carried there by the fit" if carried else "measured"
    sentence = (
        f"Probably outside a limit: {_against(limit, value)} ({how}, standard uncertainty {rounded(std, limit.unit)}, "
        f"chance of conforming {chance:.2g}); not sure enough to reject: read it again, with less uncertainty."
    )
    figures = _limit_figures(limit, value, std, chance)
    return Reason(
        code="LIMIT_UNCONFIRMED", sentence=sentence, figures=figures, limit=limit_text(limit), source=limit.source
    )


def some_editions(limit: LimitLike, value: float, std: float, chance: float) -> Reason:
    """Broken in some editions, while another edition is met or not reached."""
    named = ", ".join(limit.editions) or "one edition"
    sentence = (
        f"Outside a limit of {named}: {_against(limit, value)}; another edition of the type is not broken by the "
        "readings. Naming the maker in the lot sheet, or a reading at the other edition's condition, would decide."
    )
    figures = _limit_figures(limit, value, std, chance)
    return Reason(code="EDITION_OPEN", sentence=sentence, figures=figures, limit=limit_text(limit), source=limit.source)


def guard_band(limit: LimitLike, value: float, std: float, chance: float, risk: float) -> Reason:
    """Too near a limit to say, at the risk the user picked. A remark."""
    sentence = (
        f"Too near a limit to say: {limit.symbol} at {limit.conditions_text} is {rounded(value, limit.unit)} with a "
        f"standard uncertainty of {rounded(std, limit.unit)}, the {limit.side}imum is "
        f"{figure_text(limit.value, limit.unit)} (chance of conforming {chance:.2g})."
    )
    figures = {**_limit_figures(limit, value, std, chance), "risk": risk}
    return Reason(code="GUARD_BAND", sentence=sentence, figures=figures, limit=limit_text(limit), source=limit.source)


def misfit(value: float, dof: int, p: float, type_name: str) -> Reason:
    """Readings that no part of the population would give."""
    sentence = (
        f"Does not behave like any transistor of the {type_name} population: the readings miss the best fitting one by "
        f"a chi-square of {value:.3g} for {dof} degrees of freedom (less than one good part in a thousand would). "
        "Check contacts, settings and units, and read the part again."
    )
    return Reason(code="MISFIT", sentence=sentence, figures={"chi_square": value, "dof": dof, "p": p})


def fit_failed(status: str) -> Reason:
    """The search for the best fit did not come to rest."""
    sentence = (
        "The device fit did not come to rest (the best found is shown); limits were judged by the readings alone. Read "
        "the part again, with more points spread over the current range."
    )
    return Reason(code="FIT_FAILED", sentence=sentence, figures={"status": status})


NOT_YET_WEIGHED = Reason(
    code="NOT_YET_WEIGHED",
    sentence=(
        "No limit failed, but none of the readings used says anything of the part's kind, so there is nothing to weigh "
        "and the part is held."
    ),
)
LIMITS_ALONE = Reason(
    code="NOT_YET_WEIGHED",
    sentence=(
        "No limit failed; there is no device model of this type to weigh evidence with, limits and the lot are all "
        "there is, so the part is held."
    ),
)
NO_LIMIT_REACHED = Reason(
    code="NOT_YET_WEIGHED",
    sentence="No limit was reached by these readings, so none failed, and nothing could be weighed: the part is held.",
)
NO_READINGS = Reason(
    code="UNUSABLE",
    sentence="No reading of this part could be used; measure it again.",
)


def no_reference(type_name: str | None, close: Sequence[str] = (), two_types: str = "") -> Reason:
    """The type is not told, told in two ways, or not in the library."""
    if two_types:
        what = f"The lot is said to be of several types ({two_types})"
        how = "name one type a lot, and put parts of another into a lot of their own"
    elif type_name is None:
        what = "The lot sheet names no type"
        how = "name it in the lot sheet or with --type"
    else:
        what = f"Type {type_name} is not in the library"
        how = (f"close names: {', '.join(close)}; or " if close else "") + "bring its figures with --reference"
    sentence = f"{what}, so the part can only be compared with its lot and is held; {how}."
    return Reason(
        code="NO_REFERENCE", sentence=sentence, figures={"type": type_name, "close": ", ".join(close) or None}
    )


def no_population(why: str) -> Reason:
    """The type is known, but no device population describes it."""
    return Reason(code="NO_POPULATION", sentence=f"{why}.")


def limits_not_reached(sentences: Sequence[str]) -> Reason:
    """Which limits the readings do not reach. A remark."""
    return Reason(code="LIMITS_NOT_REACHED", sentence="Limits not reached: " + "; ".join(sentences) + ".")


def capacitance_no_reference(symbols: Sequence[str]) -> Reason:
    """A capacitance without anything to hold it against. A remark, never a violation."""
    sentence = (
        f"{' and '.join(symbols)}: no reference for this maker or process. Processes of one type number differ tenfold "
        "in capacitance, so no limit is made of the figure; evidence weighs it with that much doubt."
    )
    return Reason(code="CAPACITANCE_NO_REFERENCE", sentence=sentence, figures={"readings": ", ".join(symbols)})


def capacitance_reference(symbol: str, value: float, reference: float, who: str, unit: str, source: str) -> Reason:
    """A capacitance beside a published reading of the same maker and process. A remark."""
    sentence = (
        f"{symbol} is {rounded(value, unit)}; a published reading of {who} is {rounded(reference, unit)} "
        f"(ratio {value / reference:.2g}). One part's reading is no limit."
    )
    figures: Figures = {"value": value, "reference": reference, "ratio": value / reference}
    return Reason(code="CAPACITANCE_REFERENCE", sentence=sentence, figures=figures, source=source)
