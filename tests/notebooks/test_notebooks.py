"""Six notebooks: each runs to its end and holds what it claims; stored without outputs and without noise."""

from __future__ import annotations

import ast
import re
from concurrent.futures import ThreadPoolExecutor

import nbformat
import pytest

from tests.notebooks.kernel import FOLDER, NOTEBOOKS, read, run

NAMES = [path.stem for path in NOTEBOOKS]
EACH_UNDER = 60.0  # processor seconds
FEW_FIGURES = {"5_which_supplier": 2}
KERNEL = {"display_name": "Python 3", "language": "python", "name": "python3"}
# What a notebook may ask: the public functions, the options of matching, and Python's own library.
ALLOWED = re.compile(r"partscreen(\.workflow|\.matching\.options)?$|(csv|json|pathlib|tempfile|math)$")


def code_cells(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def test_there_are_six_numbered_notebooks():
    assert [name[0] for name in NAMES] == list("123456")


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_a_notebook_carries_no_output_no_count_and_no_noise(path):
    notebook = read(path)
    nbformat.validate(notebook)
    assert notebook.metadata == {"kernelspec": KERNEL, "language_info": {"name": "python"}}
    for cell in notebook.cells:
        assert cell.metadata == {}, cell.id
        if cell.cell_type == "code":
            assert cell.outputs == [], cell.id
            assert cell.execution_count is None, cell.id
    assert path.read_text(encoding="utf-8") == nbformat.writes(notebook) + "\n"  # one way to write the same notebook


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_cells_have_names_that_stay_instead_of_random_ones(path):
    ids = [cell.id for cell in read(path).cells]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[a-z]+(-[a-z]+)*", name) for name in ids), ids
    assert ids[0] == "title"
    assert "headline" in ids


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_text_says_that_data_are_invented_and_stays_within_a_line(path):
    notebook = read(path)
    assert "readings here are invented" in notebook.cells[0].source
    words = "\n".join(cell.source for cell in notebook.cells)
    assert not re.search(r"\b(genuine|fake|counterfeit)\b", words, re.IGNORECASE)
    texts = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
    assert len(texts) >= len(code_cells(notebook)) / 2  # told in words, not in code alone
    assert all(len(line) <= 140 for text in texts for line in text.splitlines())


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_only_public_functions_are_used_and_the_headline_is_asserted(path):
    trees = {cell.id: ast.parse(cell.source) for cell in code_cells(read(path))}
    modules = [
        name
        for tree in trees.values()
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    ]
    assert modules
    assert all(ALLOWED.match(name) for name in modules), modules
    assert any(isinstance(node, ast.Assert) for node in ast.walk(trees["headline"]))


@pytest.fixture(scope="module")
def executed(tmp_path_factory):
    """All notebooks, two at a time: what each came to is waited for by the test that asks."""
    with ThreadPoolExecutor(max_workers=2) as pool:
        yield {path.stem: pool.submit(run, path, tmp_path_factory.mktemp(path.stem)) for path in NOTEBOOKS}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=NAMES)
def test_a_notebook_runs_to_its_end_in_time_and_draws_its_figures(path, executed):
    before = path.read_bytes()
    notebook, seconds = executed[path.stem].result()
    figures, written = 0, 0
    for cell in code_cells(notebook):
        for output in cell.outputs:
            assert output.output_type != "error", cell.id
            if output.output_type == "stream":
                assert output.name == "stdout", output.text  # a warning would land on the other one
                written += 1
            figures += "image/svg+xml" in output.get("data", {})
    assert figures >= FEW_FIGURES.get(path.stem, 1)
    assert written >= 3
    assert seconds < EACH_UNDER
    assert path.read_bytes() == before


def test_a_headline_that_does_not_hold_fails_the_run(tmp_path):
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("assert 1 + 1 == 3", id="headline")])
    path = tmp_path / "wrong.ipynb"
    path.write_text(nbformat.writes(notebook), encoding="utf-8")
    with pytest.raises(AssertionError, match="1 \\+ 1 == 3"):
        run(path, tmp_path)


def test_notebooks_are_named_where_a_reader_looks():
    page = (FOLDER.parent / "docs" / "notebooks.md").read_text(encoding="utf-8")
    for path in NOTEBOOKS:
        assert f"../notebooks/{path.name}" in page
