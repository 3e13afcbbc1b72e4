"""`python -m benchmarks.quality`: write docs/quality.md from what is kept; says whether it changed."""

from __future__ import annotations

from benchmarks.keep import ROOT
from benchmarks.quality.page import quality_page

PAGE = ROOT / "docs" / "quality.md"


def main() -> None:
    """Write the page."""
    text = quality_page()
    if PAGE.exists() and PAGE.read_text(encoding="utf-8") == text:
        print("as it was: docs/quality.md")
        return
    PAGE.write_text(text, encoding="utf-8", newline="\n")
    print("written: docs/quality.md")


if __name__ == "__main__":
    main()
