"""Reads a report page the way a browser would, to ask it questions."""

from __future__ import annotations

from html.parser import HTMLParser

_VOID = frozenset({"meta", "br", "link", "img", "input", "hr", "path", "rect", "use"})


class Page(HTMLParser):
    """Ids, references, text and tag balance of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.references: list[str] = []  # values of href and src, and of url(...)
        self.tags: list[str] = []
        self.labelled: list[str] = []
        self.handlers: list[str] = []
        self.open: list[str] = []
        self.errors: list[str] = []
        pieces: list[str] = []
        self._pieces = pieces
        self.feed(html)
        self.close()
        self.text = "".join(pieces)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        if tag not in _VOID:
            self.open.append(tag)
        self._read(attrs)

    def handle_startendtag(self, tag, attrs):
        self.tags.append(tag)
        self._read(attrs)

    def _read(self, attrs):
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            if name in ("href", "src", "xlink:href"):
                self.references.append(value)
            if value and "url(" in value:
                self.references.append(value.split("url(")[1].split(")")[0].strip("\"'"))
            if name in ("aria-labelledby", "aria-describedby"):
                self.labelled += value.split()
            if name.startswith("on"):
                self.handlers.append(name)

    def handle_endtag(self, tag):
        if tag in _VOID:
            return
        if not self.open or self.open[-1] != tag:
            self.errors.append(f"</{tag}> closes {self.open[-1:]} at {self.getpos()}")
        else:
            self.open.pop()

    def handle_data(self, data):
        if "style" not in self.open:
            self._pieces.append(data)
