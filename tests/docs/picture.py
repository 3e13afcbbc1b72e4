"""The README's picture: one lot's page of the demo's report, seen by a headless Chromium."""

from __future__ import annotations

import io
import os
import shutil
import subprocess
from pathlib import Path

PICTURE = Path(__file__).resolve().parents[2] / "docs" / "pictures" / "report.png"
LARGEST = 250_000  # bytes
_LOT = "C1"  # a mixed lot: sound parts, smaller dies, one open, one with its leads exchanged
_SIZE = (1100, 2400)  # pixels of the window; the paper below the last line is cut off
# What the picture leaves out: the other lots, the table of all lots, all but two figures, the single parts.
_ONLY_THE_LOT = """
header nav, .skip, header .note, .lot:not({lot}), .end, .lot .parts, .lot article, .lot .parts ~ *,
.figures.wide figure:nth-child(n+3) {{ display: none; }}
body {{ padding-bottom: 0; }} .lot {{ margin-top: 1rem; }}
"""


def chromium() -> str | None:
    """The browser, or None where it is not installed."""
    return shutil.which("chromium") or shutil.which("chromium-browser")


def take(folder: Path, picture: Path = PICTURE) -> Path:
    """Run the demo in `folder` and write the picture.

    Raises
    ------
    RuntimeError
        Chromium is missing, or the picture came out too large.
    """
    from partscreen.workflow import run_demo

    browser = chromium()
    if browser is None:
        raise RuntimeError("the picture needs Chromium (apt-get install chromium)")
    outcome, report = run_demo(folder / "demo_report")
    place = [lot.lot for lot in outcome.screening.lots].index(_LOT) + 1
    page = report.read_text(encoding="utf-8")
    page = page.replace("</style>", _ONLY_THE_LOT.format(lot=f"#lot{place}") + "</style>", 1)
    shown, raw = folder / "lot.html", folder / "raw.png"
    shown.write_text(page, encoding="utf-8")
    flags = ("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--no-first-run")
    offline = ("--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder / 'profile'}")
    window = (f"--window-size={_SIZE[0]},{_SIZE[1]}", f"--screenshot={raw}")
    subprocess.run(
        [browser, *flags, *offline, *window, shown.resolve().as_uri()],
        capture_output=True,
        timeout=120,
        check=True,
        env={**os.environ, "HOME": str(folder)},
    )
    data = _smaller(raw)
    if len(data) >= LARGEST:
        raise RuntimeError(f"the picture has {len(data)} bytes, {LARGEST} are allowed")
    picture.parent.mkdir(parents=True, exist_ok=True)
    picture.write_bytes(data)
    return picture


def _smaller(raw: Path) -> bytes:
    """The picture without the empty paper below it, in 64 colours: a tenth of the bytes, nothing lost to the eye."""
    from PIL import Image, ImageChops

    out = io.BytesIO()
    with Image.open(raw) as image:
        seen = image.convert("RGB")
        paper = Image.new("RGB", seen.size, seen.getpixel((0, seen.height - 1)))
        used = ImageChops.difference(seen, paper).getbbox()
        bottom = min(seen.height, (used[3] if used else seen.height) + 24)
        seen.crop((0, 0, seen.width, bottom)).quantize(64).save(out, format="PNG", optimize=True)
    return out.getvalue()
