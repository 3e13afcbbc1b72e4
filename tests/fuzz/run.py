"""Coverage-guided search for inputs that break a parser: `python -m tests.fuzz.run DOOR --seconds 600` (needs atheris).

What breaks a door is written to tests/fuzz/found/DOOR, small; mend the fault, keep the file: it is a regression test.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

FOUND = Path(__file__).resolve().parent / "found"
SLOWEST = 20  # processor seconds that one input of at most 64 KiB may take
HANGS = 300  # s on the clock after which the search gives an input up: a loaded machine keeps sound ones waiting too
MEMORY = 2048  # MB


def main() -> None:
    """Search one door for some time."""
    import atheris

    asked = argparse.ArgumentParser()
    asked.add_argument("door")
    asked.add_argument("--seconds", type=int, default=600)
    asked.add_argument("--corpus", type=Path, default=None)
    options = asked.parse_args()
    warnings.simplefilter("error", RuntimeWarning)  # a figure that went wrong without a word
    with atheris.instrument_imports(include=["partscreen", "tomllib", "csv", "shlex"]):
        from tests.fuzz.doors import DOORS
    from tests.fuzz.seeds import WORDS, seeds

    corpus = options.corpus or Path(tempfile.mkdtemp(prefix=f"corpus-{options.door}-"))
    corpus.mkdir(parents=True, exist_ok=True)
    for seed in seeds(options.door):
        (corpus / hashlib.sha256(seed).hexdigest()[:16]).write_bytes(seed)
    words = corpus.with_name(corpus.name + ".dict")
    words.write_text("".join(f'"{_escaped(word)}"\n' for word in WORDS[options.door]), encoding="ascii")
    found = FOUND / options.door
    found.mkdir(parents=True, exist_ok=True)
    atheris.Setup(
        [
            sys.argv[0], str(corpus), *([str(found)] if any(found.iterdir()) else []), f"-dict={words}",
            f"-max_total_time={options.seconds}", f"-timeout={HANGS}", f"-report_slow_units={HANGS}",
            f"-rss_limit_mb={MEMORY}", "-max_len=65536", "-len_control=50", f"-artifact_prefix={found}/",
            "-print_final_stats=1", "-verbosity=1",
        ],
        _timed(DOORS[options.door]),
    )  # fmt: skip
    atheris.Fuzz()


def _timed(door: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """The door, which must not take long by the clock of the processor."""

    def run(data: bytes) -> None:
        began = time.process_time()
        door(data)
        took = time.process_time() - began
        assert took <= SLOWEST, f"took {took:.1f} processor seconds"

    return run


def _escaped(word: str) -> str:
    return "".join(f"\\x{byte:02x}" if byte in b'"\\' or not 32 <= byte < 127 else chr(byte) for byte in word.encode())


if __name__ == "__main__":
    main()
