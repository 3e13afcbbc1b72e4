"""partscreen/workflow/__init__.pyi: what `partscreen.workflow` loads on first use, for type checkers and editors."""

from __future__ import annotations

from partscreen import workflow

_HEAD = '"""Written from the table in `__init__.py` by `python -m tests.docs.refresh --written`."""\n'


def stub() -> str:
    """The stub as it should read today."""
    out = [_HEAD]
    for module, names in sorted(workflow._NAMES.items()):
        out += [f"from partscreen.workflow.{module} import {name} as {name}" for name in sorted(names)]
    out += ["", "_NAMES: dict[str, tuple[str, ...]]", "__all__: list[str]", ""]
    return "\n".join(out)
