"""A bag of 20, from sticker to refund sheet, by the commands a person types. Invented parts, filled in by a script."""

import json

from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.report.papers_filled import SMALL, fill, fill_workbook, table_of
from tests.report.papers_read import codes_on, flat, needs_poppler, pages, text_of


def run(*arguments):
    return CliRunner().invoke(app, [*map(str, arguments)])


@needs_poppler
def test_a_bag_goes_from_sticker_to_refund_sheet(tmp_path):
    out = tmp_path / "A1"
    done = run("sheet", "2SC5200", "--lot", "A1", "--count", 20, "--supplier", "Birch", "--out", out)
    assert done.exit_code == 0, done.output

    header, rows = table_of(out / "A1.csv")
    fill_workbook(out / "A1.xlsx", out / "A1_filled.xlsx", fill(header, rows))
    sheet = (out / "A1_lot.csv").read_text(encoding="utf-8-sig").splitlines()
    names, cells = sheet[0].split(","), sheet[1].split(",")
    told = {"order": "PO-4711", "return_by": "2026-12-09", "notes": "listing: 20 novos"}
    line = ",".join(told.get(name, cell) for name, cell in zip(names, cells, strict=True))
    (out / "A1_lot.csv").write_text(f"{sheet[0]}\n{line}\n", encoding="utf-8")

    done = run("screen", out / "A1_filled.xlsx", "--lots", out / "A1_lot.csv", "--json", out / "A1.json")
    assert done.exit_code == 4, done.output
    (lot,) = json.loads((out / "A1.json").read_text(encoding="utf-8"))["lots"]
    rejected = [part["part"] for part in lot["parts"] if part["disposition"] == "reject"]
    assert rejected == [f"A1-T{i + 1:04d}" for i in SMALL]

    for paper, more in (("refund", ("--language", "pt")), ("labels", ()), ("lot", ()), ("record", ())):
        done = run("paper", paper, out / "A1.json", "--out", out / f"{paper}.pdf", *more)
        assert done.exit_code == 0, done.output
    text = flat(text_of((out / "refund.pdf").read_bytes(), tmp_path))
    for words in ("PO-4711", "2026-12-09", "20 novos", "Birch", "Medições das peças devolvidas", *rejected):
        assert words in text
    others = {part["part"] for part in lot["parts"]} - set(rejected)
    assert not others & set(text.split())

    (stickers,) = pages((out / "A1_stickers.pdf").read_bytes(), tmp_path, 300)
    numbered = codes_on(stickers)
    (labels,) = pages((out / "labels.pdf").read_bytes(), tmp_path, 300)
    assert numbered[:-1] == codes_on(labels) == [part["part"] for part in lot["parts"]]
    assert numbered[-1] == "REF"
