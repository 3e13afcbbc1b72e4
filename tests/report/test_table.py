import csv

from partscreen.report.table import COLUMNS, table_rows, write_table
from tests.report.invented import screening


def test_every_part_has_one_row_and_rows_of_no_lot_come_last():
    result, _ = screening(lots=2)
    rows = table_rows(result)
    assert [r["part"] for r in rows[:12]] == [p.part for p in result.lots[0].parts]
    assert len(rows) == 25
    assert rows[-1]["status"] == "not_judged"
    assert all(tuple(row) == COLUMNS for row in rows)
    rejected = rows[3]
    assert rejected["disposition"] == "reject"
    assert rejected["reason"] == "LIMIT_FAILED"
    assert (rejected["limits_failed"], rejected["limits_not_reached"]) == (1, 1)
    assert rows[11]["chi_square"] is None  # a dead part has no fit, and the table says nothing instead of zero


def test_a_written_table_reads_back_and_carries_no_formula(tmp_path):
    result, _ = screening(suffix='=HYPERLINK("x"),\n\0')
    lot = result.lots[0].model_copy(update={"lot": "=1+1", "supplier": " @SUM(A1)", "type": "-2SC5200"})
    path = tmp_path / "out.csv"
    write_table(result.model_copy(update={"lots": [lot]}), path)
    with path.open(encoding="utf-8-sig", newline="") as source:
        rows = list(csv.DictReader(source))
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    assert len(rows) == 13
    assert (rows[0]["lot"], rows[0]["supplier"], rows[0]["type"]) == ("'=1+1", "' @SUM(A1)", "'-2SC5200")
    assert float(rows[0]["chi_square"]) == 33.2
    assert rows[0]["evidence"] == ""
