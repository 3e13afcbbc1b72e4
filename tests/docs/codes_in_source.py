"""Every code that the program can give out, found by reading its source: words in capitals that stand as a text.

What looks like a code and is none (a symbol of a quantity, a word of a help text) is known from the program's own
tables, or named in `NO_CODES`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from partscreen.quantities import QUANTITIES
from partscreen.reference.symbols import CHARACTERISTICS, CONDITIONS, CURVES, RATINGS

ROOT = Path(__file__).resolve().parents[2]
_CODE = re.compile(r"[A-Z][A-Z0-9]*(?:_[A-Z0-9]+)*\Z")
_OF_HELP = {"metavar", "help", "tz", "fgColor"}  # keywords whose text is no code
_OF_TABLES = {"Parameter", "Symbol", "_characteristic", "DemoLot"}  # rows of tables of quantities, of parameters
_NONE = {
    "ways of opening a file, named by the operating system": "O_BINARY",
    "polarities, permutations of a plan's tables, conditions of readings": (
        "NPN PNP III AAAABBBBCCCCDDD AAABBBCCCDDDEEE AABBCCDDEEFFGGH AABCCDEEFGGHJJK AABCCDEFGHJKLMN ABCDEFGHJKLMNPQ "
        "ABCDEFGHJKLMNPQRS BCDEFGHJKLMNPQR CDEFGHJKL VCC VEC IB1 IB2 RBE"
    ),
    "symbols that are written beside those of the tables": (
        "C_IB C_OB ICEV ICPEAK ICP VCEV PC_TA DERATE RTHJMB PTOT TJMAX ZTHJC ZMODELS"
    ),
    "forms of pictures, words of protocols and databases, names in the environment": (
        "BMP GIF JPEG PNG TIFF WEBP RGB GET HEAD POST DENY BEGIN UTC UTF8 O_DIRECTORY TERM PARTSCREEN_BOOK JSON"
    ),
    "names of arguments as messages show them, of a control piece, of types of the demo": (
        "AQL ENTRY TEXT FILE FILES HASH WHAT REF MATCH MJL21193 MJL21194"
    ),
}
NO_CODES = frozenset(word for words in _NONE.values() for word in words.split())


def _symbols() -> set[str]:
    names = (
        {q.symbol for q in QUANTITIES.values()} | set(CONDITIONS) | set(CHARACTERISTICS) | set(RATINGS) | set(CURVES)
    )
    return {name.upper() for name in names}


@lru_cache(maxsize=1)
def emitted() -> dict[str, str]:
    """Code -> a place in the source where it stands."""
    known = _symbols() | NO_CODES
    found: dict[str, str] = {}
    for path in sorted((ROOT / "partscreen").rglob("*.py")):
        for code, line in _texts(ast.parse(path.read_text(encoding="utf-8"))):
            if code not in known:
                found.setdefault(code, f"{path.relative_to(ROOT)}, line {line}")
    return found


def _texts(tree: ast.Module) -> Iterator[tuple[str, int]]:
    above = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Constant) and isinstance(node.value, str)):
            continue
        if len(node.value) < 3 or not _CODE.match(node.value) or _no_code_here(node, above):
            continue
        yield node.value, node.lineno


def _no_code_here(node: ast.AST, above: dict[ast.AST, ast.AST]) -> bool:
    parent = above[node]
    if isinstance(parent, ast.keyword):
        return parent.arg in _OF_HELP
    if isinstance(parent, ast.List):  # __all__
        over = above[parent]
        return isinstance(over, ast.Assign) and ast.unparse(over.targets[0]) == "__all__"
    called = ast.unparse(parent.func).split(".")[-1] if isinstance(parent, ast.Call) else ""
    return called in _OF_TABLES or called.startswith(("Option", "Argument"))
