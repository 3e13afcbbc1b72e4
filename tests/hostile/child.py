"""Opens files in forked children that may take no more than so much memory and time, and says what each took.

A line of JSON a request, `{"door": ..., "path": ...}`; a line an answer. The parent has loaded the readers, so that a
child measures the file, not the libraries.
"""

from __future__ import annotations

import json
import os
import resource
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from partscreen.errors import Problem, UnusableInput

ADDRESSES = 4 << 30  # bytes a child may ask for
SECONDS = 120  # of computing
BASE_MB = 1 << 20


def doors() -> dict[str, Callable[[Path], Iterable[Problem]]]:
    """What opens a file, by name; each gives the problems it told."""
    import charset_normalizer  # noqa: F401 - loaded here, so that it counts for no child
    import pyarrow.parquet  # noqa: F401
    import python_calamine  # noqa: F401

    from partscreen.quantities import unit_factor
    from partscreen.readings.import_files import read_files
    from partscreen.readings.rows.lot_sheet import load_lot_sheet
    from tests.fuzz.doors import TOML, sound

    unit_factor("furlong", "m")  # the unit library

    def readings(path: Path) -> Iterable[Problem]:
        batch = read_files([path]).batch
        sound(batch)
        return batch.problems

    def told(call: Callable[[Path], object]) -> Callable[[Path], Iterable[Problem]]:
        def run(path: Path) -> Iterable[Problem]:
            try:
                call(path)
            except UnusableInput as error:
                return error.problems
            return ()

        return run

    from partscreen.readings.typed.interview import AnswersKept
    from partscreen.readings.typed.journal import Begun, Journal
    from partscreen.workflow.after.plan_history import read_history
    from partscreen.workflow.saved import load_matching, load_screening

    return {
        "readings": readings,
        "lots": lambda path: load_lot_sheet(path).problems,
        "screening": told(load_screening),
        "matching": told(load_matching),
        "history": told(read_history),
        "journal": told(lambda path: Journal(path, Begun("A", "2SC5200", ()))),
        "answers": told(AnswersKept),
        **{f"toml{number}": told(load) for number, load in enumerate(TOML)},
    }


def main() -> None:
    """Answer requests until there are no more."""
    known = doors()
    for line in sys.stdin:
        asked = json.loads(line)
        print(json.dumps(_in_child(known[asked["door"]], Path(asked["path"]))), flush=True)


def _in_child(door: Callable[[Path], Iterable[Problem]], path: Path) -> dict[str, Any]:
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        answer = _measured(door, path)
        os.write(into, json.dumps(answer).encode())
        os._exit(0)
    os.close(into)
    pieces = b""
    while piece := os.read(out, 1 << 16):
        pieces += piece
    os.close(out)
    _, status = os.waitpid(child, 0)
    return json.loads(pieces) if pieces else {"died": status}


def _measured(door: Callable[[Path], Iterable[Problem]], path: Path) -> dict[str, Any]:
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES, ADDRESSES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    begun = time.process_time()
    raised, told = "", []
    try:
        told = [(one.code, one.what[:200]) for one in list(door(path))[:20]]
    except BaseException as error:
        raised = f"{type(error).__name__}: {str(error)[:200]}"
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    return {"told": told, "raised": raised, "megabytes": used / 1024, "seconds": time.process_time() - begun}


if __name__ == "__main__":
    main()
