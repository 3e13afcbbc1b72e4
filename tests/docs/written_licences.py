"""docs/licences.md: under which licence each dependency comes, from what is installed and the lists of the project.

    python -m tests.docs.written_licences

Versions do not stand there: a new version changes nothing, a new or missing dependency does.
"""

from __future__ import annotations

import json
import re
import tomllib
from importlib.metadata import PackageNotFoundError, metadata, requires
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "licences.md"
MADE_BY = "python -m tests.docs.written_licences"

_HEAD = """# Licences of what it stands on

partscreen itself is under the MIT licence (file `LICENSE`). `pip install partscreen` takes the libraries of the first
table along; nothing of them is copied into our files. The other tables are for contributors only: they are not
shipped.

The licences are those that each package states of itself. If you pass the program on, the texts in the packages count,
not this page.
"""
_TAIL = f"""
This page is written by `{MADE_BY}`.
"""
_SHIPPED_WITH = {
    "psycopg": "also `psycopg-binary`, which holds the PostgreSQL client library (its own licence, of the BSD kind)",
    "typst": "holds the Typst compiler",
    "matplotlib": "holds the DejaVu typefaces (their own free licence), which papers use",
}


def project() -> dict[str, list[str]]:
    """Names that pyproject.toml asks for: of the program, and of each extra."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups = {"program": told["dependencies"], **told["optional-dependencies"]}
    return {group: [Requirement(line).name for line in lines] for group, lines in groups.items()}


def taken_along() -> dict[str, bool]:
    """Every package that installing the program brings here; whether the project asks for it by name."""
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    open_, found = [Requirement(line) for line in told], {}
    asked = {canonicalize_name(one.name) for one in open_}
    seen: set[tuple[str, str]] = set()
    while open_:
        one = open_.pop()
        for extra in ("", *sorted(one.extras)):
            name = canonicalize_name(one.name)
            if (name, extra) in seen:
                continue
            seen.add((name, extra))
            found[name] = name in asked
            for line in requires(name) or ():
                inner = Requirement(line)
                if inner.marker is None or inner.marker.evaluate({"extra": extra}):
                    open_.append(inner)
    return dict(sorted(found.items()))


def licence(name: str) -> str:
    """What a package says of its licence, short."""
    try:
        told = metadata(name)
    except PackageNotFoundError:
        return "not installed where this page was written"
    if told["License-Expression"]:
        return str(told["License-Expression"])
    kinds = [line.rsplit(" :: ", 1)[1] for line in told.get_all("Classifier") or () if line.startswith("License ::")]
    kinds = [kind for kind in kinds if kind != "OSI Approved"]
    if kinds:
        return "; ".join(kinds)
    lines = (told["License"] or "").strip().splitlines()
    return lines[0][:80] if lines else "see the files of the package"


def npm() -> dict[str, str]:
    """Tools of the browser tests, from npm, with the licence their lock file states."""
    kept = json.loads((ROOT / "tests" / "browser" / "package-lock.json").read_text(encoding="utf-8"))["packages"]
    return {
        path.removeprefix("node_modules/"): str(told.get("license", "see the files of the package"))
        for path, told in sorted(kept.items())
        if path
    }


def debian() -> list[str]:
    """Programs that continuous integration takes from Debian."""
    return sorted(set(re.findall(r"missing\+=\(([\w.+-]+)\)", (ROOT / ".ci" / "run").read_text(encoding="utf-8"))))


def licences_page() -> str:
    """The page as it should read where this runs."""
    rows = [
        f"| {name} | {licence(name)} | {'by name' if asked else 'with another'} | {_SHIPPED_WITH.get(name, '')} |"
        for name, asked in taken_along().items()
    ]
    program = "\n".join(["| package | licence | asked for | remark |", "|---|---|---|---|", *rows])
    extras = project()
    own = sorted({canonicalize_name(name) for group, names in extras.items() if group != "program" for name in names})
    theirs = "\n".join(["| package | licence |", "|---|---|", *(f"| {name} | {licence(name)} |" for name in own)])
    tools = "\n".join(["| package | licence |", "|---|---|", *(f"| {n} | {kind} |" for n, kind in npm().items())])
    programs = "\n".join(f"- {name}" for name in debian())
    return (
        f"{_HEAD}\n## The program\n\n{program}\n\n## Extras and contributors' tools\n\n`pyarrow` is also the extra "
        f"`parquet`.\n\n{theirs}\n\n## Tools of the browser tests, from npm\n\n{tools}\n\n## Programs of the tests, "
        f"from Debian\n\nThe tests start them as they are; their licences are in `/usr/share/doc/NAME/copyright`.\n\n"
        f"{programs}\n{_TAIL}"
    )


if __name__ == "__main__":
    PAGE.write_text(licences_page(), encoding="utf-8", newline="\n")
    print(f"written: {PAGE.name}")
