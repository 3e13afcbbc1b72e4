"""How fast suppliers are weighed: 500 suppliers, 10,000 lots of 5 to 40 parts, from evidence and from a bench book.

Run: python -m benchmarks.trust_speed [--book]. Prints wall and processor seconds; the aim is 5 s on two quiet cores.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from partscreen.lots.trust import supplier_trust
from partscreen.lots.trust_records import FieldOutcome, LotRecord

TYPES = ("2SC5200", "2SA1943", "2N3055", "MJ15003")


def invented_lots(n_suppliers: int = 500, n_lots: int = 10_000, *, seed: int = 1) -> list[LotRecord]:
    """Lots of invented suppliers over four years, clean or bad, read with errors."""
    rng = np.random.default_rng(seed)
    mean = np.clip(rng.beta(0.3, 2.7, n_suppliers), 1e-3, 1 - 1e-3)
    out = []
    for i in range(n_lots):
        j = i % n_suppliers if i < n_suppliers else int(rng.integers(n_suppliers))
        n = int(rng.integers(5, 41))
        bad = rng.random(n) < rng.beta(0.5 * mean[j], 0.5 * (1 - mean[j]))
        evidence = np.where(bad, 4.0, -4.0) + rng.normal(size=n) * np.sqrt(8.0)
        day = date(2022, 1, 1) + timedelta(days=int(rng.integers(1460)))
        parts = {str(k): float(e) for k, e in enumerate(evidence)}
        out.append(LotRecord(f"Supplier {j}", f"L{i}", TYPES[int(rng.integers(4))], day, parts))
    return out


def invented_outcomes(lots: list[LotRecord], n: int = 2000, *, seed: int = 2) -> list[FieldOutcome]:
    """What became of some parts."""
    rng = np.random.default_rng(seed)
    out = []
    for lot in (lots[i] for i in rng.integers(len(lots), size=n)):
        what = "passed_soak" if rng.random() < 0.95 else "failed_first_power_up"
        out.append(FieldOutcome(lot.supplier, lot.lot, next(iter(lot.evidence)), what, type=lot.type, when=lot.when))
    return out


def _timed(name: str, call) -> None:  # type: ignore[no-untyped-def]
    wall, processor = time.perf_counter(), time.process_time()
    call()
    print(f"{name}: {time.perf_counter() - wall:.2f} s wall, {time.process_time() - processor:.2f} s processor")


def from_a_book(lots: list[LotRecord]) -> None:
    """The same from entries of a bench book."""
    from partscreen.book.store import Book, Draft
    from partscreen.workflow.after.trust import TrustOptions, weigh_suppliers

    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "book.sqlite")
        with Book.open(path) as book:
            for begin in range(0, len(lots), 500):
                book.append([Draft("screening", body_of(lot)) for lot in lots[begin : begin + 500]])
        _timed("from the bench book", lambda: weigh_suppliers(TrustOptions(book=path)))


def body_of(lot: LotRecord) -> dict[str, object]:
    """The body of a screening entry, as far as trust reads it."""
    return {
        "schema": 1, "content_key": lot.lot, "run": lot.lot, "readings_key": lot.lot, "lot": lot.lot,
        "supplier": lot.supplier, "type": lot.type, "n_parts": lot.n_read, "judgement": "use",
        "evidence": [
            {"part": p, "disposition": "accept", "evidence": e, "because": "evidence"} for p, e in lot.evidence.items()
        ],
        "settings": {}, "versions": {"program": "0", "library": "0"}, "inputs": {"files": []},
    }  # fmt: skip


def main() -> None:
    """Print the figures."""
    lots = invented_lots()
    outcomes = invented_outcomes(lots)
    supplier_trust(lots[:50], version="0")  # libraries loaded
    _timed("500 suppliers, 10,000 lots", lambda: supplier_trust(lots, outcomes, version="0", history=False))
    _timed(
        "the same with the history of eight dates", lambda: supplier_trust(lots, outcomes, version="0", history=True)
    )
    if "--book" in sys.argv:
        from_a_book(lots)


if __name__ == "__main__":
    main()
