"""Freeze a small book of the present schema version: `python -m tests.book.write_frozen`.

Run it once for every new schema version and never again for an old one: the file stands for the books people have. It
holds an entry of every kind; the screening is a real run of two parts of the worked bag.
"""

from __future__ import annotations

import json
import sqlite3
import tempfile
from contextlib import closing
from dataclasses import asdict
from datetime import date
from pathlib import Path

from partscreen.book import entries as kept
from partscreen.book.facts import Facts
from partscreen.book.migrate import NEWEST
from partscreen.book.store import Blob, Book, Draft
from partscreen.workflow import ScreenOptions, screen_files
from partscreen.workflow.book.record import keep, raw_files, run_of
from tests.docs.bag import FOLDER

FROZEN = Path(__file__).parent / "frozen"
KIT = FOLDER.parent / "kit_four_wire_10a.toml"
DAY = date(2026, 11, 20)


def main() -> None:
    """Write schema_NNNN.sqlite, and beside it as JSON what it must be read as."""
    path = FROZEN / f"schema_{NEWEST}.sqlite"
    if path.exists():
        raise SystemExit(f"{path} is frozen already")
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA page_size = 512")  # a small file; SQLite keeps the size it was made with
        raw.execute("VACUUM")
    with Book.open(path) as book:
        record_two_parts(book)
        add_what_people_add(book)
        read = [asdict(entry) for entry in book.entries()]
    path.with_suffix(".json").write_text(json.dumps(read, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def record_two_parts(book: Book) -> None:
    """T1, held for want of readings, and T5, an open part."""
    with tempfile.TemporaryDirectory() as folder:
        few = Path(folder) / "few.csv"
        lines = (FOLDER / "bag.csv").read_text(encoding="utf-8").splitlines()
        mine = [line for line in lines if line.startswith("T1,")][::2]
        head = [line for line in lines if not line.startswith("T")]
        few.write_text("\n".join([*head, *mine, *(x for x in lines if x.startswith("T5,"))]) + "\n", encoding="utf-8")
        options = ScreenOptions(lot_texts=("bag type=2SC5200 supplier=Birch files=few.csv",), kit=KIT)
        outcome = screen_files([few], options, figures=False)
        keep(book, Facts(book), run_of(outcome, raw_files(outcome, [few], options), options))


def add_what_people_add(book: Book) -> None:
    """One entry of every kind that the run did not write."""
    (first,) = book.entries(kind="part", part="T1")
    of = {"lot": "bag", "supplier": "Birch", "type": "2SC5200", "part": "T1", "on": DAY}
    photo = Blob(b"\xff\xd8\xff invented photo", "image/jpeg")
    seen = kept.BlobRef(sha256=photo.sha256, size=len(photo.content), media_type=photo.media_type, name="top.jpg")
    beside = [("Birch", "bag", "T2")]
    readings = kept.PartKept.model_validate(first.body).readings.model_copy(update={"points": {}, "spots": []})
    payloads = {
        "override": kept.OverrideKept(**of, disposition="hold", judged=first.seq, reason="socket", by="bench 1"),
        "approval": kept.ApprovalKept(**of, of=book.head().seq + 1, by="bench 2"),
        "quarantine": kept.QuarantineKept(**of, place="red box"),
        "match": kept.MatchKept(**{k: v for k, v in of.items() if k != "on"}, set="pair 1", beside=beside),
        "fitted": kept.FittedKept(**of, job="J-7", channel="left", position="Q12"),
        "bias": kept.BiasKept(**of, job="J-7", position="Q12", volts=0.0112, resistor=0.22),
        "outcome": kept.OutcomeKept(**of, job="J-7", position="Q12", what="failed_after", days=3, cause="stage"),
        "observation": kept.ObservationKept(**of, text="ink comes off, µ Ω 名", blobs=[seen]),
        "stress": kept.StressKept(**of, what="avalanche_base_emitter", current=0.005, seconds=2.0),
        "kit_check": kept.KitCheckKept(kit="my bench", good=True, on=DAY),
        "retest": kept.RetestKept(
            **of, first=first.seq, verdict="unchanged", sentence="unchanged", program="0.1.0", readings=readings
        ),
    }
    for kind, payload in payloads.items():
        book.append([Draft(kind, payload.body())], {photo.sha256: photo} if kind == "observation" else {})
    (wrong,) = book.entries(kind="fitted")
    put_right = kept.CorrectionKept(
        supersedes=wrong.seq,
        of_kind="fitted",
        reason="misread the board",
        on=DAY,
        corrected=wrong.body | {"position": "Q14"},
        part="T1",
        lot="bag",
        supplier="Birch",
    )
    book.append([Draft("correction", put_right.body())])
    book.erase_blob(photo.sha256, "a face was on it")


if __name__ == "__main__":
    main()
