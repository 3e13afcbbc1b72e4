"""The report of 100 simulated parts: how large the page is, and how long Chromium takes to print it as PDF.

Run: python -m benchmarks.report_size. Twice: one lot of 100, of which only parts with a reason of their own are drawn,
and four lots of 25, where every part is drawn: the largest report of so many parts. A third of each lot has a smaller
die. Aims: below 10 MB of HTML, PDF within 15 s on two quiet cores.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from partscreen.simulate.bench import read_lot
from partscreen.simulate.cards import type_card
from partscreen.simulate.kits import BenchKit, Plan, Sitting
from partscreen.simulate.parts import Alternatives, Kind, draw_lot
from partscreen.simulate.write_files import number, rows_of
from partscreen.workflow import ScreenOptions, screen_files, write_outcome

LARGEST_HTML = 10e6  # bytes
_KIT = BenchKit("pulse set-up", 10.0, gain_noise=0.002, sat_noise_relative=0.003, fixture=1.2e-12)
_PLAN = Plan(gain_ic=np.geomspace(0.05, 7.0, 14), sat_ic=np.geomspace(0.5, 8.0, 8), capacitance=((0, 0.0), (1, 10.0)))
_PRINT = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND")


def write_lots(folder: Path, lots: int, parts: int) -> list[Path]:
    """Files of invented lots of so many parts each; a third of them with a die of two fifths of the area."""
    kinds = [Kind.SMALLER_DIE if i % 3 == 2 else Kind.SOUND for i in range(parts)]
    lines = ["lot,part,sweep,IC [A],IB [mA],VCE [V],VBE [V],case temp [degC]"]
    spots = ["lot,part,quantity,value,unit,conditions"]
    for i in range(lots):
        name = f"S{i + 1}"
        ways = Alternatives(area=(0.39, 0.41))
        drawn = draw_lot(type_card("2SC5200"), kinds, 100 + i, lot=name, alternatives=ways)
        readings = read_lot(drawn, _KIT, _PLAN, 200 + i, Sitting(air=296.55))
        for row in rows_of(readings):
            told = (number(row.ic), number(1e3 * row.ib), f"{row.vce:.3f}", f"{row.vbe:.3f}", f"{row.case:.1f}")
            lines.append(",".join((name, row.part, row.sweep, *told)))
        for part, (c_be, c_cb) in zip(readings.names, readings.cap, strict=True):
            spots.append(f'{name},{part},C_BE,{1e9 * c_be:.3f},nF,"VEB=0 V, f=1 MHz, collector=open"')
            spots.append(f'{name},{part},C_CB,{1e12 * c_cb:.1f},pF,"VCB=10 V, f=1 MHz, emitter=open"')
    paths = [folder / "bag.csv", folder / "capacitance.csv"]
    for path, text in zip(paths, (lines, spots), strict=True):
        path.write_text("\n".join(text) + "\n", encoding="utf-8")
    return paths


def write_report(folder: Path, lots: int, parts: int) -> tuple[Path, int]:
    """The report of invented lots, and how many figures it holds."""
    outcome = screen_files(write_lots(folder, lots, parts), ScreenOptions(type_name="2SC5200"))
    write_outcome(outcome, out=folder / "report")
    page = folder / "report" / "report.html"
    return page, page.read_text(encoding="utf-8").count("<figure")


def print_pdf(page: Path, pdf: Path, chromium: str) -> tuple[float, float]:
    """Print a page to PDF; wall seconds, and processor seconds of the browser with every process it starts.

    The processor seconds tell what a quiet machine would need at most: other work on the machine lengthens only the
    wall seconds. Where /proc is missing they are not known (nan).
    """
    profile = pdf.parent / "profile"
    arguments = [chromium, *_PRINT, f"--user-data-dir={profile}", "--no-pdf-header-footer", f"--print-to-pdf={pdf}"]
    start, seen = time.perf_counter(), dict[int, float]()
    with subprocess.Popen([*arguments, page.as_uri()], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as browser:
        while browser.poll() is None:
            seen |= _family(browser.pid)
            time.sleep(0.05)
        if browser.returncode:
            raise SystemExit(f"Chromium ended with {browser.returncode}")
    return time.perf_counter() - start, sum(seen.values()) if seen else float("nan")


def _family(root: int) -> dict[int, float]:
    """Processor seconds so far of a process and all that it started, by number (Linux, proc(5))."""
    ticks = os.sysconf("SC_CLK_TCK")
    parents, used = dict[int, int](), dict[int, float]()
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue  # it ended meanwhile
        parents[int(entry.name)], used[int(entry.name)] = int(fields[1]), (int(fields[11]) + int(fields[12])) / ticks
    found = {}
    for process, seconds in used.items():
        above = process
        while above in parents and above != root:
            above = parents[above]
        if above == root:
            found[process] = seconds
    return found


def _pages(pdf: Path) -> int:
    """Pages of a PDF, counted by their entries."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))


def main() -> None:
    """Print the table."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    for lots, parts in ((1, 100), (4, 25)):
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            page, figures = write_report(folder, lots, parts)
            print(f"{lots} lot(s) of {parts}: {page.stat().st_size / 1e6:.1f} MB of HTML, {figures} figures")
            if chromium is None:
                print("Chromium is not installed: no PDF", file=sys.stderr)
                continue
            pdf = folder / "report.pdf"
            wall, used = print_pdf(page, pdf, chromium)
            size = f"{_pages(pdf)} pages, {pdf.stat().st_size / 1e6:.1f} MB"
            print(f"  PDF: {wall:.1f} s, {used:.1f} processor seconds of all processes, {size}")
    print("aims: below 10 MB of HTML, PDF within 15 s")


if __name__ == "__main__":
    main()
