"""How large the house is: modules and lines, the longest file, the longest function. Run: python -m benchmarks.tree."""

from __future__ import annotations

import ast
from pathlib import Path

from benchmarks.keep import ROOT


def functions(path: Path) -> list[tuple[int, str]]:
    """Lines and name of every function of a module, docstring left out."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
            last = node.end_lineno or node.lineno
            found.append((last - body[0].lineno + 1, f"{path.relative_to(ROOT)}: {node.name}"))
    return found


def main() -> None:
    """Print a line a fact."""
    for folder in ("partscreen", "tests"):
        sizes = {
            path: len(path.read_text(encoding="utf-8").splitlines())
            for path in (ROOT / folder).rglob("*.py")
            if "node_modules" not in path.parts
        }
        longest = max(sizes, key=lambda path: sizes[path])
        print(
            f"{folder}: {len(sizes)} files, {sum(sizes.values()):,} lines; the longest is "
            f"{longest.relative_to(ROOT)} with {sizes[longest]} lines"
        )
        every = [one for path in sizes for one in functions(path)]
        most, name = max(every)
        print(f"{folder}: {len(every):,} functions, the longest has {most} lines in its body ({name})")


if __name__ == "__main__":
    main()
