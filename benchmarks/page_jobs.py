"""The page as a program of its own: its start, the first page, 400 parts brought, judged and shown, a file of 10 MB.

Run: python -m benchmarks.page_jobs. Wall seconds, and processor seconds of the program with its worker (from /proc, so
on Linux only). The 400 parts are invented: one lot, a third of it with a smaller die. Aims on two quiet cores: start
below 2 s, first page below 1 s, 400 parts judged and shown below 3 s, 10 MB read below 5 s.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import httpx2

from benchmarks.report_size import write_lots

_START = "from partscreen.cli.app import main; main()"
_TICKS = os.sysconf("SC_CLK_TCK")


def used(pid: int) -> float:
    """Processor seconds of a process and of all those it began."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    below = Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="utf-8").split()
    for thread in Path(f"/proc/{pid}/task").iterdir():
        if thread.name != str(pid):
            below += (thread / "children").read_text(encoding="utf-8").split()
    return sum(map(int, fields[11:13])) / _TICKS + sum(used(int(one)) for one in below)


class Run:
    """A page that runs, and a visitor of it without script."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-c", _START, "page", "--no-browser", "--port", "0", "--book", str(folder / "b.db")]
        begin = time.perf_counter()
        self.process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        assert self.process.stderr is not None
        said = ""
        while "The page: " not in said:
            said += self.process.stderr.readline()
        self._tell("from the command to the printed address", begin, 0.0)
        self.visitor = httpx2.Client(
            base_url=re.findall(r"The page: (\S+)", said)[0], timeout=600, follow_redirects=True
        )

    def _tell(self, what: str, begin: float, before: float) -> None:
        took, busy = time.perf_counter() - begin, used(self.process.pid) - before
        print(f"{what}: {took:.2f} s, {busy:.2f} s of the processor", flush=True)

    def measured(self, what: str, ask: Callable[[], httpx2.Response]) -> httpx2.Response:
        """What an errand took until its page stood, as a page without script waits for it."""
        begin, before = time.perf_counter(), used(self.process.pid)
        answer = ask()
        while 'http-equiv="refresh"' in answer.text:
            time.sleep(0.05)
            answer = self.visitor.get(answer.url.path)
        answer.raise_for_status()
        self._tell(what, begin, before)
        return answer

    def end(self) -> None:
        """Stop the program."""
        self.process.send_signal(signal.SIGINT)
        self.process.communicate(timeout=30)


def main() -> None:
    """Print the table."""
    print(f"load of the machine at the start: {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        lot = write_lots(folder, 1, 400)
        run = Run(folder)
        try:
            first = run.measured("the first page", lambda: run.visitor.get("/"))
            form = {"form_token": re.findall(r'name="form_token" value="([^"]+)"', first.text)[0]}
            run.measured("a later page", lambda: run.visitor.get("/types"))
            time.sleep(8.0)  # the worker loads what it needs while a person chooses files

            def bring(files: list[Path]) -> httpx2.Response:
                sent = [("files", (path.name, path.read_bytes())) for path in files]
                return run.visitor.post("/bring", data=form, files=sent)

            tray = run.measured("400 parts brought and understood", lambda: bring(lot))
            told = {**form, "type0": "2SC5200", "do": "screen"}
            run.measured("the same judged and shown", lambda: run.visitor.post(tray.url.path, data=told))
            large = folder / "large.csv"
            rows = lot[0].read_text(encoding="utf-8").splitlines(keepends=True)
            with large.open("w", encoding="utf-8") as sink:
                sink.write(rows[0])
                n = 0
                while sink.tell() < 10_000_000:
                    n += 1
                    sink.writelines(row.replace("S1,", f"S1,L{n}", 1) for row in rows[1:])
            size = large.stat().st_size / 1e6
            run.measured(f"a file of {size:.0f} MB brought and understood", lambda: bring([large]))
        finally:
            run.end()


if __name__ == "__main__":
    main()
