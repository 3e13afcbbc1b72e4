"""From plain data and a template to a PDF, by typst. Data goes in as JSON: a text stays a text, whatever it holds."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from partscreen.report.papers.visible import all_visible

TEMPLATES = Path(__file__).parent / "templates"


@lru_cache(maxsize=1)
def _fonts() -> Any:
    """Fonts that come with typst and matplotlib; the machine's own only for letters that those do not have."""
    import matplotlib
    import typst

    shipped = str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")
    return typst.Fonts(include_system_fonts=True, font_paths=[shipped])


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
        (root / "data.json").write_text(json.dumps(all_visible(dict(data)), allow_nan=False), encoding="utf-8")
        compiler = typst.Compiler(root=folder, font_paths=_fonts())
        made = compiler.compile(str(root / f"{template}.typ"), format="pdf", timestamp=0)
    assert isinstance(made, bytes)
    return made
