"""Build the site of the pages, strictly: every warning is an error.

    python -m tests.docs.site [FOLDER]      `site` if not given; starts at FOLDER/index.html

Broken links, links to a heading that is not there, and pages that the start page does not list are warnings of Sphinx,
so they end the building with 1.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def build(out: Path, source: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Build the pages below `source` into `out`, from nothing, so that no page of an earlier building is left over."""
    shutil.rmtree(out, ignore_errors=True)
    trees = out.with_name(out.name + "_trees")
    strict = ("-W", "--keep-going", "-n", "-q")
    command = [
        sys.executable,
        "-m",
        "sphinx",
        "-b",
        "html",
        *strict,
        "-c",
        str(ROOT / "docs" / "site"),
        "-d",
        str(trees),
    ]
    try:
        return subprocess.run([*command, str(source), str(out)], capture_output=True, text=True, check=False)
    finally:
        shutil.rmtree(trees, ignore_errors=True)


def main(out: Path) -> int:
    """Build and say where; what is wrong goes to standard error."""
    ran = build(out)
    sys.stderr.write(ran.stderr)
    if "toc.not_included" in ran.stderr:
        sys.stderr.write("list the page in docs/index.md, with the others of its kind\n")
    if not ran.returncode:
        print(f"written: {out / 'index.html'}")
    return ran.returncode


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "site"))
