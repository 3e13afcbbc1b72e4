"""Write again what the pages show of the program: the worked bag, the answers of commands, the picture.

    python -m tests.docs.refresh               all of it
    python -m tests.docs.refresh --no-picture  where Chromium is missing

Running it twice changes nothing the second time.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.docs import bag, picture
from tests.docs.pages import PAGES, prepare, refreshed, same


def main(with_picture: bool) -> None:
    """Refresh in place; says what changed."""
    for path in bag.write():
        print(f"made: {path.name}")
    for page in PAGES:
        old = page.read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            prepare(Path(folder))
            new = refreshed(old, Path(folder))
        if new != old:
            page.write_text(new, encoding="utf-8", newline="\n")
            print(f"changed: {page.name}" + (" (last digits only)" if same(old, new) else ""))
    if with_picture:
        with tempfile.TemporaryDirectory() as folder:
            print(f"made: {picture.take(Path(folder)).name}")


if __name__ == "__main__":
    main("--no-picture" not in sys.argv[1:])
