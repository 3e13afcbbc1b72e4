"""The JSON that the page of files shows is JSON that is read."""

import pytest

from tests.docs.pages import ROOT, blocks
from tests.readings.bench_files import imported

SHOWN = [b.body for b in blocks((ROOT / "docs" / "files.md").read_text(encoding="utf-8")) if b.kind == "json"]


def test_the_page_shows_both_forms():
    assert len(SHOWN) == 2


@pytest.mark.parametrize("body", SHOWN)
def test_the_json_of_the_page_is_read(tmp_path, body):
    batch = imported(tmp_path, body, "bag.json")
    assert batch.problems == ()
    assert batch.points.hfe.tolist() == [92.0, 88.0]
    assert batch.points.ic.tolist() == [1.0, 2.0]
