"""The same inputs give the same bytes, whatever the hash seed, threads, language, clock zone and Python."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = ROOT / "tests" / "repeatability" / "run_demo.py"
NEEDED = (
    "numpy", "scipy", "pandas", "scikit-learn", "matplotlib", "pydantic", "pint", "typer", "jinja2",
    "charset-normalizer", "python-calamine", "sqlalchemy", "alembic", "platformdirs", "openpyxl",
)  # fmt: skip
OTHERS = ("3.11", "3.12", "3.13")
SURROUNDINGS = {
    "seed, one thread": {"PYTHONHASHSEED": "0", "OMP_NUM_THREADS": "1", "LC_ALL": "C.UTF-8", "TZ": "UTC"},
    "seed, two threads": {
        "PYTHONHASHSEED": "4242", "OMP_NUM_THREADS": "2", "OPENBLAS_NUM_THREADS": "2", "LC_ALL": "C",
        "LANG": "de_DE.UTF-8", "TZ": "Pacific/Auckland",
    },
}  # fmt: skip


def run(python: str, surroundings: dict[str, str], home: Path) -> bytes:
    """What the script writes, run by this interpreter in these surroundings and no others."""
    said = {"PATH": os.environ["PATH"], "HOME": str(home), "XDG_CONFIG_HOME": str(home), "PYTHONPATH": str(ROOT)}
    made = subprocess.run([python, str(SCRIPT)], env={**said, **surroundings}, capture_output=True, timeout=600)
    assert made.returncode == 0, made.stderr.decode()[-2000:]
    return made.stdout


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """The script's output in each of the surroundings."""
    homes = [tmp_path_factory.mktemp("home") for _ in SURROUNDINGS]
    with ThreadPoolExecutor(2) as together:
        made = together.map(lambda one, home: run(sys.executable, one, home), SURROUNDINGS.values(), homes)
        return dict(zip(SURROUNDINGS, made, strict=True))


def test_hash_seed_threads_language_and_clock_zone_change_no_byte(runs: dict[str, bytes]) -> None:
    one, other = runs.values()
    assert len(one) > 100_000
    assert one == other


def found_pythons() -> Iterator[tuple[str, str]]:
    """(version, path) of the other interpreters on this machine."""
    ours = f"{sys.version_info.major}.{sys.version_info.minor}"
    for version in OTHERS:
        in_path = shutil.which(f"python{version}")
        built = sorted((Path.home() / ".pyenv" / "versions").glob(f"{version}.*/bin/python"))
        if version != ours and (in_path or built):
            yield version, str(built[-1]) if built else str(in_path)


@pytest.mark.long
@pytest.mark.skipif(not list(found_pythons()), reason="no other Python from 3.11 to 3.13 on this machine")
def test_every_python_on_this_machine_writes_the_same_bytes(runs: dict[str, bytes], tmp_path: Path) -> None:
    one = next(iter(runs.values()))
    tried = []
    for version, path in found_pythons():
        if subprocess.run([path, "-c", "import venv, ensurepip"], capture_output=True).returncode:
            continue
        place = tmp_path / version
        subprocess.run([path, "-m", "venv", str(place)], check=True, capture_output=True)
        python = str(place / "bin" / "python")
        lock = str(ROOT / "requirements.lock")
        subprocess.run([python, "-m", "pip", "install", "--quiet", "-c", lock, *NEEDED], check=True, timeout=1800)
        assert run(python, SURROUNDINGS["seed, one thread"], tmp_path) == one, version
        tried.append(version)
    assert tried, "no other interpreter can make an environment"
