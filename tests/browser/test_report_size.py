"""A report of 100 parts stays below 10 MB and prints; the seconds are measured by benchmarks.report_size."""

from __future__ import annotations

import re

import pytest

from benchmarks.report_size import LARGEST_HTML, print_pdf, write_report
from tests.browser.tools import need_chromium


@pytest.mark.parametrize(("lots", "parts"), [(1, 100), (4, 25)])
def test_the_report_of_100_simulated_parts_is_small_and_prints(tmp_path, lots, parts):
    page, figures = write_report(tmp_path, lots, parts)
    text = page.read_text(encoding="utf-8")
    assert page.stat().st_size < LARGEST_HTML
    assert figures >= 4 * (100 if lots == 4 else 33)  # every part that is to be drawn is
    assert len(re.findall(r"S\d-\d+", text)) >= 100
    pdf = tmp_path / "report.pdf"
    print_pdf(page, pdf, need_chromium())
    paper = pdf.read_bytes()
    assert paper.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) >= 20
