"""What looks at the pages from outside: Chromium by its path, accessibility rules (axe-core), an HTML checker (vnu).

The last two come through `npm ci` in this folder (`make checkers`), at the versions of package-lock.json.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parent
AXE = FOLDER / "node_modules" / "axe-core" / "axe.min.js"
VNU = FOLDER / "node_modules" / "vnu-jar" / "build" / "dist" / "vnu.jar"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
JAVA = shutil.which("java")
# Every name but this machine's is unresolvable, so that nothing could be fetched unnoticed.
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1"]
STEP, WAIT = 60_000, 240_000  # ms; what a busy machine may take for a step, and to judge the demo


def need(there: object, what: str, way: str) -> None:
    """Skip where something is not installed; fail in CI, which must install it."""
    if there:
        return
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing in CI ({way})")
    pytest.skip(f"{what} is not installed ({way})")


def need_chromium() -> str:
    """The path of Chromium."""
    need(CHROMIUM, "Chromium", "apt-get install chromium")
    assert CHROMIUM is not None
    return CHROMIUM


@lru_cache(maxsize=1)
def axe_source() -> str:
    """The rules of accessibility as script."""
    need(AXE.is_file(), "axe-core", "make checkers")
    return AXE.read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class Broken:
    """One rule of accessibility that a page breaks. `impact`: minor, moderate, serious or critical."""

    rule: str
    impact: str
    help: str
    where: str

    @property
    def grave(self) -> bool:
        """Serious or critical."""
        return self.impact in ("serious", "critical")


_ASK = """async () => {
  const found = await axe.run(document, { resultTypes: ["violations"], elementRef: false, preload: false });
  return found.violations.map(v => ({ rule: v.id, impact: v.impact || "serious", help: v.help,
    where: v.nodes.slice(0, 3).map(n => n.target.join(" ") + " " + n.html.slice(0, 160)).join(" | ") }));
}"""


def broken_rules(tab: Any) -> list[Broken]:
    """What axe-core finds on the page of a tab, told by the browser's own tools: the page's policy stays in force."""
    tab.evaluate(axe_source())  # the debugger's own evaluation, which the page's policy does not concern
    return [Broken(**one) for one in tab.evaluate(_ASK)]


def html_errors(files: list[Path]) -> list[str]:
    """Errors of the Nu Html Checker in HTML and style sheets, in one run of Java."""
    need(JAVA, "a Java runtime", "apt-get install default-jre-headless")
    need(VNU.is_file(), "vnu-jar", "make checkers")
    command = [
        str(JAVA),
        "-Xss4m",
        "-jar",
        str(VNU),
        "--format",
        "json",
        "--also-check-css",
        "--stdout",
        *map(str, files),
    ]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    try:
        told = json.loads(ran.stdout)["messages"]
    except (json.JSONDecodeError, KeyError):
        raise AssertionError(f"the HTML checker did not answer: {ran.stdout[-500:]} {ran.stderr[-500:]}") from None
    grave = [one for one in told if one["type"] != "info"]
    return [
        f"{Path(one.get('url', '')).name}:{one.get('lastLine', '')}: {one['message']} {one.get('extract', '')[:160]}"
        for one in grave
    ]
