"""Whatever a file holds: it is read or refused with a message, within bounded memory and time. Measured in children."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.hostile.inputs import EVERY, Hostile

ROOT = Path(__file__).resolve().parents[2]


class Opener:
    """The process that opens files in children of its own."""

    def __init__(self, folder: Path) -> None:
        told = {**os.environ, "XDG_CONFIG_HOME": str(folder), "OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT)}
        self._process = subprocess.Popen(
            [sys.executable, "-W", "ignore", "-m", "tests.hostile.child"], env=told, cwd=ROOT, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def open(self, door: str, path: Path) -> dict[str, Any]:
        """What opening a file told, raised and took."""
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(json.dumps({"door": door, "path": str(path)}) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def close(self) -> None:
        self._process.communicate(timeout=30)


@pytest.fixture(scope="module")
def opener(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opener]:
    one = Opener(tmp_path_factory.mktemp("config"))
    yield one
    one.close()


def _named(one: Hostile) -> object:
    marks = [pytest.mark.long] if one.long else []
    return pytest.param(one, id=f"{one.door}-{one.name}", marks=marks)


@pytest.mark.skipif(sys.platform == "win32", reason="limits are set in forked children")
@pytest.mark.parametrize("one", [_named(one) for one in EVERY])
def test_a_hostile_file_is_told_of_within_its_memory_and_time(one: Hostile, opener: Opener, tmp_path: Path) -> None:
    path = tmp_path / one.name
    path.write_bytes(one.make())
    found = opener.open(one.door, path)
    path.unlink()
    assert "died" not in found, "it took more memory or time than any file may"
    assert found["raised"] == ""
    codes = [code for code, _ in found["told"]]
    if one.code:
        assert one.code in codes, found
    elif one.code == "":
        assert codes
    assert found["megabytes"] <= one.megabytes, found
    assert found["seconds"] <= one.seconds, found
