"""What nobody writes by hand: pages of codes, forms of results and functions, and the stub of `partscreen.workflow`."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from tests.docs.written_api import api_page
from tests.docs.written_codes import codes_page
from tests.docs.written_json import json_page, schema_files
from tests.docs.written_rows import with_rows
from tests.docs.written_stub import stub

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
STUB = ROOT / "partscreen" / "workflow" / "__init__.pyi"


@lru_cache(maxsize=1)
def pages() -> dict[Path, str]:
    """Path and text of each, as they should read today."""
    found = {DOCS / "codes.md": codes_page(), DOCS / "json.md": json_page(), DOCS / "api.md": api_page(), STUB: stub()}
    texts = [(DOCS / name).read_text(encoding="utf-8") for name in ("evidence.md", "honesty.md")]
    found[DOCS / "evidence.md"] = with_rows(texts[0], texts[1])
    return found | {DOCS / "schemas" / name: text for name, text in schema_files().items()}


def left_over() -> list[Path]:
    """Schema files of forms that no longer exist."""
    return sorted(set((DOCS / "schemas").glob("*")) - set(pages()))


def write() -> list[Path]:
    """Write those that changed, take out what is left over; gives the files changed."""
    changed = []
    for path, text in pages().items():
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
            changed.append(path)
    for path in left_over():
        path.unlink()
        changed.append(path)
    return changed
