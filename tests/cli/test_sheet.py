"""`partscreen sheet`: what it writes, what it refuses, and the round trip from sheet to judgement."""

import csv
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.workflow import ScreenOptions, SheetOptions, screen_files, write_sheet
from tests.report.papers_filled import SMALL, fill, fill_workbook, table_of, write_csv, write_ods
from tests.report.papers_read import codes_on, needs_poppler, pages, text_of

FILES = ["A1.csv", "A1.ods", "A1.xlsx", "A1_lot.csv", "A1_sheet.pdf", "A1_stickers.pdf"]


def run(*arguments):
    return CliRunner().invoke(app, ["sheet", *map(str, arguments)])


def test_sheet_writes_stickers_paper_workbook_text_and_lot_sheet(tmp_path):
    done = run("2SC5200", "--lot", "A1", "--count", 3, "--supplier", "Alder", "--out", tmp_path)
    assert done.exit_code == 0, done.output
    assert sorted(path.name for path in tmp_path.iterdir()) == FILES
    assert done.stderr.count("written: ") == 6
    assert "No kit was given" in done.stderr
    assert done.stdout == ""


@needs_poppler
def test_stickers_of_the_command_carry_the_numbers_asked_for(tmp_path):
    assert run("2SC5200", "--lot", "A1", "--count", 3, "--start", 41, "--out", tmp_path / "o").exit_code == 0
    (page,) = pages((tmp_path / "o" / "A1_stickers.pdf").read_bytes(), tmp_path, 300)
    assert codes_on(page) == ["A1-T0041", "A1-T0042", "A1-T0043", "REF"]


def test_files_that_may_be_filled_in_are_never_replaced_unasked(tmp_path):
    arguments = ("2SC5200", "--lot", "A1", "--count", 3, "--out", tmp_path)
    assert run(*arguments).exit_code == 0
    (tmp_path / "A1.csv").write_text("filled in")
    (tmp_path / "A1_sheet.pdf").unlink()
    done = run(*arguments)
    assert done.exit_code == 3
    assert "may be filled in" in done.stderr
    assert (tmp_path / "A1.csv").read_text() == "filled in"
    assert not (tmp_path / "A1_sheet.pdf").exists()
    assert run(*arguments, "--overwrite").exit_code == 0
    assert (tmp_path / "A1.csv").read_text(encoding="utf-8-sig").startswith("lot,part,control")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--lot", "=A", "--count", 3), "cannot stand on stickers"),
        (("--lot", "a/b", "--count", 3), "cannot stand on stickers"),
        (("--lot", "a\u202eb", "--count", 3), "cannot stand on stickers"),
        (("--lot", "A1", "--count", 0), "part numbers 1 to 0 cannot be"),
        (("--lot", "A1", "--count", 10_000), "cannot be"),
        (("--lot", "A1", "--count", 3, "--from", 2), "3 parts cannot be drawn from 2"),
        (("--lot", "A1", "--count", 3, "--kit", "nowhere.toml"), "no such file"),
        (("--lot", "A1", "--count", 3, "--grid", "38x21 mm, 6x13"), "the stickers do not fit"),
        (("--lot", "A1", "--count", 3, "--grid", "9x9 mm, 6x13"), "QR code"),
        (("--lot", "A-very-long-name-of-a-lot-indeed", "--count", 3), "letters of"),
        (("--lot", "A1", "--count", 3, "--first", 99), "65 places"),
    ],
)
def test_what_cannot_be_made_is_told_with_the_way_out_and_nothing_is_written(arguments, told, tmp_path):
    done = run("2SC5200", *arguments, "--out", tmp_path / "out")
    assert done.exit_code == 3
    assert told in done.stderr
    assert "->" in done.stderr
    assert not (tmp_path / "out").exists()


def test_problems_of_several_settings_are_told_at_once(tmp_path):
    done = run("2SC5200", "--lot", "=A", "--count", 0, "--grid", "x", "--kit", "nowhere.toml", "--out", tmp_path / "o")
    assert all(option in done.stderr for option in ("--lot", "--count", "--grid", "nowhere.toml"))


def test_a_type_that_is_not_known_still_gives_a_sheet_and_says_so(tmp_path):
    done = run("2SC9999X", "--lot", "A1", "--count", 2, "--out", tmp_path)
    assert done.exit_code == 0
    assert "is not in the library" in done.stderr


def test_pieces_drawn_by_lot_repeat_with_their_seed_and_stand_on_the_sheet(tmp_path):
    drawn = []
    for folder in ("a", "b"):
        out = tmp_path / folder
        made = write_sheet("2SC5200", SheetOptions("A1", 8, drawn_from=200, seed=5, out=out))
        _, rows = table_of(out / "A1.csv")
        drawn.append([row[1] for row in rows if row[2] == "no"])
    assert drawn[0] == drawn[1] == sorted(set(drawn[0]))
    assert len(drawn[0]) == 8
    numbers = [int(name.rpartition("T")[2]) for name in drawn[0]]
    assert 1 <= min(numbers) <= max(numbers) <= 200
    assert any("seed 5" in notice and str(numbers[0]) in notice for notice in made.notices)
    other = write_sheet("2SC5200", SheetOptions("A1", 8, drawn_from=200, seed=6, out=tmp_path / "c"))
    assert other.notices != made.notices


