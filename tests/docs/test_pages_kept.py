"""What the pages promise of themselves: endings, files of examples, lines that need a server."""

from __future__ import annotations

import os
import re
import shlex
from contextlib import chdir

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.docs import how_to_files
from tests.docs.pages import ROOT, blocks, prepare

DOCS = ROOT / "docs"
EXAMPLE = "postgresql://bench@server/bench_book"  # of docs/how_to/several_benches.md


def test_every_method_page_ends_in_what_it_cannot_see():
    methods = (DOCS / "methods.md").read_text(encoding="utf-8")
    named = re.findall(r"^\| .+? \| \[.+?\]\((\w+\.md)\)", methods, re.MULTILINE)
    assert len(named) >= 12
    for name in named:
        text = (DOCS / name).read_text(encoding="utf-8")
        assert re.findall(r"^## (.+)$", text, re.MULTILINE)[-1] == "What this cannot see", name


def test_remarks_of_the_honesty_page_end_as_the_page_does():
    remarks = (ROOT / "benchmarks" / "honesty" / "remarks.md").read_text(encoding="utf-8")
    page = (DOCS / "honesty.md").read_text(encoding="utf-8")
    ending = "## What this cannot see"
    assert remarks.partition(ending)[2].strip() == page.partition(ending)[2].strip() != ""


def test_files_of_the_how_to_pages_are_made_again_byte_by_byte():
    for name, text in how_to_files.files().items():
        assert (how_to_files.FOLDER / name).read_bytes() == text.encode(), "python -m tests.docs.how_to_files"


def test_every_term_of_the_glossary_has_a_source():
    text = (DOCS / "glossary.md").read_text(encoding="utf-8")
    rows = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    terms = [row for row in rows if row[0] != "word"]
    assert len(terms) > 50
    known = re.compile(r"IEC 60747|JCGM 10[06]|SAE AS|ISO 2859|AEC-Q001|common practice, no source|ours")
    for row in terms:
        assert len(row) == 3, row
        assert known.search(row[2]), row
        assert "IEC" not in row[2] or "(memory)" in row[2], row


def test_safety_page_speaks_of_what_can_hurt_and_defers_to_local_codes():
    text = (DOCS / "safety.md").read_text(encoding="utf-8").lower()
    for word in (
        *("mains", "reservoir capacitors", "breakdown", "one hand", "discharge", "eyes", "ceramic", "beryllia"),
        *("solvents", "local codes", "licensed"),
    ):
        assert word in text, word


def test_the_tutorial_installs_as_the_readme_does():
    found = {name: blocks((ROOT / name).read_text(encoding="utf-8")) for name in ("README.md", "docs/tutorial.md")}
    for kind in ("bash", "powershell"):
        lines = {name: next(b.body.splitlines() for b in of if b.kind == kind) for name, of in found.items()}
        assert len(lines["README.md"]) == 3
        assert lines["docs/tutorial.md"][:2] == lines["README.md"][:2]  # the third runs the demo; there it comes later


def server_lines() -> list[str]:
    text = (DOCS / "how_to" / "several_benches.md").read_text(encoding="utf-8")
    return [line.strip() for line in text.splitlines() if line.startswith("    partscreen ")]


def test_lines_for_a_server_run_against_a_server(tmp_path):
    url = os.environ.get("PARTSCREEN_TEST_POSTGRES")
    if not url:
        if os.environ.get("CI"):
            pytest.fail('no server: eval "$(.ci/postgres.sh start)"')
        pytest.skip('no PostgreSQL server: eval "$(.ci/postgres.sh start)"')
    psycopg = pytest.importorskip("psycopg")
    prepare(tmp_path)
    name = f"docs_{os.getpid()}"
    with psycopg.connect(url, autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name} ENCODING 'UTF8' TEMPLATE template0")
    try:
        lines = server_lines()
        assert len(lines) >= 6
        for line in lines:
            words = shlex.split(line.replace(EXAMPLE, url.rsplit("/", 1)[0] + f"/{name}"))
            with chdir(tmp_path):
                ran = CliRunner().invoke(app, words[1:], prog_name="partscreen")
            assert ran.exit_code == (4 if words[1] == "screen" else 0), (line, ran.output)
    finally:
        with psycopg.connect(url, autocommit=True) as server:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")
