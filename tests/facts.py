"""Where the collected facts lie that tests read but the repository does not publish.

The folder is taken from PARTSCREEN_FACTS, else looked for beside the checkout (`../shared/facts`). Where it is missing
the tests that need it are skipped with one line; in CI (environment variable CI set) its absence is a failure.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

FACTS = Path(os.environ.get("PARTSCREEN_FACTS", Path(__file__).resolve().parents[2] / "shared" / "facts"))
MEASURED = FACTS / "measured"
MODEL_CARDS = FACTS / "model_cards.toml"

_IN_CI = bool(os.environ.get("CI"))

needs_facts = pytest.mark.skipif(
    not _IN_CI and not FACTS.is_dir(),
    reason="the folder of collected facts is not beside this checkout (set PARTSCREEN_FACTS to it)",
)
