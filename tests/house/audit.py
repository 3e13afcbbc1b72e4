"""Are known weaknesses on record for the locked versions?  python -m tests.house.audit

Asks an advisory service through pip-audit. Before the locked versions it asks about one old version that is known to be
weak: only if the service knows that one does its silence about ours mean anything. Otherwise the answer is "not run",
never "clean". Exit code: 0 none on record, 4 something on record, 3 not run.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
# CVE-2014-1402, nvd.nist.gov: Jinja2 before 2.7.2 has a weakness of temporary files (memory of the number, not read).
CONTROL = "jinja2==2.4.1"
Ask = Callable[[Sequence[str]], Any]


def ask_service(lines: Sequence[str]) -> Any:
    """What pip-audit says of exact versions, as its JSON; None where it fails or is not installed."""
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "versions.txt"
        wanted.write_text("\n".join(lines) + "\n", encoding="utf-8")
        options = ("--no-deps", "--disable-pip", "--progress-spinner", "off", "--format", "json", "--timeout", "15")
        command = [sys.executable, "-m", "pip_audit", *options, "-r", str(wanted)]
        try:
            ran = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
            return json.loads(ran.stdout)
        except (OSError, ValueError, subprocess.TimeoutExpired):
            return None


def audit(locked: Sequence[str], ask: Ask = ask_service) -> tuple[int, list[str]]:
    """Exit code and lines to print."""
    control = _weak(ask([CONTROL]))
    if control is None or not control[0]:
        why = "the advisory service was not reached, or does not know a version that is known to be weak"
        return 3, [f"not run: {why} ({CONTROL}); nothing is known about the {len(locked)} locked versions"]
    found = _weak(ask(locked))
    if found is None:
        return 3, ["not run: the advisory service gave no answer about the locked versions"]
    weak, skipped, answered = found
    lines = [f"{name}: {', '.join(ids)}" for name, ids in sorted(weak.items())]
    missing = len(locked) - answered
    if weak:
        return 4, [
            *lines,
            f"{len(weak)} of {len(locked)} locked versions have a weakness on record; {missing} not asked",
        ]
    if missing:
        names = f" ({', '.join(skipped)})" if skipped else ""
        return 3, [
            f"not wholly run: {missing} of {len(locked)} locked versions got no answer{names}; the others have none"
        ]
    return 0, [f"no weakness on record for any of the {len(locked)} locked versions"]


def _weak(answer: Any) -> tuple[dict[str, list[str]], list[str], int] | None:
    """Weak versions with their numbers, names left out, count of those answered; None for no answer."""
    if not isinstance(answer, dict) or not isinstance(answer.get("dependencies"), list):
        return None
    weak: dict[str, list[str]] = {}
    skipped = []
    for one in answer["dependencies"]:
        if "skip_reason" in one or "vulns" not in one:
            skipped.append(str(one["name"]))
        elif one["vulns"]:
            weak[f"{one['name']} {one['version']}"] = [str(told["id"]) for told in one["vulns"]]
    return weak, skipped, len(answer["dependencies"]) - len(skipped)


def locked_versions() -> list[str]:
    """The lines of requirements.lock."""
    return [line for line in (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines() if "==" in line]


if __name__ == "__main__":
    code, said = audit(locked_versions())
    print("\n".join(said))
    sys.exit(code)
