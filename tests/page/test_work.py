"""Long work: seen, stopped, begun again; a worker that dies takes nothing else with it."""

from __future__ import annotations

import os
import signal
import time

import pytest

from tests.docs.bag import FOLDER

BAG = (FOLDER / "bag.csv").read_text(encoding="utf-8")


def many(times: int) -> str:
    """The bag's parts many times over, under new names."""
    head, rows = BAG.splitlines()[:2], BAG.splitlines()[2:]
    return "\n".join([*head, *(f"L{n}{row}" for n in range(times) for row in rows)]) + "\n"


@pytest.fixture
def working(visitor):
    """A tray whose judgement has just begun."""
    tray = visitor.bring(("many.csv", many(50))).url.path
    answer = visitor.post(tray, {"type0": "2SC5200", "do": "screen"}, follow_redirects=False)
    assert answer.status_code == 303
    return tray


def wait_until_running(visitor, tray: str) -> None:
    job = visitor.client.app.app.state.desk.trays[tray.rpartition("/")[2]].screening
    until = time.monotonic() + 20
    while job.state == "waiting" and time.monotonic() < until:
        time.sleep(0.01)
    assert job.state == "running"


def test_work_is_seen_stopped_and_begun_again(visitor, working):
    page = visitor.get(f"{working}/result")
    assert 'http-equiv="refresh"' in page.text
    assert "Stop the work" in page.text
    wait_until_running(visitor, working)
    started = time.monotonic()
    stopped = visitor.post(f"{working}/cancel")
    assert time.monotonic() - started < 10
    assert "stopped as asked" in stopped.text
    # The worker is there again for others, and the files are still there.
    assert "6 parts in 1 lot" in visitor.bring(("bag.csv", BAG)).text
    assert "300 parts" in visitor.settle(visitor.get(working)).text


def test_work_that_waits_is_stopped_before_it_begins(visitor, working):
    tray = visitor.post("/bring", files=[("files", ("bag.csv", BAG))], follow_redirects=False).headers["location"]
    assert "Waits until other work has ended" in visitor.get(tray).text
    assert "stopped as asked" in visitor.post(f"{tray}/cancel").text
    visitor.post(f"{working}/cancel")
    assert "6 parts in 1 lot" in visitor.settle(visitor.post(f"{tray}/again")).text


@pytest.mark.skipif(os.name != "posix", reason="ends a process by signal")
def test_a_worker_that_dies_is_told_and_replaced(visitor, working):
    wait_until_running(visitor, working)
    os.kill(visitor.client.app.app.state.desk.worker._process.pid, signal.SIGKILL)
    page = visitor.settle(visitor.get(f"{working}/result"))
    assert page.status_code == 500
    assert "ended without a word" in page.text
    assert "6 parts in 1 lot" in visitor.bring(("bag.csv", BAG)).text


def test_files_taken_away_are_gone(visitor):
    tray = visitor.bring(("bag.csv", BAG)).url.path
    folder = visitor.client.app.app.state.desk.trays[tray.rpartition("/")[2]].folder
    assert folder.exists()
    visitor.post(f"{tray}/forget")
    assert not folder.exists()
    assert visitor.get(tray).status_code == 404
