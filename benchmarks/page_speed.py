"""How long the local page takes to answer, from asking to the last byte, without a browser.

Run: python -m benchmarks.page_speed. The demo's bag A1 is brought, judged and looked at through the application itself.
Each page is asked three times and the least is told. What a worker process does counts in wall seconds only.
"""

from __future__ import annotations

import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from partscreen.page.app import build_app
from partscreen.page.settings import PageSettings
from partscreen.simulate.scenario import copy_demo_files

BASE = "http://127.0.0.1:8571"
PLACES = ("/", "/types", "/check", "/plan", "/match", "/stage", "/papers", "/typing")


def least(ask: Callable[[], object], runs: int = 3) -> tuple[float, float]:
    """Least wall and processor seconds of asking."""
    took = []
    for _ in range(runs):
        wall, used = time.perf_counter(), time.process_time()
        ask()
        took.append((time.perf_counter() - wall, time.process_time() - used))
    return min(took)


def settled(client: TestClient, answer: Any) -> Any:
    """Ask again, as a page without script does, until the work has ended."""
    while 'http-equiv="refresh"' in answer.text:
        time.sleep(0.05)
        answer = client.get(answer.url.path)
    return answer


def told(what: str, took: tuple[float, float]) -> None:
    """Print one line."""
    print(f"{what}: {1e3 * took[0]:.0f} ms, {1e3 * took[1]:.0f} ms of the processor", flush=True)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as place:
        files = copy_demo_files(Path(place) / "demo")
        bag = next(path for path in files.readings if path.name == "A1.csv")
        app = build_app(PageSettings(book=str(Path(place) / "book.db"), folder=Path(place) / "own"))
        with TestClient(app, base_url=BASE) as client:
            for address in PLACES:
                told(f"page {address}", least(lambda at=address: client.get(at).raise_for_status()))  # type: ignore[misc]
            found = re.search(r'name="form_token" value="([^"]+)"', client.get("/").text)
            assert found
            form = {"form_token": found[1]}
            begin = time.perf_counter()
            tray = settled(client, client.post("/bring", data=form, files=[("files", (bag.name, bag.read_bytes()))]))
            print(f"bag {bag.stem} brought and understood, worker begun: {time.perf_counter() - begin:.1f} s")
            begin = time.perf_counter()
            judged = settled(client, client.post(tray.url.path, data={**form, "do": "screen"}))
            print(f"the bag judged: {time.perf_counter() - begin:.1f} s (with its figures)")
            result = judged.url.path
            lot = result.replace("/result", "/lot/1")
            for name, address in (("its result", result), ("its lot", lot), ("one of its parts", f"{lot}/part/1")):
                told(name, least(lambda at=address: client.get(at).raise_for_status()))  # type: ignore[misc]


if __name__ == "__main__":
    main()
