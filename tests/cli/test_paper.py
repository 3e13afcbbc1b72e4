"""`partscreen paper`: each paper from a result on disk; messages and exit codes."""

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.report.papers_invented import result
from tests.report.papers_read import flat, needs_poppler, text_of

PAPERS = ("lot", "refund", "labels", "record")


def run(*arguments):
    return CliRunner().invoke(app, ["paper", *map(str, arguments)])


@pytest.fixture
def on_disk(tmp_path):
    path = tmp_path / "result.json"
    path.write_text(result(sheet={"order": "PO-1"}).model_dump_json(by_alias=True), encoding="utf-8")
    return path


@pytest.mark.parametrize("paper", PAPERS)
def test_each_paper_is_written_and_named(paper, on_disk, tmp_path):
    out = tmp_path / "new folder" / f"{paper}.pdf"
    done = run(paper, on_disk, "--out", out)
    assert done.exit_code == 0, done.output
    assert done.stderr == f"written: {out}\n"
    assert done.stdout == ""
    assert out.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("paper", PAPERS)
def test_a_file_that_is_there_is_kept_unless_said(paper, on_disk, tmp_path):
    out = tmp_path / "a.pdf"
    out.write_text("mine")
    done = run(paper, on_disk, "--out", out)
    assert done.exit_code == 3
    assert out.read_text() == "mine"
    assert run(paper, on_disk, "--out", out, "--overwrite").exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("paper", PAPERS)
def test_unusable_results_and_lots_exit_with_three(paper, on_disk, tmp_path):
    out = tmp_path / "a.pdf"
    assert "cannot be read" in run(paper, tmp_path / "nowhere.json", "--out", out).stderr
    bad = tmp_path / "bad.json"
    bad.write_text("[]")
    done = run(paper, bad, "--out", out)
    assert (done.exit_code, out.exists()) == (3, False)
    assert "no result of `partscreen screen`" in done.stderr
    assert "name one with --lot: Q" in run(paper, on_disk, "--out", out, "--lot", "Z").stderr
    assert run(paper, on_disk).exit_code == 2


@needs_poppler
def test_refund_takes_language_listing_photo_part_and_date(on_disk, tmp_path):
    from PIL import Image

    Image.new("RGB", (30, 20), (9, 9, 9)).save(tmp_path / "die.png")
    out = tmp_path / "r.pdf"
    done = run("refund", on_disk, "--out", out, "--language", "es", "--listing", "10 piezas nuevas", "--photo",
               tmp_path / "die.png", "--part", "Q-01", "--on", "2026-11-25")  # fmt: skip
    assert done.exit_code == 0, done.output
    text = flat(text_of(out.read_bytes(), tmp_path))
    for words in ("Mediciones de las piezas devueltas", "10 piezas nuevas", "die.png", "2026-11-25", "PO-1"):
        assert words in text
    assert "Q-02" not in text


def test_bad_date_photo_match_and_language_exit_with_three(on_disk, tmp_path):
    out = tmp_path / "r.pdf"
    (tmp_path / "no.jpg").write_text("no picture")
    for arguments, told in (
        (("refund", "--on", "25.11.2026"), "'25.11.2026' is no date"),
        (("refund", "--photo", tmp_path / "no.jpg"), "is no picture"),
        (("refund", "--language", "xx"), "is no language"),
        (("labels", "--match", tmp_path / "no.jpg"), "is no result of `partscreen match`"),
        (("labels", "--grid", "3 by 4"), "is no piece of a grid"),
        (("record", "--part", "X"), "'X' is no part of the lot"),
    ):
        done = run(arguments[0], on_disk, "--out", out, *arguments[1:])
        assert (done.exit_code, out.exists()) == (3, False)
        assert told in done.stderr


@needs_poppler
def test_lot_report_of_a_recorded_lot_prints_entry_and_head_of_the_book(tmp_path):
    import shutil

    from partscreen.workflow import ScreenOptions, keep_screening, screen_files, show_book, write_outcome
    from partscreen.workflow.book.common import Asked
    from tests.docs.bag import FOLDER

    files, options = [FOLDER / "bag.csv"], ScreenOptions(type_name="2SC5200")
    book = str(tmp_path / "book.db")
    outcome = keep_screening(screen_files(files, options, figures=False), files, options, book)
    assert not outcome.not_recorded
    write_outcome(outcome, json_out=tmp_path / "r.json")
    out = tmp_path / "lot.pdf"
    done = run("lot", tmp_path / "r.json", "--out", out, "--book", book)
    assert done.exit_code == 0, done.output
    head = show_book(Asked(), book).head
    text = text_of(out.read_bytes(), tmp_path)
    assert head in text.replace("\n", "").replace("\u200b", "")
    assert "Bench book: lot in entry" in flat(text)
    shutil.copy(tmp_path / "r.json", tmp_path / "other.json")
    done = run("lot", tmp_path / "other.json", "--out", tmp_path / "x.pdf", "--book", tmp_path / "none.db")
    assert done.exit_code == 3
