"""Steps of a visitor with a mouse, as several tests take them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tests.browser.tools import WAIT

UNDERSTOOD = "How the files were understood"
RESULT = "Which parts to fit"


def arrive(tab: Any, heading: str) -> None:
    """Wait for a page by its heading; the page of a failure ends the wait at once and is told."""
    ends = re.compile(f"{re.escape(heading)}|failed|stopped|cannot be used|not done")
    first = tab.get_by_role("heading", level=1).filter(has_text=ends)
    first.wait_for(timeout=WAIT)
    assert heading in first.inner_text(), tab.inner_text("body")


def bring(tab: Any, address: str, files: Sequence[Path], *, lots: Path | None = None, kit: Path | None = None) -> None:
    """Files onto the desk, to the page of how they were understood."""
    tab.goto(f"{address}/")
    tab.set_input_files("#files", [str(one) for one in files])
    if lots or kit:
        tab.get_by_text("I also have a lot sheet").click()
    if lots:
        tab.set_input_files("#lots", str(lots))
    if kit:
        tab.set_input_files("#kit", str(kit))
    tab.get_by_role("button", name="Read the files").click()
    arrive(tab, UNDERSTOOD)


def judge(tab: Any, *, record: bool = False) -> str:
    """Judge what was brought; the path of its tray."""
    if record:
        tab.get_by_text(re.compile("Settings: ")).click()
        tab.get_by_label("Keep files, readings and result in the bench book").check()
    tab.get_by_role("button", name="Judge the parts").click()
    arrive(tab, RESULT)
    found = re.search(r"/tray/[\w-]+", tab.url)
    assert found is not None
    return found.group()