@needs_poppler
def test_a_supplier_too_long_for_a_sticker_is_shortened_there_and_told(tmp_path):
    name = "Electronic parts by post and over the counter, Ltd"
    done = run("2SC5200", "--lot", "A1", "--count", 2, "--supplier", name, "--out", tmp_path / "o")
    assert done.exit_code == 0
    assert "shortened on the stickers" in done.stderr
    assert "Electronic pa…" in text_of((tmp_path / "o" / "A1_stickers.pdf").read_bytes(), tmp_path)
    assert name in text_of((tmp_path / "o" / "A1_sheet.pdf").read_bytes(), tmp_path, "-layout")


@pytest.fixture(scope="module")
def filled(tmp_path_factory):
    """A sheet of 20 parts, filled in by a script: folder, header, rows."""
    folder = tmp_path_factory.mktemp("sheet")
    write_sheet("2SC5200", SheetOptions("A1", 20, supplier="Birch", out=folder))
    header, rows = table_of(folder / "A1.csv")
    return folder, header, fill(header, rows)


def judged(path, folder):
    """Exit code, and what the run said of every part, apart from the name of the file."""
    outcome = screen_files([path], ScreenOptions(lots=folder / "A1_lot.csv"), figures=False)
    assert not [p for item in outcome.screening.inputs for p in item.problems]
    (lot,) = outcome.screening.lots
    parts = [part.model_copy(update={"session": None}) for part in lot.parts]
    control = [seen.model_copy(update={"session": ""}) for seen in lot.control]
    return outcome.exit_code, lot.model_copy(update={"parts": parts, "files": [], "control": control})


@pytest.fixture(scope="module")
def from_points(filled):
    folder, header, rows = filled
    write_csv(folder / "point.csv", header, rows)
    return judged(folder / "point.csv", folder)


def test_filled_sheet_is_judged_as_the_simulated_truth(from_points):
    exit_code, lot = from_points
    assert exit_code == 4
    assert lot.n_parts == 20
    rejected = {part.part for part in lot.parts if part.disposition == "reject"}
    assert rejected == {f"A1-T{i + 1:04d}" for i in SMALL}
    assert lot.control[0].readings == 3  # first, after ten, last
    assert lot.supplier == "Birch"


def test_decimal_comma_gives_the_identical_result(filled, from_points):
    folder, header, rows = filled
    write_csv(folder / "comma.csv", header, rows, comma=True)
    assert judged(folder / "comma.csv", folder) == from_points


def test_workbook_filled_in_gives_the_identical_result(filled, from_points):
    folder, _, rows = filled
    fill_workbook(folder / "A1.xlsx", folder / "filled.xlsx", rows)
    assert judged(folder / "filled.xlsx", folder) == from_points


def test_the_opendocument_sheet_holds_the_table_of_the_csv(filled):
    from python_calamine import load_workbook

    folder, _, _ = filled
    rows = load_workbook(str(folder / "A1.ods")).get_sheet_by_name("readings").to_python()
    with (folder / "A1.csv").open(newline="", encoding="utf-8-sig") as source:
        expected = list(csv.reader(source))
    wide = max(len(row) for row in rows)
    assert [[*row, *[""] * (len(expected[0]) - wide)] for row in rows] == expected


def test_opendocument_sheet_gives_the_identical_result(filled, from_points):
    folder, header, rows = filled
    write_ods(folder / "filled.ods", header, rows)
    assert judged(folder / "filled.ods", folder) == from_points


def test_sheet_filled_with_words_and_units_is_told_cell_by_cell_and_the_rest_is_judged(filled):
    folder, header, rows = filled
    spoilt = [list(row) for row in rows]
    spoilt[1][3], spoilt[2][3], spoilt[3][5] = "about six", "5.4 nF", "152,4"
    path = folder / "spoilt.csv"
    with path.open("w", newline="", encoding="utf-8") as sink:
        csv.writer(sink).writerows([header, *spoilt])
    outcome = screen_files([path], ScreenOptions(lots=folder / "A1_lot.csv"), figures=False)
    told = [p for item in outcome.screening.inputs for p in item.problems]
    assert {p.code for p in told} == {"NOT_A_NUMBER", "AMBIGUOUS_NUMBER"}
    assert next(p.row for p in told if p.code == "NOT_A_NUMBER") == 3
    assert all(p.fix for p in told)
    assert outcome.exit_code == 3
    assert outcome.screening.lots[0].n_parts == 20


def test_help_of_the_program_stays_quick_without_the_library_of_papers():
    code = "import sys, partscreen.cli.app; print('typst' in sys.modules or 'openpyxl' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout.strip() == "False"


def test_worked_sheet_of_the_docs_is_made_again_byte_by_byte():
    from tests.docs import filled_sheet

    for name, text in filled_sheet.files().items():
        assert (filled_sheet.FOLDER / name).read_bytes() == text.encode(), "python -m tests.docs.filled_sheet"
