"""How the pages become a site (`make site`): Sphinx with MyST, every warning an error, nothing fetched."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent))

import tree
from pygments.lexers.special import TextLexer

from partscreen import __version__ as release

__all__ = ["release"]  # Sphinx reads it
project = "partscreen"
author = "partscreen contributors"
copyright = "partscreen contributors"  # a name that Sphinx reads
root_doc = "docs/index"
source_suffix = {".md": "markdown"}
# The sources are the repository itself, so that a link leads to the same place on a code host and here.
include_patterns = ["README.md", "DEVELOPERS.md", "docs/*.md", "docs/how_to/*.md", "docs/changes/*.md"]
exclude_patterns = [".*", "docs/site", "partscreen", "tests", "benchmarks", "reference_curves", "notebooks", "site"]
extensions = ["myst_parser"]
myst_heading_anchors = 4
nitpicky = True
smartquotes = False  # an option stays --option

html_theme = "sheet"
html_theme_path = ["."]
html_title = "partscreen"
html_show_sourcelink = False
html_copy_source = False
html_use_index = False
html_permalinks = False
html_additional_pages = {"index": "to_start.html"}
highlight_language = "none"  # one ink
_AS_TEXT = ("console", "sh", "bash", "powershell", "csv", "toml", "json", "python")


def setup(app: Any) -> dict[str, bool]:
    """Called by Sphinx: code in one ink, and the tree that the start page's lists of links say."""
    for language in _AS_TEXT:
        app.add_lexer(language, TextLexer)
    app.connect("source-read", tree.add_tree)
    return {"parallel_read_safe": True}
