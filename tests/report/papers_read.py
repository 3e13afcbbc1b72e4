"""Papers read back by programs that know nothing of how they were made: poppler for text and picture, ZXing for codes.

A machine without poppler skips these tests with one line each; in CI (environment variable CI set) that is a failure.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from partscreen.results import LotResult, Screening

FROZEN = Path(__file__).resolve().parents[1] / "frozen"
DPI = 600
MM = 25.4 / DPI  # of a pixel

needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None and not os.environ.get("CI"),
    reason="poppler is not installed (apt-get install poppler-utils)",
)


def frozen(lot: str, **changes: object) -> Screening:
    """The frozen result of a demo lot (invented readings), with fields of its lot changed."""
    whole = Screening.model_validate_json((FROZEN / f"{lot}.json").read_bytes())
    return with_lot(whole, **changes)


def with_lot(whole: Screening, **changes: object) -> Screening:
    """The result with fields of its only lot changed."""
    lots: list[LotResult] = [lot.model_copy(update=changes) for lot in whole.lots]
    return whole.model_copy(update={"lots": lots})


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    """All text of a PDF, as pdftotext gives it."""
    path = folder / "paper.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


def flat(text: str) -> str:
    """Text without line ends, doubled blanks and blanks of no width."""
    return re.sub(r"\s+", " ", text.replace("\u200b", "").replace("\u00a0", " "))


def closed(text: str) -> str:
    """Text without any blank, to find words that were broken over lines."""
    return re.sub(r"[\s\u200b]+", "", text)


def pages(pdf: bytes, folder: Path, dpi: int = DPI) -> list[np.ndarray]:
    """Pages as grey pictures, 0 black to 255 white."""
    from PIL import Image

    path = folder / "paper.pdf"
    path.write_bytes(pdf)
    for old in folder.glob("page-*.png"):
        old.unlink()
    subprocess.run(["pdftoppm", "-gray", "-png", "-r", str(dpi), str(path), str(folder / "page")], check=True)
    return [np.asarray(Image.open(one).convert("L")) for one in sorted(folder.glob("page-*.png"))]


def codes_on(page: np.ndarray) -> list[str]:
    """What the QR codes of a page say, from top to bottom and left to right."""
    import zxingcpp

    found = zxingcpp.read_barcodes(page, formats=zxingcpp.BarcodeFormat.QRCode)
    found.sort(key=lambda one: (round(one.position.top_left.y / 60), one.position.top_left.x))
    return [one.text for one in found]
