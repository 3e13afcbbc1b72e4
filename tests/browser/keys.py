"""A visitor who has a keyboard and no mouse."""

from __future__ import annotations

from typing import Any


def tab_to(tab: Any, words: str, *, exact: bool = False) -> None:
    """Press Tab until what is focused says so (`exact`: and nothing else); the focus must be seen."""
    told = """() => { const e = document.activeElement; const l = e.labels && e.labels[0];
      return [(e.innerText || "") + "|" + (l ? l.innerText : "") + "|" + (e.getAttribute("aria-label") || ""),
              getComputedStyle(e).outlineStyle] }"""
    for _ in range(80):
        tab.keyboard.press("Tab")
        said, outline = tab.evaluate(told)
        if said.partition("|")[0].strip() == words if exact else words in said:
            assert outline != "none", f"the focus on {words!r} is not seen"
            return
    raise AssertionError(f"{words!r} is not reached by Tab")


def chooser_by_key(tab: Any) -> Any:
    """The file chooser that the space bar opens; a headless browser under load was seen to lose the first one."""
    from playwright.sync_api import TimeoutError as PlaywrightTimeout

    for _ in range(3):
        try:
            with tab.expect_file_chooser(timeout=10_000) as chooser:
                tab.keyboard.press("Space")
            return chooser.value
        except PlaywrightTimeout:
            tab_to(tab, "Choose files")
    raise AssertionError("the space bar opens no file chooser")
