"""From plain data and a template to a PDF, by typst. Data goes in as JSON: a text stays a text, whatever it holds."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from partscreen.report.papers.fonts import all_readable, fonts
from partscreen.report.papers.visible import all_visible

TEMPLATES = Path(__file__).parent / "templates"


def press(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None) -> bytes:
    """A PDF from a template of this room.

    Parameters
    ----------
    template : name without ending, for example "lot"
    data : plain values (text, numbers, lists, dicts); every text is made visible here, once
    pictures : name to content of the files that the data names (SVG, PNG, JPEG)

    Returns
    -------
    bytes
        The same input gives the same bytes: no date of making is written.
    """
    import typst

    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        for source in ("common", template):
            (root / f"{source}.typ").write_bytes((TEMPLATES / f"{source}.typ").read_bytes())
        for name, content in (pictures or {}).items():
            (root / name).write_bytes(content)
        (root / "data.json").write_text(
            json.dumps(all_readable(all_visible(dict(data))), allow_nan=False), encoding="utf-8"
        )
        compiler = typst.Compiler(root=folder, font_paths=fonts())
        made = compiler.compile(str(root / f"{template}.typ"), format="pdf", timestamp=0)
    assert isinstance(made, bytes)
    return made
