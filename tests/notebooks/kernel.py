"""Notebooks run in a kernel of this very Python, from no installed kernel and with no folder of the user's touched.

`python -m tests.notebooks.kernel NOTEBOOK HOME OUT` runs one and writes it with its outputs. Tests start it as a
process of its own: what the notebook libraries warn about is no matter of this project.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import nbformat
from nbformat import NotebookNode

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
LAST = "processor-seconds"  # id of the cell a run adds, to ask what the notebook has cost
PATIENCE = 300  # seconds by the clock, on a machine that does other work too


def read(path: Path) -> NotebookNode:
    """A notebook as it stands in the repository."""
    return nbformat.read(path, as_version=4)


def run(path: Path, home: Path) -> tuple[NotebookNode, float]:
    """Execute a notebook with `home` as its home and working folder; with its outputs, and processor seconds.

    Raises
    ------
    AssertionError
        A cell failed; the message is that of the kernel.
    """
    folders = {name: home / name.lower() for name in ("HOME", "IPYTHONDIR", "TMPDIR", "JUPYTER_RUNTIME_DIR")}
    for folder in folders.values():
        folder.mkdir(exist_ok=True)
    more = {"OMP_NUM_THREADS": "1", "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": ""}
    out = home / "executed.ipynb"
    ran = subprocess.run(
        [sys.executable, "-m", "tests.notebooks.kernel", str(path), str(home), str(out)],
        cwd=ROOT,
        env={**os.environ, **{name: str(folder) for name, folder in folders.items()}, **more},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr[-4000:]
    notebook = read(out)
    last = notebook.cells.pop()
    return notebook, float(last.outputs[0].text)


def execute(path: Path, home: Path) -> NotebookNode:
    """Execute a notebook in this process."""
    from jupyter_client.kernelspec import KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager
    from nbclient import NotebookClient

    notebook = read(path)
    notebook.cells.append(nbformat.v4.new_code_cell("import time\nprint(time.process_time())", id=LAST))
    own = KernelSpecManager(kernel_dirs=[], ensure_native_kernel=True)
    kernel = AsyncKernelManager(kernel_name="python3", kernel_spec_manager=own)
    client = NotebookClient(notebook, km=kernel, timeout=PATIENCE, resources={"metadata": {"path": str(home)}})
    spec = kernel.kernel_spec
    assert spec is not None
    assert spec.argv[0] == sys.executable, "the kernel must be this Python"
    client.execute()
    return notebook


if __name__ == "__main__":
    given, place, result = (Path(word) for word in sys.argv[1:])
    nbformat.write(execute(given, place), result)
