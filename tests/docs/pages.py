"""The pages a user reads, cut into blocks; the blocks that show a command are run and filled in again.

One way in and out: `refreshed(page, folder)` gives the page as it should read today. The test compares it with the page
on disk, `python -m tests.docs.refresh` writes it there.

A command shown with its answer stands in a block ```console after `$ `; `$ echo $?` shows the exit code of the command
before it. A block ```sh holds commands without their answer; a comment `# exit code 4` states the exit code (else 0).
A comment before a block says how much of the answer is shown (`<!-- shown: 12 -->`, `<!-- shown: 3-9 -->`; what is left
out becomes `...`) or which lines of which file the block repeats (`<!-- from: docs/examples/bag/bag.csv 1-9 -->`).
"""

from __future__ import annotations

import re
import shlex
import shutil
import tempfile
from contextlib import chdir
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from typer.testing import CliRunner

from partscreen.cli.app import app

ROOT = Path(__file__).resolve().parents[2]
PAGES = (
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted((ROOT / "docs").glob("*.md")),
    *sorted((ROOT / "docs" / "how_to").glob("*.md")),
)
HERE = "[your folder]"  # what a page shows in place of the folder the commands ran in
DEMO = "demo_report"  # folder of the demo, wherever a page runs it
NEAR = 0.02  # relative; last digits differ between machines (assumption: enough for three printed digits)

_BLOCK = re.compile(
    r"(?P<said><!-- (?:shown|from): [^\n]*? -->\n)?(?P<fence>^```(?P<kind>\w+)\n)(?P<body>.*?)(?P<end>^```$)",
    re.MULTILINE | re.DOTALL,
)
_LINES = re.compile(r"(?P<first>\d+)(?:-(?P<last>\d+))?$")
_NUMBER = re.compile(r"(?<![\w.])[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?")


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced block: its language, its text, and what the comment before it says."""

    kind: str
    body: str
    said: str


@dataclass(frozen=True, slots=True)
class Ran:
    """A command of a page that was run: what it printed (messages included, in order) and its exit code."""

    command: str
    output: str
    exit_code: int


def blocks(text: str) -> list[Block]:
    """All fenced blocks that name their language."""
    return [Block(m["kind"], m["body"], (m["said"] or "").strip("<!-> \n")) for m in _BLOCK.finditer(text)]


def prepare(folder: Path) -> None:
    """What a checkout has and a page's commands name: the worked examples."""
    shutil.copytree(ROOT / "docs" / "examples", folder / "docs" / "examples", dirs_exist_ok=True)


def run(command: str, folder: Path) -> Ran:
    """Run one `partscreen ...` line in a folder; `< FILE` at its end gives what is typed."""
    words = shlex.split(command)
    if words[0] != "partscreen":
        raise ValueError(f"a page shows {command!r}; only `partscreen ...` can be checked")
    if words[1:] == ["demo", "--out", DEMO]:
        return _copied_demo(command, folder)
    typed = None
    if len(words) > 2 and words[-2] == "<":
        typed = (folder / words[-1]).read_text(encoding="utf-8")
        words = words[:-2]
    with chdir(folder):
        result = CliRunner().invoke(app, words[1:], prog_name="partscreen", input=typed)
    return Ran(command, result.output.replace(str(folder.resolve()), HERE).replace(str(folder), HERE), result.exit_code)


@lru_cache(maxsize=1)
def _demo() -> tuple[tempfile.TemporaryDirectory[str], Ran]:
    """The demo takes longest and is shown on several pages: it runs once, and the others get a copy of its folder."""
    kept = tempfile.TemporaryDirectory()
    with chdir(kept.name):
        result = CliRunner().invoke(app, ["demo", "--out", DEMO], prog_name="partscreen")
    output = result.output.replace(str(Path(kept.name).resolve()), HERE).replace(kept.name, HERE)
    return kept, Ran("partscreen demo", output, result.exit_code)


