"""Write the frozen results of the demo's lots again: `python -m tests.frozen.write`."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from partscreen.results import Curves, LotResult, PartResult, Screening

FOLDER = Path(__file__).resolve().parent
LARGEST = 80_000  # bytes of one file


def fresh(folder: Path) -> Screening:
    """The whole demo, run in `folder`; the lots judge each other, so that none is run alone."""
    from partscreen.workflow import run_demo

    return run_demo(folder)[0].screening


def of_lot(whole: Screening, lot: LotResult) -> Screening:
    """The result of one lot in the brief form; inputs are those of the whole run."""
    return whole.model_copy(update={"lots": [lot.model_copy(update={"parts": [_brief(p) for p in lot.parts]})]})


def _brief(part: PartResult) -> PartResult:
    fit = part.fit.model_copy(update={"covariance": None}) if part.fit else None
    reached = [
        limit.model_copy(update={"source": limit.source.split(",")[0]})
        for limit in part.limits
        if limit.reached != "not_reached"
    ]
    return part.model_copy(update={"fit": fit, "curves": _thin(part.curves), "limits": reached})


def _thin(curves: Curves | None) -> Curves | None:
    """Every third point."""
    if curves is None:
        return None
    lists = {name: value[::3] for name, value in curves if isinstance(value, list)}
    return curves.model_copy(update=lists)


def text_of(result: Screening) -> str:
    """JSON with one part a line, so that a change of one part is a change of one line; figures to six digits."""
    data = _short(result.model_dump(mode="json", by_alias=True))
    (lot,) = data["lots"]
    parts = lot.pop("parts")
    del data["lots"]
    head, of_lot_ = (json.dumps(value, ensure_ascii=False).removesuffix("}") for value in (data, lot))
    lines = ",\n".join(json.dumps(part, ensure_ascii=False, separators=(",", ":")) for part in parts)
    return f'{head}, "lots": [{of_lot_}, "parts": [\n{lines}\n]}}]}}\n'


def _short(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _short(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_short(item) for item in value]
    return float(f"{value:.6g}") if isinstance(value, float) else value


def main() -> None:
    """Write one file a lot and say how large each is."""
    with tempfile.TemporaryDirectory() as folder:
        whole = fresh(Path(folder))
    for lot in whole.lots:
        text = text_of(of_lot(whole, lot))
        path = FOLDER / f"{lot.lot}.json"
        path.write_text(text, encoding="utf-8", newline="\n")
        size = path.stat().st_size
        print(f"{path.name}: {size} bytes" + ("  TOO LARGE" if size >= LARGEST else ""))


if __name__ == "__main__":
    main()
