"""Errands: work that goes on is shown, stopped and begun again; the oldest makes room; strangers are not found."""

from __future__ import annotations

import pytest

from partscreen.page.asking import in_words, reworded
from partscreen.page.errands import MOST_ERRANDS, Errands

from partscreen.errors import Problem  # isort: skip
from tests.page.given import text_of


class Idle:
    """A worker that is given nothing."""

    def cancel(self, job) -> None:
        raise AssertionError("nothing was begun")


def test_work_is_shown_stopped_and_begun_again(client, visitor, tmp_path):
    errands = client.app.app.state.desk.errands
    errand = errands.new("paper", "/paper/{id}", "A long paper")
    errands.begin(errand, "run_demo", tmp_path / "demo")
    page = visitor.get(errand.where)
    assert "Stop the work" in page.text
    assert 'http-equiv="refresh"' in page.text
    assert visitor.get(f"/errand/{errand.id}/progress").json()["ended"] is False
    stopped = visitor.post(f"/errand/{errand.id}/cancel")
    assert stopped.url.path == errand.where
    assert "A long paper: stopped" in text_of(stopped)
    assert visitor.get(f"/errand/{errand.id}/progress").json()["ended"] is True
    again = visitor.post(f"/errand/{errand.id}/again")
    assert "Stop the work" in again.text
    visitor.post(f"/errand/{errand.id}/cancel")
    errands.forget(errand)
    assert visitor.get(errand.where).status_code == 404
    assert not errand.folder.exists()


def test_a_fault_of_ours_is_told_as_such(client, visitor):
    errands = client.app.app.state.desk.errands
    errand = errands.new("paper", "/paper/{id}", "A paper")
    errands.begin(errand, "paper_lot", 1, 2, 3, 4, 5)
    answer = visitor.settle(visitor.get(errand.where))
    assert answer.status_code == 500
    assert "This is a fault of partscreen" in text_of(answer)
    errands.forget(errand)


def test_the_oldest_errand_makes_room_and_its_files_go(tmp_path):
    errands = Errands(tmp_path, Idle())
    first = errands.new("paper", "/paper/{id}")
    for _ in range(MOST_ERRANDS):
        errands.new("paper", "/paper/{id}")
    assert errands.find(first.id) is None
    assert len(list(tmp_path.iterdir())) == MOST_ERRANDS


@pytest.mark.parametrize("path", ["/match/none", "/stage/none", "/sheet/none", "/paper/none", "/plan/none",
                                  "/errand/none/progress", "/errand/none/file/x.pdf"])  # fmt: skip
def test_what_is_not_there_is_not_found(visitor, path):
    answer = visitor.get(path)
    assert answer.status_code == 404
    assert "no longer here" in text_of(answer)


def test_an_errand_of_one_kind_is_not_shown_as_another(visitor):
    answer = visitor.post("/papers", files=[("result", ("r.json", b"{}"))])
    assert answer.status_code == 422
    sheet = visitor.settle(visitor.post("/sheet", {"type": "2SC5200", "lot": "K1", "count": "1"}))
    name = sheet.url.path.rpartition("/")[2]
    assert visitor.get(f"/match/{name}").status_code == 404
    assert visitor.get(f"/errand/{name}/file/../../x").status_code == 404
    assert visitor.get(f"/errand/{name}/file/stage.toml").status_code == 404


def test_options_of_commands_are_told_as_fields():
    words = {"--held": "take held parts too"}
    assert in_words("leave --held out, not a--held or --held-if", words) == (
        "leave “take held parts too” out, not a--held or --held-if"
    )
    (one,) = reworded([Problem("X", "--held is wrong", "drop --held", "--held")], words)
    assert (one.where, one.what, one.fix) == (
        "take held parts too", "“take held parts too” is wrong", "drop “take held parts too”",
    )  # fmt: skip
