"""The book as tables: complete, typed, harmless to spreadsheets, and without names where that is asked."""

import csv
import hashlib
import json
import re
from dataclasses import replace
from datetime import date, datetime

import pyarrow.parquet as parquet
import pytest

from partscreen.book.entries import CorrectionKept, KeptReadings, MatchKept, ReadingCorrected, RetestKept
from partscreen.book.export import TABLES
from partscreen.book.facts import Facts
from partscreen.book.jobs import bias_drafts, fitted_draft, outcome_drafts
from partscreen.book.notes import (
    approval_draft,
    kit_check_draft,
    observation_draft,
    override_draft,
    quarantine_draft,
    stress_draft,
)
from partscreen.book.package import neutral
from partscreen.book.record import run_drafts
from partscreen.book.store import Book, Draft
from partscreen.errors import UnusableInput
from partscreen.workflow import Asked, export_book
from tests.book.domain_runs import bag_run, part, record_bag, write

DAY = date(2026, 11, 2)
SECRET = "Qzxv"  # stands in every text a person typed


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A book in which every text a person typed holds the secret, and every kind of entry is there."""
    path = str(tmp_path_factory.mktemp("book") / "book.sqlite")
    run = bag_run()
    (lot,) = run.screening.lots
    (told,) = run.batch.lots
    names = {"lot": f"{SECRET} lot", "supplier": f"={SECRET} Ltd"}
    parts = [p.model_copy(update={"part": f"{SECRET} {p.part}", "session": SECRET}) for p in lot.parts]
    screening = run.screening.model_copy(update={"lots": [lot.model_copy(update={**names, "parts": parts})]})
    batch = replace(
        run.batch,
        part_names=tuple(f"{SECRET} {name}" for name in run.batch.part_names),
        lots=(
            replace(
                told,
                name=names["lot"],
                supplier=names["supplier"],
                maker=SECRET,
                gain_group=SECRET,
                extra={"order": SECRET, SECRET: "x"},
            ),
        ),
        sessions=tuple(f"{SECRET}{s}" for s in run.batch.sessions),
        inputs=tuple(i.model_copy(update={"file": f"{SECRET}.csv"}) for i in run.batch.inputs),
        spots=replace(
            run.batch.spots, conditions=tuple({**c, "note": SECRET, "base": SECRET} for c in run.batch.spots.conditions)
        ),
    )
    kit = run.kit.model_copy(update={"name": SECRET})
    files = tuple(replace(raw, name=f"{SECRET}.csv") for raw in run.files)
    hostile = replace(run, screening=screening, batch=batch, kit=kit, files=files)
    with Book.open(path) as book:
        drafts, blobs = run_drafts(hostile)
        facts = write(book, *drafts, blobs=blobs)
        ref = part(facts, f"{SECRET} T1", None)
        facts = write(book, fitted_draft(facts, ref, SECRET, SECRET, channel=SECRET, by=SECRET, on=DAY))
        facts = write(
            book,
            *bias_drafts(facts, SECRET, {SECRET: 0.01}, resistor=0.2, ambient=None, minutes=None, by=SECRET, on=DAY),
            *outcome_drafts(
                facts, "failed_after", ref=ref, lot=None, job=None, position=None, days=2, cause="part", note=SECRET,
                by=SECRET, on=DAY,
            ),
            override_draft(facts, ref, "reject", reason=SECRET, by=SECRET, on=DAY),
            quarantine_draft(facts, ref, where=SECRET, release=False, reason=SECRET, by=SECRET, on=DAY),
            stress_draft(ref, "dwell", {"seconds": 2.0}, survived=True, note=SECRET, by=SECRET, on=DAY),
            observation_draft(ref, SECRET, SECRET, [], by=SECRET, on=DAY),
            kit_check_draft(facts, SECRET, good=True, note=SECRET, by=SECRET, on=DAY),
        )  # fmt: skip
        typed = {"supplier": ref.supplier, "lot": ref.lot, "part": ref.part, "type": SECRET, "by": SECRET, "on": DAY}
        readings = KeptReadings()
        retest = RetestKept(
            **typed, first=1, verdict="changed", sentence=SECRET, program="0", readings=readings
        )  # fmt: skip
        cell = ReadingCorrected(file=SECRET, sha256="0" * 64, row=1, column=SECRET, was=SECRET, now=SECRET)
        correction = CorrectionKept(supersedes=1, of_kind="file", reason=SECRET, by=SECRET, on=DAY, reading=cell)
        beside = [(SECRET, SECRET, SECRET)]
        match = MatchKept(supplier=ref.supplier, lot=ref.lot, part=ref.part, set=SECRET, position=SECRET, beside=beside)
        texts = (("retest", retest), ("correction", correction), ("match", match))
        facts = write(book, *(Draft(kind, one.body()) for kind, one in texts))
        seq = facts.latest("override").seq
        write(book, approval_draft(facts, seq, by=f"{SECRET} 2", agrees=True, note=SECRET, on=DAY))
    return path


def rows_of(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8-sig", newline="") as source:
        return list(csv.DictReader(source))


def test_every_table_is_written_with_its_columns(place, tmp_path):
    told = export_book(tmp_path / "out", "csv", Asked(), where=place)
    assert len(told.files) == len(TABLES)
    for table in TABLES:
        with (tmp_path / "out" / f"{table.name}.csv").open(encoding="utf-8-sig", newline="") as source:
            assert next(csv.reader(source)) == [column.name for column in table.columns]
    assert len(rows_of(tmp_path / "out", "parts")) == 6
    points = sum(len(e.body["readings"]["points"].get("row", ())) for e in _parts(place))
    assert len(rows_of(tmp_path / "out", "readings")) == points > 0


def _parts(place):
    with Book.open(place) as book:
        return list(book.entries(kind="part"))


def test_figures_come_out_in_full(place, tmp_path):
    export_book(tmp_path / "out", "csv", Asked(), where=place)
    first = rows_of(tmp_path / "out", "readings")[0]
    kept = _parts(place)[0].body["readings"]["points"]
    assert float(first["ic"]) == kept["ic"][0]
    assert float(first["vbe_std"]) == kept["vbe_std"][0]


def test_no_cell_is_a_formula(place, tmp_path):
    export_book(tmp_path / "out", "csv", Asked(), where=place)
    assert rows_of(tmp_path / "out", "lots")[0]["supplier"] == f"'={SECRET} Ltd"
    for table in TABLES:
        for row in rows_of(tmp_path / "out", table.name):
            for value in row.values():
                assert value[:1] not in set("=+@\t\r\n")
                assert value[:1] != "-" or float(value) < 0


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "  =1+1", "\r=1", "\n=1"])
def test_text_that_starts_a_formula_is_made_harmless(text):
    assert neutral(text) == f"'{text}"


@pytest.mark.parametrize("text", ["Birch", "a=b", "2SC5200", "", "   "])
def test_other_text_stays_as_it_is(text):
    assert neutral(text) == text


@pytest.mark.parametrize("form", ["csv", "json", "parquet", "package"])
def test_without_names_nothing_that_a_person_typed_leaves_the_book(place, tmp_path, form):
    out = tmp_path / form
    export_book(out, form, Asked(), without_names=True, where=place)
    for path in out.iterdir():
        if form == "parquet":
            text = json.dumps(parquet.read_table(path).to_pylist(), default=str)
        else:
            text = path.read_text(encoding="utf-8")
        assert SECRET not in text, path.name


def test_with_names_they_are_there(place, tmp_path):
    export_book(tmp_path / "out", "json", Asked(), where=place)
    texts = {path.stem: path.read_text(encoding="utf-8") for path in (tmp_path / "out").iterdir()}
    for name in ("lots", "parts", "readings", "fitted", "bias", "outcomes", "overrides", "approvals", "stress"):
        assert SECRET in texts[name], name


def test_without_names_parts_of_a_lot_stay_together(place, tmp_path):
    export_book(tmp_path / "out", "csv", Asked(), without_names=True, where=place)
    parts = rows_of(tmp_path / "out", "parts")
    assert {(row["supplier"], row["lot"], row["type"]) for row in parts} == {("supplier-1", "lot-1", "2SC5200")}
    assert {row["type"] for row in rows_of(tmp_path / "out", "retests")} == {""}  # the library knows no such type
    assert len({row["part"] for row in parts}) == 6
    fitted = rows_of(tmp_path / "out", "fitted")[0]
    assert (fitted["part"], fitted["job"]) == (parts[0]["part"], "job-1")


CASTS = {
    "string": str,
    "integer": int,
    "number": float,
    "boolean": lambda text: {"true": True, "false": False}[text],
    "date": date.fromisoformat,
    "datetime": lambda text: datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ"),
}


def test_data_package_is_as_the_open_specification_asks(place, tmp_path):
    """datapackage.org, Data Package 2.0 and Table Schema 2.0: names, safe paths, bytes, hash, types of every cell."""
    out = tmp_path / "out"
    export_book(out, "package", Asked(), where=place)
    told = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    assert told["$schema"].startswith("https://datapackage.org/profiles/2.0/")
    assert len(told["resources"]) == len(TABLES)
    for resource in told["resources"]:
        assert re.fullmatch(r"[a-z0-9._/-]+", resource["name"])
        assert not resource["path"].startswith(("/", "."))
        content = (out / resource["path"]).read_bytes()
        assert resource["bytes"] == len(content)
        assert resource["hash"] == f"sha256:{hashlib.sha256(content).hexdigest()}"
        rows = list(csv.reader(content.decode("utf-8").splitlines()))
        fields = resource["schema"]["fields"]
        assert rows[0] == [field["name"] for field in fields]
        for row in rows[1:]:
            for field, value in zip(fields, row, strict=True):
                assert value == "" or CASTS[field["type"]](value) is not None


def test_parquet_holds_the_same_figures_with_their_types(place, tmp_path):
    export_book(tmp_path / "csv", "csv", Asked(), where=place)
    export_book(tmp_path / "parquet", "parquet", Asked(), where=place)
    table = parquet.read_table(tmp_path / "parquet" / "readings.parquet")
    assert str(table.schema.field("ic").type) == "double"
    assert str(table.schema.field("use").type) == "bool"
    wanted = rows_of(tmp_path / "csv", "readings")
    assert [float(row["ic"]) for row in wanted] == table.column("ic").to_pylist()
    assert [row["vbe"] == "" for row in wanted] == [value is None for value in table.column("vbe").to_pylist()]


def test_selection_takes_its_lots_alone(tmp_path, where):
    with Book.open(where) as book:
        record_bag(book, "Birch")
        record_bag(book, "Cedar")
    export_book(tmp_path / "out", "csv", Asked(supplier="Cedar"), where=where)
    assert {row["supplier"] for row in rows_of(tmp_path / "out", "parts")} == {"Cedar"}
    with pytest.raises(UnusableInput, match="no such lot"):
        export_book(tmp_path / "none", "csv", Asked(supplier="Alder"), where=where)
    assert not (tmp_path / "none").exists()


def test_folder_in_use_and_unknown_form_are_refused(place, tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"holds something already.*\n.*empty folder"):
        export_book(tmp_path, "csv", Asked(), where=place)
    with pytest.raises(UnusableInput, match="csv, json, parquet, package"):
        export_book(tmp_path / "out", "xml", Asked(), where=place)


def test_missing_parquet_library_is_told_with_the_way_out(place, tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UnusableInput, match=r"pyarrow, which is not installed.*\n.*partscreen\[parquet\]"):
        export_book(tmp_path / "out", "parquet", Asked(), where=place)
    with Book.open(place) as book:
        assert Facts(book).latest("lot") is not None
