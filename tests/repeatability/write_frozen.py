"""Writes the frozen answers of `match`, `trust`, `stage`, `plan` again: `python -m tests.repeatability.write_frozen`.

Do that when a change of the figures is meant, and say so in the change note.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from tests.repeatability.run_demo import answers

FOLDER = Path(__file__).resolve().parents[1] / "frozen" / "answers"
NAMES = ("matching", "trust", "stage", "plan")


def short(value: Any) -> Any:
    """Figures to six digits."""
    if isinstance(value, dict):
        return {key: short(item) for key, item in value.items()}
    if isinstance(value, list):
        return [short(item) for item in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def main() -> None:
    """One file an answer."""
    found = answers()
    for name in NAMES:
        text = json.dumps(short(found[name]), ensure_ascii=False, separators=(",", ":"))
        (FOLDER / f"{name}.json").write_text(text + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
