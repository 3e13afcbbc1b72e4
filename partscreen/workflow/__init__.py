"""One function per user question; the only place where rooms meet. Names are loaded on first use."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partscreen.workflow.demo import run_demo
    from partscreen.workflow.lookup import explain_files, tell_types
    from partscreen.workflow.options import Outcome, Progress, ScreenOptions
    from partscreen.workflow.screening import check_part, exit_code, screen_files
    from partscreen.workflow.stage import check_stage, load_screening, replace_type, write_stage
    from partscreen.workflow.writing import write_outcome

_HOME = {
    "run_demo": "demo",
    "explain_files": "lookup",
    "tell_types": "lookup",
    "Outcome": "options",
    "Progress": "options",
    "ScreenOptions": "options",
    "check_part": "screening",
    "exit_code": "screening",
    "screen_files": "screening",
    "check_stage": "stage",
    "load_screening": "stage",
    "replace_type": "stage",
    "write_stage": "stage",
    "write_outcome": "writing",
}

__all__ = [
    "Outcome",
    "Progress",
    "ScreenOptions",
    "check_part",
    "check_stage",
    "exit_code",
    "explain_files",
    "load_screening",
    "replace_type",
    "run_demo",
    "screen_files",
    "tell_types",
    "write_outcome",
    "write_stage",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"partscreen.workflow.{_HOME[name]}"), name)
    raise AttributeError(f"module 'partscreen.workflow' has no attribute {name!r}")
