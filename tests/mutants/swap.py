"""Put a mutant in the place of the module in this process, also where its names were imported before.

Functions keep their identity and get the mutant's code; plain values are replaced wherever a module holds the old one.
"""

from __future__ import annotations

import functools
import gc
import importlib
import sys
import types
from pathlib import Path
from typing import Any

from tests.mutants.operators import Mutant

OURS = ("partscreen", "tests")
_PLAIN = (bool, int, float, complex, str, bytes, tuple, frozenset, dict, list, set)


def load(mutant: Mutant) -> dict[str, Any]:
    """The names of the mutated module.

    Raises
    ------
    Exception
        Whatever the mutant raises when it is imported.
    """
    name = _dotted(mutant)
    module = importlib.import_module(name)
    code = compile(mutant.tree(), module.__file__ or mutant.module, "exec")
    fresh: dict[str, Any] = {key: value for key, value in vars(module).items() if key.startswith("__")}
    exec(code, fresh)
    return fresh


def put(mutant: Mutant, fresh: dict[str, Any]) -> None:
    """From now on this process runs the mutant. Not undone: call it in a child process."""
    name = _dotted(mutant)
    own = vars(sys.modules[name])
    for key, new in fresh.items():
        if not key.startswith("__") and key in own:
            _replace(name, key, own[key], new)
    _forget()


def _dotted(mutant: Mutant) -> str:
    return mutant.module.removesuffix(".py").replace("/", ".")


def _replace(module: str, key: str, old: Any, new: Any) -> None:
    if isinstance(old, type):
        if old.__module__ == module and isinstance(new, type):
            _replace_class(old, new)
    elif callable(old):
        _replace_function(module, old, new)
    elif (isinstance(old, _PLAIN) or not hasattr(old, "__dict__")) and not _same(old, new):
        for other in list(sys.modules.values()):
            if getattr(other, "__dict__", {}).get(key) is old and _takes(other, module):
                setattr(other, key, new)


def _takes(other: types.ModuleType, module: str) -> bool:
    """Whether this is the module, or one that imports from it: another may hold an equal number of the same name."""
    path = getattr(other, "__file__", None)
    return other.__name__ == module or (
        other.__name__.startswith(OURS)
        and path is not None
        and f"from {module} import" in Path(path).read_text(encoding="utf-8")
    )


def _same(old: Any, new: Any) -> bool:
    return type(old) is type(new) and repr(old) == repr(new)


def _replace_function(module: str, old: Any, new: Any) -> None:
    old, new = _bare(old), _bare(new)
    if not isinstance(old, types.FunctionType) or not isinstance(new, types.FunctionType) or old.__module__ != module:
        return
    old.__code__ = new.__code__
    old.__defaults__ = new.__defaults__
    old.__kwdefaults__ = new.__kwdefaults__


def _bare(function: Any) -> Any:
    while hasattr(function, "__wrapped__"):
        function = function.__wrapped__
    return function


def _replace_class(old: type, new: type) -> None:
    for key, theirs in vars(new).items():
        own = vars(old).get(key)
        if isinstance(own, types.FunctionType):
            _replace_function(own.__module__, own, theirs)
        elif isinstance(own, staticmethod | classmethod):
            _replace_function(old.__module__, own.__func__, theirs.__func__)
        elif isinstance(own, property):
            _replace_function(old.__module__, own.fget, theirs.fget)
        elif isinstance(own, functools.cached_property):
            _replace_function(old.__module__, own.func, theirs.func)
        elif isinstance(own, _PLAIN) and not key.startswith("__") and not _same(own, theirs):
            setattr(old, key, theirs)


def _forget() -> None:
    """Answers kept by functools in the house's own code were the right module's."""
    for held in gc.get_objects():
        if isinstance(held, functools._lru_cache_wrapper) and _bare(held).__module__.startswith(
            ("partscreen", "tests")
        ):
            held.cache_clear()
