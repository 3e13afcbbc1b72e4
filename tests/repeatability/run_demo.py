"""Prints what lots of the demo come to, and what `match`, `trust`, `stage` and `plan` make of it, as one JSON text.

Run in processes of different surroundings by the tests. Results hold no times; nothing is left out here.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path
from typing import Any

READ = ("K1.csv", "A1.csv", "B1.xlsx", "A2.csv", "capacitance.csv")


def answers() -> dict[str, Any]:
    """Three lots of one type, one of its complement, and every further answer that a result is read again for."""
    from partscreen.simulate.scenario import copy_demo_files
    from partscreen.workflow import ScreenOptions, TrustOptions, check_stage, match_results, screen_files
    from partscreen.workflow.after.plan import make_plan
    from partscreen.workflow.after.plan_options import PlanOptions
    from partscreen.workflow.after.trust import weigh_suppliers

    with tempfile.TemporaryDirectory() as place:
        files = copy_demo_files(Path(place))
        paths = [path for path in files.readings if path.name in READ]
        told = screen_files(paths, ScreenOptions(lots=files.lots, kit=files.kit), figures=False)
        result = Path(place) / "result.json"
        result.write_text(told.json_text(), encoding="utf-8")
        return {
            "screening": json.loads(told.json_text()),
            "exit_code": told.exit_code,
            "notices": list(told.notices),
            "matching": _plain(match_results([result])),
            "trust": _plain(weigh_suppliers(TrustOptions(results=(result,), as_of="2026-11-01"))),
            "stage": _plain(check_stage(files.stage, [result])),
            "plan": _plain(make_plan(PlanOptions(lot_size=200, tolerable="5%", confidence="95%"))),
        }


def _plain(result: Any) -> Any:
    return result.model_dump(mode="json", by_alias=True)


def main() -> None:
    """Write the text to standard output as bytes: the surroundings may have another encoding."""
    sys.stdout.buffer.write(json.dumps(answers(), ensure_ascii=False).encode())


if __name__ == "__main__":
    main()
