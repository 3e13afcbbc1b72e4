"""Write again what the pages show of the program: codes, forms, functions, the worked bag, answers, the picture.

    python -m tests.docs.refresh               all of it
    python -m tests.docs.refresh --written     only what is written from the source: codes, JSON, functions (seconds)
    python -m tests.docs.refresh --no-picture  where Chromium is missing
    python -m tests.docs.refresh docs/plan.md  the answers on these pages only

Running it twice changes nothing the second time.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from tests.docs import bag, how_to_files, picture, written
from tests.docs.pages import PAGES, prepare, refreshed, same


def refresh(page: Path) -> None:
    """Run the commands of one page and fill in their answers; says what changed."""
    old = page.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as own, tempfile.TemporaryDirectory() as folder:
        os.environ["XDG_CONFIG_HOME"] = own  # what a page saves for later is not saved for whoever refreshes it
        prepare(Path(folder))
        new = refreshed(old, Path(folder))
    if new != old:
        page.write_text(new, encoding="utf-8", newline="\n")
        print(f"changed: {page.name}" + (" (last digits only)" if same(old, new) else ""))


def main(options: list[str]) -> None:
    """Refresh in place; says what changed."""
    chosen = [Path(word).resolve() for word in options if not word.startswith("--")]
    for page in chosen:
        refresh(page)
    if chosen:
        return
    for path in written.write():
        print(f"written: {path.name}")
    if "--written" in options:
        return
    for path in (*bag.write(), *how_to_files.write()):
        print(f"made: {path.name}")
    for page in PAGES:
        refresh(page)
    if "--no-picture" not in options:
        with tempfile.TemporaryDirectory() as folder:
            print(f"made: {picture.take(Path(folder)).name}")


if __name__ == "__main__":
    main(sys.argv[1:])
