"""partscreen: decide, before fitting, whether a power transistor is what its marking says.

The public API. Names are loaded on first use, so that importing the package stays quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_PUBLIC = {
    "screen_files": "partscreen.workflow",
    "read_files": "partscreen.readings.import_files",
    "run_demo": "partscreen.workflow",
    "ScreenOptions": "partscreen.workflow",
    "Screening": "partscreen.results",
    "LotResult": "partscreen.results",
    "PartResult": "partscreen.results",
    "Library": "partscreen.reference",
    "ReferenceType": "partscreen.reference",
    "PartscreenError": "partscreen.errors",
    "UnusableInput": "partscreen.errors",
    "UnknownType": "partscreen.errors",
    "Problem": "partscreen.errors",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'partscreen' has no attribute {name!r}")
