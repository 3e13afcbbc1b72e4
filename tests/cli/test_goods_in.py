"""The volume desk as people and programs see it: stock table, watched folder, quarantine, lots that are not covered."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.errors import UnusableInput
from partscreen.workflow import ScreenOptions, screen_files, watch_folder
from tests.docs.bag import FOLDER

BAG = FOLDER / "bag.csv"
OPTIONS = ScreenOptions(type_name="2SC5200")


def run(*words, **variables):
    return CliRunner().invoke(app, [str(word) for word in words], env={"PARTSCREEN_BOOK": "", **variables})


def rows_in(path):
    with path.open(newline="", encoding="utf-8") as there:
        return list(csv.DictReader(there))


def long_form(path, *rows):
    head = "lot,part,quantity,value,unit,conditions"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


# --- stock table ---


def test_screen_writes_the_stock_table(tmp_path):
    out, result = tmp_path / "stock.csv", tmp_path / "result.json"
    ran = run("screen", BAG, "--type", "2SC5200", "--stock", out, "--json", result)
    assert ran.exit_code == 4
    assert str(out) in ran.stderr
    (row,) = rows_in(out)
    told = json.loads(result.read_text(encoding="utf-8"))
    assert row["sha256"] == told["inputs"][0]["sha256"]
    assert (row["lot"], row["judgement"]) == ("bag", told["lots"][0]["judgement"])
    held = sum(part["disposition"] == "hold" for part in told["lots"][0]["parts"])
    assert int(row["held"]) == held > 0


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    ran = run("screen", BAG, "--type", "2SC5200", "--stock", tmp_path / "none" / "stock.csv")
    assert ran.exit_code == 3
    assert "->" in ran.stderr


# --- not covered ---


def test_lots_that_are_not_covered_do_not_fail_the_file_and_are_told(tmp_path):
    rows = [f"A1,T{i},C_BE,{5 + 0.1 * i:g},nF,VEB=0 V" for i in range(3)]
    path = long_form(tmp_path / "in.csv", *rows, "M1,X1,C_BE,3,nF,VEB=0 V", "M1,X2,C_BE,3,nF,VEB=0 V")
    lots = ("--lot", "A1 type=2SC5200", "--lot", "M1 type=X100 kind=mosfet")
    out, stock = tmp_path / "r.json", tmp_path / "s.csv"
    ran = run("screen", path, *lots, "--json", out, "--stock", stock)
    assert ran.exit_code == 5  # held, and not "could not be used"
    told = json.loads(out.read_text(encoding="utf-8"))
    assert [lot["lot"] for lot in told["lots"]] == ["A1"]
    assert [(row["part"], row["lot"], row["code"]) for row in told["not_judged"]] == [
        ("X1", "M1", "NOT_COVERED"), ("X2", "M1", "NOT_COVERED"),
    ]  # fmt: skip
    assert "field-effect transistor" in told["not_judged"][0]["why"]
    assert "not judged: X1 M1: not covered" in ran.stderr
    assert [row["judgement"] for row in rows_in(stock)][1:] == ["not_covered"]


def test_a_file_of_which_nothing_is_covered_has_nothing_to_accept(tmp_path):
    path = long_form(tmp_path / "in.csv", "M1,X1,C_BE,3,nF,VEB=0 V")
    assert run("screen", path, "--lot", "M1 kind=ic").exit_code == 3


def test_a_lot_said_to_be_bipolar_is_judged(tmp_path):
    path = long_form(tmp_path / "in.csv", "M1,X1,C_BE,3,nF,VEB=0 V")
    ran = run("screen", path, "--lot", "M1 type=2SK999 kind=bipolar")
    assert "not covered" not in ran.stderr
    assert "Lot M1" in ran.stdout


# --- observations and date codes, typed and in files ---


def test_check_takes_observations_and_holds_a_part_with_another_print_below():
    ran = run("check", "2SA1943", "wipe test=other print", "weight=7.1 g @ known=9.75 g", "print seen=agrees")
    assert ran.exit_code == 5
    assert "Another print came up" in ran.stdout
    assert "7.1 g" in ran.stdout


def test_check_names_the_answers_where_one_is_not_known():
    ran = run("check", "2SA1943", "magnet test=yes")
    assert ran.exit_code == 3
    assert "agrees, differs" in ran.output


def test_observations_of_a_file_and_several_date_codes_are_told(tmp_path):
    rows = [f"A1,T{i},C_BE,{5 + 0.02 * i:g},nF,VEB=0 V" for i in range(10)]
    path = long_form(tmp_path / "in.csv", *rows, "A1,T3,print seen,differs,,", 'A1,T4,body weight,"9,1",g,known=9.2 g')
    text = path.read_text(encoding="utf-8").splitlines()
    coded = [text[0] + ",date_code", *(f"{line},{'9914' if i < 6 else '0231'}" for i, line in enumerate(text[1:]))]
    coded[-2:] = [text[-2] + ",", text[-1] + ","]
    path.write_text("\n".join(coded) + "\n", encoding="utf-8")
    out = tmp_path / "r.json"
    assert run("screen", path, "--type", "2SC5200", "--json", out).exit_code == 5
    (lot,) = json.loads(out.read_text(encoding="utf-8"))["lots"]
    assert [(sub["codes"], sub["n_parts"]) for sub in lot["sub_lots"]] == [(["9914"], 6), (["0231"], 4)]
    by_name = {part["part"]: [reason["code"] for reason in part["reasons"]] for part in lot["parts"]}
    assert "PRINT_DIFFERS" in by_name["T3"]
    assert "LOOKS_AS_KNOWN" in by_name["T4"]
    assert "several date codes" not in lot["sheet"]


# --- what the book holds ---


def test_a_recorded_screening_tells_quarantine_stress_and_overrides(tmp_path):
    book = str(tmp_path / "book.sqlite")
    screen = ("screen", BAG, "--type", "2SC5200", "--record", "--book", book)
    assert run(*screen).exit_code == 4
    of = ("--lot", "bag", "--book", book)
    assert run("book", "quarantine", *of, "--place", "the red box").exit_code == 0
    assert run("book", "stress", "avalanche-base-emitter", "--part", "T1", "--current", "5 mA", *of).exit_code == 0
    assert run("book", "observe", "print comes off", "--part", "T6", *of).exit_code == 0
    over = run(
        "book", "override", "--part", "T2", "--to", "accept", "--reason", "read twice", "--by", "A", *of, "--json"
    )
    entry = str(json.loads(over.stdout)["written"][0]["entry"])
    out, stock, folder = tmp_path / "r.json", tmp_path / "s.csv", tmp_path / "out"

    def reasons():
        assert run(*screen, "--json", out, "--stock", stock, "--out", folder).exit_code == 4
        (lot,) = json.loads(out.read_text(encoding="utf-8"))["lots"]
        return lot, {p["part"]: {r["code"]: r["sentence"] for r in p["reasons"]} for p in lot["parts"]}

    lot, by_part = reasons()
    assert lot["reasons"][0]["code"] == "IN_QUARANTINE"
    assert "the red box" in by_part["T3"]["IN_QUARANTINE"]
    assert "base-emitter junction" in by_part["T1"]["STRESSED"]
    assert "print comes off" in by_part["T6"]["NOTED_IN_BOOK"]
    assert "no second person" in by_part["T2"]["OVERRIDDEN"]
    assert next(p for p in lot["parts"] if p["part"] == "T2")["disposition"] == "hold"  # as the readings say
    assert rows_in(stock)[0]["quarantine"] == "the red box"
    assert "the red box" in (folder / "report.html").read_text(encoding="utf-8")
    assert run("book", "approve", entry, "--by", "B", "--book", book).exit_code == 0
    assert run("book", "quarantine", *of, "--release").exit_code == 0
    lot, by_part = reasons()
    assert "B agrees" in by_part["T2"]["OVERRIDDEN"]
    assert "IN_QUARANTINE" not in by_part["T3"]


# --- watched folder ---


class Script:
    """Stands for the wait between two looks: does the next step each time, then ends."""

    def __init__(self, *steps):
        self.steps, self.at = steps, 0

    def __call__(self, seconds):
        if seconds == 0.0:
            return False
        if self.at == len(self.steps):
            return True
        self.steps[self.at]()
        self.at += 1
        return False


def nothing():
    return None


def judged_by(calls):
    def judge(path):
        calls.append((path.name, path.read_bytes()))
        return screen_files([path], OPTIONS)

    return judge


def test_a_file_is_judged_once_when_it_has_come_to_rest_and_results_stand_next_to_it(tmp_path):
    calls, told = [], []
    whole = BAG.read_bytes()

    def write(part):
        return lambda: (tmp_path / "a.csv").write_bytes(part)

    steps = Script(write(whole[:200]), write(whole[:900]), write(whole), nothing, nothing, nothing)
    n = watch_folder(tmp_path, OPTIONS, told.append, steps, judge=judged_by(calls))
    assert n == 1
    assert calls == [("a.csv", whole)]
    assert {p.name for p in tmp_path.iterdir()} == {
        "a.csv", "a.csv.result.json", "a.csv.report.html", "a.csv.parts.csv",
    }  # fmt: skip
    result = json.loads((tmp_path / "a.csv.result.json").read_text(encoding="utf-8"))
    assert result["lots"][0]["lot"] == "a"
    assert [t.file.name for t in told] == ["a.csv"]


def test_a_watch_begun_anew_judges_nothing_twice_and_numbers_results_of_changed_content(tmp_path):
    calls = []
    shutil.copyfile(BAG, tmp_path / "a.csv")
    for _ in range(2):
        watch_folder(tmp_path, OPTIONS, lambda t: None, Script(nothing, nothing), judge=judged_by(calls))
    assert len(calls) == 1
    os.utime(tmp_path / "a.csv", (1, 1))  # touched, not changed
    watch_folder(tmp_path, OPTIONS, lambda t: None, Script(nothing, nothing), judge=judged_by(calls))
    assert len(calls) == 1
    (tmp_path / "a.csv").write_bytes(BAG.read_bytes() + b"\n")
    before = (tmp_path / "a.csv.result.json").read_bytes()
    watch_folder(tmp_path, OPTIONS, lambda t: None, Script(nothing, nothing), judge=judged_by(calls))
    assert len(calls) == 2
    assert (tmp_path / "a.csv.2.result.json").exists()
    assert (tmp_path / "a.csv.result.json").read_bytes() == before


def test_hidden_files_lock_files_settings_and_results_are_no_readings(tmp_path):
    calls = []
    for name in (".hidden.csv", "~$open.xlsx", "photo.jpg", "x.parts.csv", "x.result.json", "empty.csv"):
        (tmp_path / name).write_bytes(b"" if name == "empty.csv" else b"part,x\n1,2\n")
    lots = tmp_path / "lots.csv"
    lots.write_text("lot,type\na,2SC5200\n", encoding="utf-8")
    (tmp_path / "folder.csv").mkdir()
    n = watch_folder(
        tmp_path, ScreenOptions(lots=lots), calls.append, Script(nothing, nothing), stock=tmp_path / "s.csv"
    )
    assert n == 0
    assert calls == []


def test_one_bad_file_does_not_end_the_watch(tmp_path):
    told = []
    (tmp_path / "a.csv").write_bytes(b"\x00\xff no table")
    shutil.copyfile(BAG, tmp_path / "b.csv")
    shutil.copyfile(BAG, tmp_path / "c.csv")
    (tmp_path / "c.csv").write_bytes(BAG.read_bytes() + b"\n\n")

    def judge(path):
        if path.name == "b.csv":
            raise RuntimeError("a fault")
        return screen_files([path], OPTIONS)

    watch_folder(tmp_path, OPTIONS, told.append, Script(nothing, nothing), judge=judge, stock=tmp_path / "s.csv")
    by_name = {t.file.name: t for t in told}
    assert list(by_name) == ["a.csv", "b.csv", "c.csv"]
    assert by_name["b.csv"].problems[0].code == "CRASH"
    assert by_name["c.csv"].outcome.screening.lots[0].n_parts == 6
    assert [row["lot"] for row in rows_in(tmp_path / "s.csv")] == ["c"]


def test_what_cannot_be_used_at_all_is_told_before_the_first_file(tmp_path):
    with pytest.raises(UnusableInput, match="no folder"):
        watch_folder(tmp_path / "none", OPTIONS, lambda t: None, Script())
    with pytest.raises(UnusableInput):
        watch_folder(tmp_path, ScreenOptions(kit=tmp_path / "none.toml"), lambda t: None, Script())


@pytest.mark.parametrize(
    "words", [[], ["a.csv", "--watch", "."], ["--watch", ".", "--json", "-"], ["--watch", ".", "--out", "x"]]
)
def test_options_that_do_not_go_with_a_watch_are_usage_errors(words):
    assert run("screen", *words).exit_code == 2


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_the_command_ends_cleanly_on_ctrl_c(tmp_path):
    shutil.copyfile(BAG, tmp_path / "a.csv")
    command = [
        str(Path(sys.executable).with_name("partscreen")),
        "screen",
        "--watch",
        str(tmp_path),
        "--type",
        "2SC5200",
    ]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        result, until = tmp_path / "a.csv.result.json", time.monotonic() + 60
        while not result.exists() and time.monotonic() < until:
            time.sleep(0.1)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=30)
    assert running.returncode == 0
    assert "ended; 1 file judged" in err
    assert "Traceback" not in err
    assert "Lot a" in out
