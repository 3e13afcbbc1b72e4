"""No form of data that can carry code is read, no text is run, no shell is started, no temporary name is guessable."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted((ROOT / "partscreen").rglob("*.py"))

MODULES = {"pickle", "cPickle", "dill", "cloudpickle", "joblib", "shelve", "marshal", "yaml", "code", "codeop"}
MODULES |= {"subprocess", "pty", "popen2", "commands", "ctypes", "xmlrpc", "telnetlib"}
NAMES = {"eval", "exec", "compile", "__import__", "execfile"}
ATTRIBUTES = {
    ("os", "system"), ("os", "popen"), ("os", "execv"), ("os", "execvp"), ("os", "spawnl"), ("tempfile", "mktemp"),
    ("numpy", "load"), ("np", "load"), ("pd", "read_pickle"), ("pandas", "read_pickle"), ("pd", "eval"),
    ("pandas", "eval"), ("runpy", "run_path"), ("logging", "config"), ("builtins", "eval"), ("builtins", "exec"),
}  # fmt: skip
METHODS = {"read_pickle", "to_pickle", "from_string", "set_options_from_string", "literal_eval_with_calls"}
IMPORTS_BY_NAME = {"partscreen/__init__.py", "partscreen/workflow/__init__.py"}  # from a table in the source


def unsafe(tree: ast.AST) -> Iterator[str]:
    """Every place of a source that could run what comes in with data."""
    for node in ast.walk(tree):
        line = getattr(node, "lineno", 0)
        if isinstance(node, ast.Import | ast.ImportFrom):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else [node.module or ""]
            yield from (f"{line}: import {name}" for name in names if name.split(".")[0] in MODULES)
        elif isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name) and node.func.id in NAMES:
                yield f"{line}: {node.func.id}()"
            if isinstance(node.func, ast.Attribute) and node.func.attr in METHODS:
                yield f"{line}: .{node.func.attr}()"
            for word in node.keywords:
                if word.arg in ("shell", "allow_pickle") and not _is_false(word.value):
                    yield f"{line}: {word.arg}="
        elif isinstance(node, ast.Attribute) and (getattr(node.value, "id", ""), node.attr) in ATTRIBUTES:
            yield f"{line}: {ast.unparse(node)}"


def _is_false(value: ast.expr) -> bool:
    return isinstance(value, ast.Constant) and value.value is False


def by_name(tree: ast.AST) -> bool:
    """Whether a source imports modules by a name that is worked out."""
    called = (n.func for n in ast.walk(tree) if isinstance(n, ast.Call))
    return any(getattr(f, "id", getattr(f, "attr", "")) == "import_module" for f in called)


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_source_runs_what_comes_in_with_data(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert list(unsafe(tree)) == []
    assert not by_name(tree) or str(path.relative_to(ROOT)) in IMPORTS_BY_NAME


@pytest.mark.parametrize(
    "source",
    [
        "import pickle",
        "from joblib import load",
        "import yaml",
        "eval(text)",
        "exec(text)",
        "__import__(name)",
        "import subprocess",
        "os.system(text)",
        "np.load(path)",
        "run(text, shell=True)",
        "loaded(path, allow_pickle=yes)",
        "tempfile.mktemp()",
        "frame.read_pickle(path)",
        "environment.from_string(text)",
    ],
)
def test_the_search_finds_each_unsafe_form(source):
    assert list(unsafe(ast.parse(source)))


def test_work_is_passed_between_own_processes_only():
    """`multiprocessing` sends pickled objects, over pipes that only its own processes hold; no socket."""
    users = {str(p.relative_to(ROOT)): p.read_text(encoding="utf-8") for p in SOURCES}
    users = {name: text for name, text in users.items() if "multiprocessing" in text or "ProcessPool" in text}
    assert users, "the search finds what there is"
    for name, text in users.items():
        for word in (
            "managers",
            "connection.Listener",
            "connection.Client",
            "Listener(",
            "BaseManager",
            "shared_memory",
        ):
            assert word not in text, name


def test_templates_write_what_comes_in_as_text():
    """Jinja2 with escaping on; `|safe` only stands where our own drawing gives SVG."""
    makers = [p for p in SOURCES if "Environment(" in p.read_text(encoding="utf-8")]
    assert makers
    for path in makers:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", getattr(node.func, "attr", "")) == "Environment":
                told = {word.arg: word.value for word in node.keywords}
                assert "autoescape" in told, path
                assert not _is_false(told["autoescape"]), path
