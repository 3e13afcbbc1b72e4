"""The house rules that a machine can hold."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted((ROOT / "partscreen").rglob("*.py"))
OURS = [*SOURCES, *sorted((ROOT / "tests").rglob("*.py")), *sorted((ROOT / "benchmarks").rglob("*.py"))]


def relative(path: Path) -> str:
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", SOURCES, ids=relative)
def test_source_file_stays_under_400_lines(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) < 400


@pytest.mark.parametrize("path", OURS, ids=relative)
def test_imports_are_absolute(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert not [node.lineno for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.level]


def test_rooms_import_one_way():
    ran = subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


@pytest.mark.parametrize(
    "word",
    [r"/work/", r"/root/", r"\bgenuine (part|transistor)", r"\bfake (part|transistor)"],
)
def test_words_that_must_not_stand_in_the_repository(word):
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout: the list of files is not known")
    found = []
    for name in listed.stdout.splitlines():
        path = ROOT / name
        if path == Path(__file__) or not path.is_file() or path.suffix in {".xlsx", ".png"}:
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        found += [f"{name}: {m.group()}" for m in re.finditer(word, text, re.IGNORECASE)]
    assert not found


def test_heavy_libraries_are_not_loaded_by_importing_the_command_line():
    heavy = "('pandas', 'matplotlib', 'sklearn', 'pint', 'scipy')"
    code = f"import sys, partscreen.cli.app; print([m for m in {heavy} if m in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "[]"
