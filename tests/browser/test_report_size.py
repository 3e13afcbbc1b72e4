"""A report of 100 parts stays below 10 MB and prints; the seconds are measured by benchmarks.report_size."""

from __future__ import annotations

import re

from benchmarks.report_size import LARGEST_HTML, print_pdf, write_report
from tests.browser.tools import need_chromium


def test_the_report_of_100_simulated_parts_that_are_all_drawn_is_small_and_prints(tmp_path):
    page, figures = write_report(tmp_path, lots=4, parts=25)
    text = page.read_text(encoding="utf-8")
    assert page.stat().st_size < LARGEST_HTML
    assert figures >= 4 * 100 + 4 * 4  # those of every part and of every lot
    assert len(set(re.findall(r'id="(lot\d+-part\d+)"', text))) == 100
    pdf = tmp_path / "report.pdf"
    print_pdf(page, pdf, need_chromium())
    paper = pdf.read_bytes()
    assert paper.startswith(b"%PDF")
    assert 50 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 200  # about a page a part
