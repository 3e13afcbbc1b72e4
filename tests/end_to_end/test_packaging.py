"""What is installed runs by itself: the wheel holds types, templates and demo files, and runs outside the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def run(*command: str, folder: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    environment = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME")}
    environment |= {"PIP_DISABLE_PIP_VERSION_CHECK": "1", "PIP_NO_INDEX": "1", "OMP_NUM_THREADS": "1", **variables}
    return subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, timeout=300, check=False
    )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    code = f"import hatchling.build; print(hatchling.build.build_wheel({str(folder)!r}))"
    built = run(sys.executable, "-c", code, folder=ROOT)
    assert built.returncode == 0, built.stderr
    return folder / built.stdout.split()[-1]


@pytest.fixture(scope="module")
def names(wheel) -> set[str]:
    with zipfile.ZipFile(wheel) as archive:
        return set(archive.namelist())


def test_wheel_holds_every_type_and_the_spreads(names):
    of_checkout = {f"partscreen/reference_curves/{p.name}" for p in (ROOT / "reference_curves").glob("*.toml")}
    assert of_checkout <= names
    types = [n for n in names if n.startswith("partscreen/reference_curves/") and not n.endswith("spreads.toml")]
    assert len(types) >= 82


def test_wheel_holds_every_file_of_the_package_and_nothing_else(names):
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "partscreen"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if listed.returncode:
        pytest.skip("not a git checkout: the list of files is not known")
    package = {name for name in listed.stdout.splitlines() if (ROOT / name).is_file()}
    assert any(name.endswith(".html.jinja") for name in package)
    assert any(name.endswith(".css") for name in package)
    assert any("/demo_files/" in name for name in package)
    assert "partscreen/py.typed" in package
    assert package <= names
    rest = {n for n in names - package if ".dist-info/" not in n and "/reference_curves/" not in n}
    assert not rest


def test_wheel_names_its_licence_python_and_command(wheel, names):
    with zipfile.ZipFile(wheel) as archive:
        (info,) = [n for n in names if n.endswith(".dist-info/METADATA")]
        metadata = archive.read(info).decode()
        (entry,) = [n for n in names if n.endswith("entry_points.txt")]
        assert "partscreen = partscreen.cli.app:main" in archive.read(entry).decode()
    assert "License-Expression: MIT" in metadata
    assert "Requires-Python: >=3.11" in metadata
    assert any(n.endswith("licenses/LICENSE") for n in names)


def test_version_of_the_package_is_that_of_the_project():
    from partscreen import __version__

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert __version__ == project["version"]


def test_every_public_name_can_be_had():
    import partscreen

    assert [name for name in partscreen.__all__ if getattr(partscreen, name, None) is None] == []


def test_installed_demo_runs_outside_the_checkout(wheel, tmp_path):
    target, elsewhere = tmp_path / "site", tmp_path / "elsewhere"
    elsewhere.mkdir()
    install = ("-m", "pip", "install", "--quiet", "--no-deps", "--no-compile", "--target", str(target), str(wheel))
    installed = run(sys.executable, *install, folder=elsewhere)
    assert installed.returncode == 0, installed.stderr
    code = "import partscreen, sys; from partscreen.cli.app import main; print(partscreen.__file__); main()"
    ran = run(sys.executable, "-c", code, "demo", "--out", "report", folder=elsewhere, PYTHONPATH=str(target))
    assert ran.returncode == 0, ran.stderr
    assert Path(ran.stdout.splitlines()[0]).is_relative_to(target)
    assert (elsewhere / "report" / "report.html").stat().st_size > 100_000
    assert (elsewhere / "report" / "result.json").exists()
    assert "Report, to open in a browser" in ran.stdout
