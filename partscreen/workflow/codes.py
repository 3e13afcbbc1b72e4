"""What does this code mean, and what is to be done?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from difflib import get_close_matches

from partscreen.errors import Problem

CODES_SCHEMA = "partscreen.codes/1"


def tell_codes(codes: Sequence[str] = (), *, as_json: bool = False) -> tuple[str, tuple[Problem, ...]]:
    """Sentence, meaning and action of each code, as text or JSON, and a problem for each that there is not.

    Parameters
    ----------
    codes : in any case; none given: the list of all codes by theme
    """
    from partscreen.results.codes import code_themes, explained

    every = [one for theme in code_themes() for one in theme.codes]
    found = [explained(code) for code in codes]
    problems = tuple(
        _unknown(code, [one.code for one in every]) for code, one in zip(codes, found, strict=True) if one is None
    )
    chosen = [one for one in found if one is not None] if codes else every
    if as_json:
        return json.dumps({"schema": CODES_SCHEMA, "codes": [asdict(one) for one in chosen]}, indent=1), problems
    if codes:
        lines = [f"{one.code} ({one.theme})\n  {one.says}\n  {one.means}\n  To do: {one.do}" for one in chosen]
        return "\n".join(lines), problems
    lists = [f"{theme.title}\n  {', '.join(one.code for one in theme.codes)}" for theme in code_themes()]
    return "\n".join(lists), problems


def _unknown(code: str, known: Sequence[str]) -> Problem:
    close = get_close_matches(code.strip().upper().replace("-", "_"), known, 3, 0.5)
    fix = f"codes near it: {', '.join(close)}" if close else "`partscreen codes` lists them all"
    return Problem("UNKNOWN_CODE", f"{code!r} is no code of this program", fix)
