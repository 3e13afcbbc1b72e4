"""What Windows does otherwise, as far as it can be tested elsewhere: names, drives, line ends, code pages.

Names that Windows keeps for itself, and what a name may not end in: learn.microsoft.com, "Naming Files, Paths, and
Namespaces" (memory of the page, not read).
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path, PureWindowsPath

import pytest

from partscreen.book.urls import find_place
from partscreen.page.desk import safe_name
from tests.docs.bag import FOLDER

RESERVED = ("CON", "PRN", "AUX", "NUL", "COM1", "COM9", "LPT1", "LPT9", "con", "Nul", "CONIN$", "CONOUT$")
FORBIDDEN = set('<>:"/\\|?*') | {chr(code) for code in range(32)}


def run(*words: str, folder: Path, **variables: str) -> subprocess.CompletedProcess[bytes]:
    environment = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR", "PYTHONIOENCODING")}
    environment |= {"OMP_NUM_THREADS": "1", **variables}
    command = [sys.executable, "-c", "from partscreen.cli.app import main; main()", *words]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=120, check=False)


@pytest.mark.parametrize("code_page", ["cp1252", "cp437", "cp932", "ascii"])
def test_commands_speak_on_a_console_of_an_old_code_page(code_page, tmp_path):
    """Ω, µ, °, ± and — are not on every one: a sign that is missing is shown otherwise, and stops nothing."""
    for words, codes in (
        (("types", "2SC5200"), (0,)),
        (("check", "2SC5200", "C_CB=118 pF @ VCB=10 V"), (0, 4, 5)),
        (("codes", "REACH_SHORT"), (0,)),
    ):
        ran = run(*words, folder=tmp_path, PYTHONIOENCODING=code_page, PYTHONUTF8="0")
        assert ran.returncode in codes, ran.stderr
        assert b"Traceback" not in ran.stderr
        assert len(ran.stdout.decode(code_page)) > 100


def test_json_can_be_read_from_a_console_of_an_old_code_page(tmp_path):
    import json

    ran = run("check", "2SC5200", "C_CB=118 pF @ VCB=10 V", "--json", folder=tmp_path, PYTHONIOENCODING="cp437")
    assert ran.returncode in (0, 4, 5), ran.stderr
    assert json.loads(ran.stdout.decode("cp437"))["schema"].startswith("partscreen.")


@pytest.mark.parametrize("variables", [{"NO_COLOR": "1"}, {"NO_COLOR": "1", "FORCE_COLOR": "1"}, {"TERM": "dumb"}])
def test_no_colour_codes_where_none_are_wanted(variables, tmp_path):
    """no-color.org: any value but the empty one."""
    ran = run("types", "2SC5200", folder=tmp_path, **variables)
    assert ran.returncode == 0
    assert b"\x1b[" not in ran.stdout + ran.stderr


@pytest.mark.parametrize("name", [*RESERVED, *(f"{one}.csv" for one in RESERVED), "nul .csv", "aux.tar.csv"])
def test_a_name_that_windows_keeps_for_itself_is_never_given_to_an_upload(name):
    kept = safe_name(name)
    assert not os.path.isabs(kept)
    assert kept.split(".")[0].strip().upper() not in {one.upper() for one in RESERVED}


@pytest.mark.parametrize(
    "name",
    [
        r"C:\bench\A1.csv", r"\\server\share\A1.csv", "A1.csv.", "A1 .", "..", ". .", "a" * 400 + ".csv",
        "A1:hidden.csv", "x?*<>|.csv", "A1\r\n.csv", r"..\..\boot.ini", "\\\\?\\C:\\A1.csv", "C:A1.csv",
    ],
)  # fmt: skip
def test_a_name_from_anywhere_becomes_one_that_windows_takes(name):
    kept = safe_name(name)
    assert kept
    assert not set(kept) & FORBIDDEN
    assert not kept.endswith((".", " "))
    assert len(kept) <= 200
    assert PureWindowsPath(kept).name == kept
    assert not PureWindowsPath(kept).drive


@pytest.mark.parametrize(
    ("told", "path"),
    [
        (r"C:\bench\book.sqlite", r"C:\bench\book.sqlite"),
        ("D:book.sqlite", "D:book.sqlite"),
        ("sqlite:///C:/bench/book.sqlite", "C:/bench/book.sqlite"),
        (r"\\server\share\book.sqlite", r"\\server\share\book.sqlite"),
    ],
)
def test_a_book_on_a_drive_or_a_share_is_a_file_and_no_url(told, path):
    place = find_place(told)
    assert place.url is None
    assert PureWindowsPath(str(place.path)) == PureWindowsPath(path)


def test_line_ends_of_windows_change_no_answer(tmp_path):
    import json

    answers = []
    for end in (b"\n", b"\r\n"):
        folder = tmp_path / str(len(end))
        folder.mkdir()
        plain = (FOLDER / "bag.csv").read_bytes().replace(b"\r\n", b"\n")
        (folder / "bag.csv").write_bytes(plain.replace(b"\n", end))
        ran = run("screen", "bag.csv", "--type", "2SC5200", "--json", "out.json", folder=folder)
        assert ran.returncode in (0, 4, 5), ran.stderr
        told = json.loads((folder / "out.json").read_bytes())
        answers.append([[p["part"], p["disposition"], p["evidence"]] for lot in told["lots"] for p in lot["parts"]])
    assert answers[0] == answers[1]
    assert answers[0]


def test_long_folders_and_names_are_written_or_told(tmp_path):
    """Windows stops at 260 letters unless told otherwise; other systems at 255 bytes a name. Nobody gets a crash."""
    deep = tmp_path.joinpath(*["a folder of a long name " * 3 + "end"] * 4)
    words = ("plan", "--lot-size", "100", "--tolerable", "0.1", "--confidence", "0.9", "--figure")
    assert run(*words, str(deep / "plan.svg"), folder=tmp_path).returncode == 3
    deep.mkdir(parents=True)
    ran = run(*words, str(deep / "plan.svg"), folder=tmp_path)
    assert (ran.returncode, (deep / "plan.svg").is_file()) == (0, True), ran.stderr
    ran = run(*words, "n" * 300 + ".svg", folder=tmp_path)
    assert ran.returncode == 3
    assert b"NOT_WRITABLE" in ran.stderr or b"cannot" in ran.stderr
    assert b"Traceback" not in ran.stderr


@pytest.mark.parametrize("name", RESERVED)
def test_a_lot_or_a_kit_of_such_a_name_gets_no_file_of_it(name, tmp_path):
    from partscreen.errors import UnusableInput
    from partscreen.whole_files import kept_by_windows
    from partscreen.workflow import SheetOptions, write_sheet
    from partscreen.workflow.own.files import is_stem, stem_of

    assert kept_by_windows(name)
    assert not kept_by_windows(f"{name}-01")
    assert not kept_by_windows(stem_of(name))
    assert is_stem(stem_of(name))
    with pytest.raises(UnusableInput) as caught:
        write_sheet("2SC5200", SheetOptions(lot=name, count=2, out=tmp_path))
    assert caught.value.problems[0].code == "SHEET_NAME"
    assert list(tmp_path.iterdir()) == []