def _copied_demo(command: str, folder: Path) -> Ran:
    kept, ran = _demo()
    if (Path(kept.name) / DEMO).exists():
        shutil.copytree(Path(kept.name) / DEMO, folder / DEMO, dirs_exist_ok=True)
    return Ran(command, ran.output, ran.exit_code)


def refreshed(text: str, folder: Path) -> str:
    """A page's text with every shown answer, exit code and excerpt as of today. Commands run in `folder`, in order."""

    def fill(match: re.Match[str]) -> str:
        said = (match["said"] or "").strip("<!-> \n")
        if said.startswith("from:"):
            return "".join((match["said"], match["fence"], excerpt(said), match["end"]))
        body = _answered(match["body"], said, folder) if match["kind"] == "console" else match["body"]
        return "".join((match["said"] or "", match["fence"], body, match["end"]))

    return _BLOCK.sub(fill, text)


def commands(body: str) -> list[str]:
    """The `partscreen` lines of a block ```sh, comments kept off."""
    lines = body.replace("\\\n", " ").splitlines()
    return [line.split("  #")[0].strip() for line in lines if line.startswith("partscreen ")]


def stated_exit_codes(body: str) -> list[int]:
    """The exit code each `partscreen` line of a block ```sh states; 0 where it states none."""
    lines = [line for line in body.replace("\\\n", " ").splitlines() if line.startswith("partscreen ")]
    found = [re.search(r"# exit code (\d+)", line) for line in lines]
    return [int(m[1]) if m else 0 for m in found]


def excerpt(said: str) -> str:
    """The lines of a file that a block repeats: `from: PATH` or `from: PATH 3-9`."""
    words = said.removeprefix("from:").split()
    lines = (ROOT / words[0]).read_text(encoding="utf-8").splitlines()
    # Nothing stands for the lines above an excerpt: a header row must stay the first line of its block.
    return _cut(lines, words[1] if len(words) > 1 else "").removeprefix("...\n")


def _answered(body: str, said: str, folder: Path) -> str:
    wanted = said.removeprefix("shown:").strip() if said.startswith("shown:") else ""
    asked = [line for line in re.split(r"^(?=\$ )", body, flags=re.MULTILINE) if line.startswith("$ ")]
    out: list[str] = []
    last: Ran | None = None
    for piece in asked:
        command = _whole(piece)
        out.append("$ " + command + "\n")
        line = command.replace("\\\n", " ")
        if line == "echo $?":
            if last is None:
                raise ValueError("an exit code is shown before any command")
            out.append(f"{last.exit_code}\n")
        else:
            last = run(line, folder)
            out.append(_cut([text.rstrip() for text in last.output.splitlines()], wanted))
    return "".join(out)


def _whole(piece: str) -> str:
    """The command of a piece, with the lines it is continued on."""
    lines = piece[2:].splitlines()
    taken = [lines.pop(0)]
    while taken[-1].endswith("\\"):
        taken.append(lines.pop(0))
    return "\n".join(taken)


def _cut(lines: list[str], wanted: str) -> str:
    found = _LINES.match(wanted)
    first, last = 1, len(lines)
    if found:
        first, last = (int(found["first"]), int(found["last"])) if found["last"] else (1, int(found["first"]))
    shown = (["..."] if first > 1 else []) + lines[first - 1 : last] + (["..."] if last < len(lines) else [])
    return "".join(line + "\n" for line in shown)


def same(one: str, two: str) -> bool:
    """Whether two texts say the same: equal words, figures within `NEAR`, whatever the spaces between."""
    if _NUMBER.sub("0", one).split() != _NUMBER.sub("0", two).split():
        return False
    pairs = zip(_NUMBER.findall(one), _NUMBER.findall(two), strict=True)
    return all(abs(float(a) - float(b)) <= NEAR * max(abs(float(a)), abs(float(b))) for a, b in pairs)
