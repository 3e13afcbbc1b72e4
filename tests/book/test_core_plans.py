"""In a book of 100,000 entries every question walks an index and reads little more than it answers.

The time itself is measured by `python -m benchmarks.book_volume`; a plan does not depend on how busy the machine is.
"""

from __future__ import annotations

import pytest
from sqlalchemy import text

from partscreen.book.engine import reading
from partscreen.book.rows import page_query
from partscreen.book.store import Book
from tests.book.core_books import behind_its_back
from tests.book.servers import BOTH, fresh_schema

N = 100_000
COLUMNS = "seq, kind, recorded_at, body, prev_hash, hash, part, lot, supplier, type, job, supersedes, content_key"
# 100 entries a lot, 20 lots a supplier; lot and part names repeat between suppliers; every 50th entry is another kind.
ROW = """
  n, CASE WHEN n % 50 = 0 THEN 'fitted' WHEN n % 100 = 1 THEN 'screening' ELSE 'part' END, '', {body}, '', '',
  'P' || (n % 100), 'L' || ((n / 100) % 97), 'S' || (n / 2000), 'T' || (n % 7),
  CASE WHEN n % 50 = 0 THEN 'J' || (n / 400) END, CASE WHEN n % 1000 = 0 THEN n - 1 END, 'part:' || n
"""
ASKED = {
    "part of a lot": ({"supplier": "S3", "lot": "L61", "part": "P7"}, "entry_part"),
    "lot of a supplier": ({"supplier": "S3", "lot": "L61"}, "entry_lot"),
    "lot": ({"lot": "L61"}, "entry_lot"),
    "fitted from a lot": ({"kind": "fitted", "lot": "L61"}, "entry_lot_kind"),
    "supplier": ({"supplier": "S3"}, "entry_supplier"),
    "judgements of a supplier": ({"supplier": "S3", "kind": "screening"}, "entry_supplier_kind"),
    "job": ({"job": "J20"}, "entry_job"),
    "type": ({"type": "T3"}, "entry_type"),
    "judgements of a type": ({"type": "T3", "kind": "screening"}, "entry_type_kind"),
    "kind": ({"kind": "screening"}, "entry_kind"),
    "superseded": ({"supersedes": 4999}, "entry_supersedes"),
}
SPARSE = 20  # entries looked at for one answered: parts of one lot hide among the other suppliers' lots of its name


@pytest.fixture(scope="module", params=BOTH)
def large(request, tmp_path_factory):
    """A book with the columns of 100,000 entries; neither chain nor bodies matter to a plan."""
    if request.param == "sqlite":
        with Book.open(tmp_path_factory.mktemp("large") / "book.sqlite") as book:
            count = f"WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c WHERE n < {N})"
            with behind_its_back(book) as run:
                run("BEGIN")
                run(f"INSERT INTO entry ({COLUMNS}) {count} SELECT {ROW.format(body='zeroblob(200)')} FROM c")
                run("COMMIT")
            yield book
    else:
        with fresh_schema() as url, Book.open(url) as book:
            row = ROW.format(body="decode(repeat('00', 200), 'hex')")
            with behind_its_back(book) as run:
                run(
                    f"INSERT INTO entry ({COLUMNS}) SELECT {row} FROM generate_series(1, {N}) AS g(n)".replace(
                        "%%", "%"
                    )
                )
                run("ANALYZE entry")
            yield book


def compiled(book: Book, wanted: dict, **more) -> str:
    query = page_query(wanted, after=0, before=None, newest_first=False) if not more else page_query(wanted, **more)
    return str(query.compile(book._engine, compile_kwargs={"literal_binds": True}))


@pytest.mark.parametrize("name", sorted(ASKED))
@pytest.mark.parametrize("newest_first", [False, True])
def test_a_question_reads_by_its_index_and_little_more_than_it_answers(large, name, newest_first):
    wanted, index = ASKED[name]
    query = compiled(large, wanted, after=0, before=None, newest_first=newest_first)
    with reading(large._engine) as connection:
        answered = len(connection.execute(text(query)).all())
        assert answered
        if large.place.path is not None:
            plan = "\n".join(row[3] for row in connection.execute(text(f"EXPLAIN QUERY PLAN {query}")))
            assert f"USING INDEX {index} (" in plan, plan
            assert "SCAN" not in plan
            assert "TEMP B-TREE" not in plan or name == "superseded"
            return
        plan = connection.execute(text(f"EXPLAIN (ANALYZE, FORMAT JSON) {query}")).scalar()[0]["Plan"]
    nodes = [plan]
    for node in nodes:
        nodes += node.get("Plans", [])
    looked_at = max(node["Actual Rows"] + node.get("Rows Removed by Filter", 0) for node in nodes)
    assert looked_at <= SPARSE * answered + 200, plan
    assert not [node for node in nodes if node["Node Type"] == "Seq Scan"], plan


def test_the_whole_book_the_head_and_a_content_key_are_read_by_unique_indexes(large):
    head = "SELECT seq, hash FROM entry ORDER BY seq DESC LIMIT 1"
    content = "SELECT seq FROM entry WHERE content_key IN ('part:77', 'part:78')"
    for query in (compiled(large, {}), head, content):
        with reading(large._engine) as connection:
            if large.place.path is not None:
                plan = "\n".join(row[3] for row in connection.execute(text(f"EXPLAIN QUERY PLAN {query}")))
                assert "TEMP B-TREE" not in plan
                assert "INTEGER PRIMARY KEY" in plan or "entry_content_key" in plan or query == head
            else:
                plan = str(connection.execute(text(f"EXPLAIN {query}")).all())
                assert "Seq Scan" not in plan
                assert "entry_pkey" in plan or "entry_content_key" in plan
