"""What is installed runs by itself: the wheel holds types, templates and demo files, and runs outside the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
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


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory) -> Path:
    """A folder with the wheel unpacked by pip; the libraries are those of this environment."""
    target = tmp_path_factory.mktemp("installed")
    install = ("-m", "pip", "install", "--quiet", "--no-deps", "--no-compile", "--target", str(target), str(wheel))
    done = run(sys.executable, *install, folder=target)
    assert done.returncode == 0, done.stderr
    return target


def partscreen(installed: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    code = (
        "import sys, partscreen; from pathlib import Path; from partscreen.cli.app import main; "
        f"assert Path(partscreen.__file__).is_relative_to({str(installed)!r}); main()"
    )
    return run(sys.executable, "-c", code, *words, folder=folder, PYTHONPATH=str(installed))


def test_installed_program_does_the_whole_job_outside_the_checkout(installed, tmp_path):
    ran = partscreen(installed, tmp_path, "demo", "--out", "report")
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "report" / "report.html").stat().st_size > 100_000
    assert "Report, to open in a browser" in ran.stdout
    ran = partscreen(installed, tmp_path, "paper", "lot", "report/result.json", "--lot", "A1", "--out", "lot.pdf")
    assert ran.returncode == 0, ran.stderr  # typst templates and fonts
    assert (tmp_path / "lot.pdf").read_bytes().startswith(b"%PDF")
    for words in (("types", "2SC5200"), ("codes", "REACH_SHORT"), ("book", "verify", "--book", "none.sqlite")):
        ran = partscreen(installed, tmp_path, *words)
        assert ran.returncode == (3 if words[0] == "book" else 0), ran.stderr


def test_installed_page_starts_shows_its_sheet_and_makes_a_book(installed, tmp_path):
    code = """if True:
        import partscreen
        from partscreen.book.store import Book
        from partscreen.page.app import build_app
        from partscreen.page.settings import PageSettings
        from starlette.testclient import TestClient
        with Book.open("book.sqlite") as book:
            print(book.verify().ok)
        with TestClient(build_app(PageSettings(book="book.sqlite")), base_url="http://127.0.0.1:8571") as page:
            print([page.get(path).status_code for path in ("/", "/sheet.css", "/page.js", "/types", "/book")])
        print(partscreen.__file__)
    """
    ran = run(sys.executable, "-c", code, folder=tmp_path, PYTHONPATH=str(installed))
    assert ran.returncode == 0, ran.stderr
    *told, place = ran.stdout.splitlines()
    assert told == ["True", "[200, 200, 200, 200, 200]"]
    assert Path(place).is_relative_to(installed)


USER = """\
from partscreen import ScreenOptions, screen_files

outcome = screen_files(["bag.csv"], ScreenOptions(type_name="2SC5200"))
for lot in outcome.screening.lots:
    name: str = lot.lot
    wrong: int = lot.lot
"""


def test_public_names_are_the_same_to_a_type_checker():
    import ast

    import partscreen

    stub = ast.parse((ROOT / "partscreen" / "__init__.pyi").read_text(encoding="utf-8"))
    (told,) = [ast.literal_eval(n.value) for n in stub.body if isinstance(n, ast.Assign)]
    assert sorted(told) == sorted(partscreen.__all__)
    named = {alias.asname for n in stub.body if isinstance(n, ast.ImportFrom) for alias in n.names}
    assert named | {"__version__"} == set(told)


@pytest.mark.long
def test_types_are_shipped_a_users_checker_sees_a_right_use_and_a_wrong_one(installed, tmp_path):
    pytest.importorskip("mypy")
    (tmp_path / "user.py").write_text(USER, encoding="utf-8")
    ran = run(
        sys.executable, "-m", "mypy", "--strict", "--no-incremental", "--follow-imports=silent", "user.py",
        folder=tmp_path, MYPYPATH=str(installed),
    )  # fmt: skip
    assert ran.stdout.splitlines()[0].startswith("user.py:6: error: Incompatible types in assignment"), ran.stdout
    assert "Found 1 error" in ran.stdout


@pytest.fixture(scope="module")
def source(tmp_path_factory) -> Path:
    """The source archive, unpacked."""
    folder = tmp_path_factory.mktemp("source")
    code = f"import hatchling.build; print(hatchling.build.build_sdist({str(folder)!r}))"
    built = run(sys.executable, "-c", code, folder=ROOT)
    assert built.returncode == 0, built.stderr
    with tarfile.open(folder / built.stdout.split()[-1]) as archive:
        archive.extractall(folder, filter="data")
    (inside,) = [path for path in folder.iterdir() if path.is_dir()]
    return inside


def test_source_archive_holds_what_the_wheel_is_made_of_and_the_tests(source):
    kept = {path.relative_to(source).as_posix() for path in source.rglob("*")}
    wanted = {"pyproject.toml", "LICENSE", "README.md", "requirements.lock", "requirements-minimum.lock", "Makefile"}
    wanted |= {"partscreen/py.typed", "reference_curves/spreads.toml", "tests/end_to_end/test_packaging.py", ".ci/run"}
    assert wanted <= kept
    assert not {
        name for name in kept if "__pycache__" in name or "node_modules" in name or name.endswith(".sqlite-wal")
    }
    for folder in ("partscreen", "tests", "benchmarks"):  # tests import benchmarks
        modules = {p.relative_to(ROOT).as_posix() for p in (ROOT / folder).rglob("*.py")}
        assert {name for name in modules if "node_modules" not in name} <= kept


def test_wheel_made_of_the_source_archive_is_that_of_the_checkout(source, names, tmp_path):
    code = f"import hatchling.build; print(hatchling.build.build_wheel({str(tmp_path)!r}))"
    built = run(sys.executable, "-c", code, folder=source)
    assert built.returncode == 0, built.stderr
    with zipfile.ZipFile(tmp_path / built.stdout.split()[-1]) as archive:
        assert set(archive.namelist()) == names


@pytest.mark.long
def test_an_empty_environment_needs_nothing_but_the_wheel_and_its_dependencies(wheel, tmp_path):
    """Asks the package index; without extras, so without pyarrow and without the tools of developers."""
    made = subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "empty")], check=True)
    assert made.returncode == 0
    program = tmp_path / "empty" / "bin"
    install = [
        str(program / "python"),
        "-m",
        "pip",
        "install",
        "--quiet",
        "--constraint",
        str(ROOT / "requirements.lock"),
    ]
    subprocess.run([*install, str(wheel)], check=True, cwd=tmp_path)
    for words in (
        ["demo", "--out", "report"],
        ["types", "2SC5200"],
        ["paper", "lot", "report/result.json", "--lot", "A1", "--out", "lot.pdf"],
    ):
        ran = run(str(program / "partscreen"), *words, folder=tmp_path)
        assert ran.returncode == 0, ran.stderr
    listed = run(str(program / "python"), "-m", "pip", "list", "--format", "freeze", folder=tmp_path)
    assert "pytest" not in listed.stdout
    assert "pyarrow" not in listed.stdout
