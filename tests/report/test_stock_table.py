"""One row a lot for stock systems."""

import csv
import hashlib
from datetime import date

import pytest

from partscreen.report.stock_table import STOCK_COLUMNS, stock_rows, write_stock
from partscreen.results import InputFile, LotResult, NotJudged, PartResult, Reason, Screening, SubLot

ON = date(2026, 3, 2)
ONE, TWO = "a" * 64, "b" * 64


def parts(*dispositions, start=1):
    return [
        PartResult(part=f"T{start + i}", status="judged" if d else "unusable", disposition=d)
        for i, d in enumerate(dispositions)
    ]


def rows_in(path):
    with path.open(newline="", encoding="utf-8") as there:
        return list(csv.DictReader(there))


def screening(*lots, not_judged=()):
    files = [InputFile(file="a.csv", sha256=ONE), InputFile(file="b.csv", sha256=TWO)]
    return Screening(version="1.2", settings={}, inputs=files, lots=list(lots), not_judged=list(not_judged))


def lot(name="A1", **more):
    told = {"parts": parts("accept", "accept", "hold", "reject", None), "n_parts": 5, "judgement": "test_all"}
    return LotResult(**{"lot": name, "type": "2SC5200", "supplier": "Birch", "files": ["a.csv"], **told, **more})


def test_a_lot_is_one_row_with_its_counts_judgement_date_and_the_hash_of_its_file():
    (row,) = stock_rows(screening(lot(sheet={"order": "17", "maker": "X"})), ON)
    assert set(row) == set(STOCK_COLUMNS)
    assert [row[c] for c in ("parts", "accepted", "held", "rejected", "not_usable")] == [5, 2, 1, 1, 1]
    assert (row["date"], row["judgement"], row["sha256"]) == ("2026-03-02", "test_all", ONE)
    assert (row["order"], row["maker"], row["date_codes"], row["quarantine"]) == ("17", "X", None, None)


def test_several_files_have_one_hash_that_can_be_worked_out_again():
    (row,) = stock_rows(screening(lot(files=["b.csv", "a.csv"])), ON)
    assert row["sha256"] == hashlib.sha256(f"{ONE}\n{TWO}\n".encode()).hexdigest()
    assert stock_rows(screening(lot(files=[])), ON)[0]["sha256"] is None


def test_sub_lots_are_rows_of_their_own_and_all_parts_are_counted_once():
    subs = [
        SubLot(codes=["9914"], parts=["T1", "T2", "T3"], n_parts=3, judgement="use"),
        SubLot(codes=["0231", "0402"], parts=["T4", "T5"], n_parts=2, judgement="return"),
    ]
    rows = stock_rows(screening(lot(sub_lots=subs)), ON)
    assert [(r["date_codes"], r["parts"], r["accepted"], r["judgement"]) for r in rows] == [
        ("9914", 3, 2, "use"), ("0231 0402", 2, 0, "return"),
    ]  # fmt: skip
    assert sum(r["parts"] for r in rows) == 5


def test_lots_that_are_not_covered_and_quarantine_are_told():
    left = [NotJudged(part=f"X{i}", lot="M1", why="not covered", code="NOT_COVERED") for i in range(3)]
    other = NotJudged(part=None, lot=None, why="no lot")
    aside = Reason(code="IN_QUARANTINE", sentence="set aside", figures={"place": "red box"})
    rows = stock_rows(screening(lot(reasons=[aside]), not_judged=[*left, other]), ON)
    assert rows[0]["quarantine"] == "red box"
    assert [(r["lot"], r["parts"], r["accepted"], r["judgement"]) for r in rows[1:]] == [("M1", 3, 0, "not_covered")]


def test_the_file_is_plain_csv_without_formulas(tmp_path):
    path = tmp_path / "stock.csv"
    write_stock(screening(lot("=1+1", supplier='Birch, "Sons"')), path, ON)
    assert not path.read_bytes().startswith(b"\xef\xbb\xbf")
    (row,) = rows_in(path)
    assert row["lot"] == "'=1+1"
    assert row["supplier"] == 'Birch, "Sons"'
    assert list(row) == list(STOCK_COLUMNS)


def test_rows_are_added_under_the_header_and_never_to_another_table(tmp_path):
    path = tmp_path / "stock.csv"
    for name in ("A1", "B1"):
        write_stock(screening(lot(name)), path, ON, append=True)
    assert [row["lot"] for row in rows_in(path)] == ["A1", "B1"]
    path.write_text("item,count\n1,2\n", encoding="utf-8")
    with pytest.raises(ValueError, match="other columns"):
        write_stock(screening(lot()), path, ON, append=True)
    assert path.read_text(encoding="utf-8") == "item,count\n1,2\n"
