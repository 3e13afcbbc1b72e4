"""The report in a real browser: Chromium without a window, offline, with a fresh profile."""

from __future__ import annotations

import re
import struct
import subprocess
import zlib
from pathlib import Path

import pytest

from partscreen.report.html import render_report
from tests.browser.tools import CHROMIUM, need_chromium
from tests.report.invented import screening
from tests.report.page import Page

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


@pytest.fixture(scope="module", autouse=True)
def _browser():
    need_chromium()


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(render_report(*screening(), title="Goods-in <b>&amp;", invented=True), encoding="utf-8")
    return path


def browse(profile: Path, *arguments: str) -> bytes:
    """Run Chromium once on a profile of its own and return what it printed."""
    assert CHROMIUM is not None
    # Every name but the machine itself is unresolvable, so that nothing could be fetched unnoticed.
    offline = ("--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={profile}")
    run = subprocess.run([CHROMIUM, *FLAGS, *offline, *arguments], capture_output=True, timeout=60, check=False)
    assert run.returncode == 0, run.stderr.decode(errors="replace")[-2000:]
    return run.stdout


def grey_rows(png: bytes) -> list[bytes]:
    """The green channel of an 8-bit PNG, row by row (PNG specification, W3C, sections 9 and 10)."""
    width, height, depth, colour = struct.unpack(">IIBB", png[16:26])
    assert depth == 8
    channels = {2: 3, 6: 4}[colour]
    packed, at = b"", 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == b"IDAT":
            packed += png[at + 8 : at + 8 + length]
        at += length + 12
    raw, stride = zlib.decompress(packed), width * channels
    rows: list[bytes] = []
    before = bytearray(stride)
    for y in range(height):
        start = y * (stride + 1)
        row = unfilter(raw[start], bytearray(raw[start + 1 : start + 1 + stride]), before, channels)
        rows.append(bytes(row[1::channels]))
        before = row
    return rows


def unfilter(kind: int, row: bytearray, before: bytearray, step: int) -> bytearray:
    """Undo the filter of one PNG row."""
    for i in range(len(row)):
        left = row[i - step] if i >= step else 0
        corner = before[i - step] if i >= step else 0
        above = before[i]
        if kind == 1:
            row[i] = (row[i] + left) & 255
        elif kind == 2:
            row[i] = (row[i] + above) & 255
        elif kind == 3:
            row[i] = (row[i] + (left + above) // 2) & 255
        elif kind == 4:
            guess = left + above - corner
            near = min((abs(guess - left), 0, left), (abs(guess - above), 1, above), (abs(guess - corner), 2, corner))
            row[i] = (row[i] + near[2]) & 255
    return row


@pytest.mark.parametrize("width", [500, 1200])
def test_the_page_is_painted_with_ink_on_paper_and_fits_its_width(report, tmp_path, width):
    # 500 px: this browser's window is not made narrower; narrower pages are looked at in the frame below.
    shot = tmp_path / "shot.png"
    browse(tmp_path / "profile", f"--window-size={width},1400", f"--screenshot={shot}", report.as_uri())
    rows = grey_rows(shot.read_bytes())
    assert (len(rows[0]), len(rows)) == (width, 1400)
    dark = [sum(value < 110 for value in row) for row in rows]
    share = sum(dark) / (width * 1400)
    assert 0.005 < share < 0.3  # words and lines, not a blank or a black page
    assert sum(count > 0 for count in dark) > 500  # all the way down
    assert all(value > 240 for row in rows for value in row[-6:])  # nothing runs over the right edge


def test_at_360_px_nothing_but_tables_is_wider_than_the_page(report, tmp_path):
    """The page in a frame 360 px wide measures itself; the frame page, not the report, carries the script."""
    frame = tmp_path / "frame.html"
    frame.write_text(
        f"""<iframe srcdoc="" style="width:360px;height:800px;border:0"></iframe><p id="out"></p>
        <template>{report.read_text(encoding="utf-8")}</template>
        <script>
        const inner = document.querySelector("iframe");
        inner.onload = () => {{
          const page = inner.contentDocument;
          const wide = [...page.querySelectorAll("body *")].filter(
            e => !e.closest(".scroll *, svg, .skip") && e.getBoundingClientRect().right > 361);
          const small = [...page.querySelectorAll("figure svg text")].map(e => e.getBoundingClientRect().height);
          out.textContent =
            `width ${{page.body.parentNode.scrollWidth}} wide ${{wide.length}} min ${{Math.min(...small).toFixed(1)}}`;
        }};
        inner.srcdoc = document.querySelector("template").innerHTML;
        </script>""",
        encoding="utf-8",
    )
    dom = browse(tmp_path / "profile", "--dump-dom", "--virtual-time-budget=5000", frame.as_uri()).decode()
    found = re.search(r'id="out">width (\d+) wide (\d+) min ([\d.]+)<', dom)
    assert found is not None
    assert int(found.group(1)) <= 360
    assert int(found.group(2)) == 0
    assert float(found.group(3)) >= 9  # letters in figures stay readable. [px of line height]


def test_the_browser_reads_the_page_as_written_and_asks_for_nothing(report, tmp_path):
    dom = browse(tmp_path / "profile", "--dump-dom", report.as_uri()).decode()
    page = Page(dom)
    assert "Lot B1, 12 parts marked 2SC5200, supplier Birch: 2 rejected, 10 held." in re.sub(r"\s+", " ", page.text)
    assert "Goods-in <b>&amp;" in page.text
    assert page.tags.count("figure") == 4 + 4 * 11
    assert page.references
    assert all(ref.startswith("#") for ref in page.references)
    assert "script" not in page.tags


def test_the_page_prints_to_paper(report, tmp_path):
    pdf = tmp_path / "report.pdf"
    browse(tmp_path / "profile", "--no-pdf-header-footer", f"--print-to-pdf={pdf}", report.as_uri())
    paper = pdf.read_bytes()
    assert paper.startswith(b"%PDF")
    pages = len(re.findall(rb"/Type\s*/Page\b", paper))
    assert 4 <= pages <= 14  # a lot page, its figures, and at most about one page a part
    boxes = {tuple(map(float, box.split())) for box in re.findall(rb"/MediaBox \[([^\]]*)\]", paper)}
    assert len(boxes) == 1
    _, _, wide, high = boxes.pop()
    assert abs(wide - 595.3) < 1.5  # A4. [points]
    assert abs(high - 841.9) < 1.5
