"""Small wrong changes of a module, one at a time: what a slip of the hand would leave behind."""

from __future__ import annotations

import ast
import copy
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

BOUNDARY = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
OPPOSITE = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
OPPOSITE |= {ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
ARITHMETIC = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
ARITHMETIC |= {ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd}
ARITHMETIC |= {ast.MatMult: ast.Mult}
NAMES = {"min": "max", "minimum": "maximum", "any": "all", "floor": "ceil", "argmin": "argmax", "nanmin": "nanmax"}
NAMES |= {"fmin": "fmax", "cdf": "sf", "logcdf": "logsf", "cumsum": "cumprod"}
NAMES |= {new: old for old, new in NAMES.items()}
Path = tuple[tuple[str, int | None], ...]
_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef)


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change. `key` names it without line numbers: place, change, and which of several alike."""

    module: str
    line: int
    place: str
    change: str
    count: int
    path: Path
    new: ast.AST
    original: ast.Module

    def tree(self) -> ast.Module:
        """The module with the change in it."""
        mutated = copy.deepcopy(self.original)
        _put(mutated, self.path, ast.copy_location(copy.deepcopy(self.new), _at(mutated, self.path)))
        return ast.fix_missing_locations(mutated)

    @property
    def on_import(self) -> bool:
        """Whether it runs when the module is imported, not when a function is called."""
        node: ast.AST = self.original
        for name, index in self.path:
            if isinstance(node, _FUNCTIONS) and name == "body":
                return False
            held = getattr(node, name)
            node = held if index is None else held[index]
        return True

    @property
    def key(self) -> str:
        """Stable while the code around it moves."""
        return f"{self.module}::{self.place}::{self.change}" + (f"#{self.count}" if self.count else "")


def mutants(source: str, module: str) -> list[Mutant]:
    """Every mutant of a module in the order of its text."""
    tree = ast.parse(source)
    found: list[Mutant] = []
    seen: dict[tuple[str, str], int] = defaultdict(int)
    for path, place in _nodes(tree, (), "module"):
        node = _at(tree, path)
        for new in _changed(node):
            change = " ".join(f"{_said(node)} -> {_said(new)}".split())[:160]
            count = seen[place, change]
            found.append(Mutant(module, node.lineno, place, change, count, path, new, tree))
            seen[place, change] += 1
    return found


def _said(node: ast.AST) -> str:
    return f"if {ast.unparse(node.test)}" if isinstance(node, ast.If) else ast.unparse(node)


def _at(tree: ast.AST, path: Path) -> ast.AST:
    node = tree
    for name, index in path:
        held = getattr(node, name)
        node = held if index is None else held[index]
    return node


def _put(tree: ast.AST, path: Path, new: ast.AST) -> None:
    name, index = path[-1]
    parent = _at(tree, path[:-1])
    if index is None:
        setattr(parent, name, new)
    else:
        getattr(parent, name)[index] = new


def _nodes(node: ast.AST, path: Path, place: str) -> Iterator[tuple[Path, str]]:
    """Every node that may change; not annotations, imports, docstrings, messages of errors, or type-check blocks."""
    for name, held in ast.iter_fields(node):
        if name in ("annotation", "returns", "type_params", "decorator_list", "type_comment", "exc"):
            continue
        for index, child in enumerate(held) if isinstance(held, list) else [(None, held)]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Import | ast.ImportFrom | ast.JoinedStr):
                continue
            if _is_alias(child, place):
                continue
            inner = (*path, (name, index))
            own = place
            if isinstance(child, (*_FUNCTIONS, ast.ClassDef)):
                own = child.name if place == "module" else f"{place}.{child.name}"
            yield inner, own
            yield from _nodes(child, inner, own)


def _is_alias(node: ast.AST, place: str) -> bool:
    """`Floats = npt.NDArray[np.float64]`: a type, not a value."""
    return place == "module" and isinstance(node, ast.Assign) and "NDArray" in ast.unparse(node.value)


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(left=left, ops=ops, comparators=others):
            for index, op in enumerate(ops):
                for table in (BOUNDARY, OPPOSITE):
                    if type(op) in table:
                        yield ast.Compare(left, [*ops[:index], table[type(op)](), *ops[index + 1 :]], others)
        case ast.BinOp(left=left, op=op, right=right) if type(op) in ARITHMETIC and not _is_text(node):
            yield ast.BinOp(left, ARITHMETIC[type(op)](), right)
        case ast.AugAssign(target=target, op=op, value=value):
            if type(op) in ARITHMETIC:
                yield ast.AugAssign(target, ARITHMETIC[type(op)](), value)
            yield ast.Pass()
        case ast.UnaryOp(op=ast.USub() | ast.Not() | ast.Invert(), operand=operand):
            yield operand
        case ast.BoolOp(op=op, values=values):
            yield ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), values)
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float() as value):
            yield ast.Constant(value * 2 if value else 1.0)
        case ast.If(test=test, body=body, orelse=orelse) if not isinstance(test, ast.Compare):
            yield ast.If(ast.UnaryOp(ast.Not(), test), body, orelse)
        case ast.IfExp(test=test, body=body, orelse=orelse):
            yield ast.IfExp(test, orelse, body)
        case ast.Return(value=value) if value is not None and not _is_none(value):
            yield ast.Return(ast.Constant(None))
        case ast.Expr(value=ast.Call()) | ast.Raise():
            yield ast.Pass()
        case ast.Continue():
            yield ast.Break()
        case ast.Break():
            yield ast.Continue()
        case ast.Call(func=ast.Name(id=name), args=args, keywords=keywords) if name in NAMES:
            yield ast.Call(ast.Name(NAMES[name], ast.Load()), args, keywords)
        case ast.Call(func=ast.Attribute(value=value, attr=name), args=args, keywords=keywords) if name in NAMES:
            yield ast.Call(ast.Attribute(value, NAMES[name], ast.Load()), args, keywords)


def _is_text(node: ast.BinOp) -> bool:
    """Text put together from pieces: wording, not computing."""
    return any(
        isinstance(side, ast.JoinedStr) or (isinstance(side, ast.Constant) and isinstance(side.value, str))
        for side in (node.left, node.right)
    )


def _is_none(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None
