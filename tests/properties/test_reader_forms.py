"""Whatever the form: readings come back, and no content makes the import raise."""

import io
import json
import string
import tempfile
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from partscreen.readings.columns.wide_header import is_wide, join_conditions, wide_column
from partscreen.readings.import_files import read_files
from partscreen.readings.rows.lot_files import read_range
from tests.readings.one_lot import ods, ods_cell

CALM = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
CELL = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**9), 10**9),
    st.floats(-1e6, 1e6).map(lambda x: float(f"{x:.6g}")),
    st.sampled_from(["", "T1", "1,234", "0,5", "4.8 nF", "OL", "n/a", "=A1*2", "nan", "-", "gain", "µ"]),
)
NAME = st.sampled_from(
    [
        "part", "lot", "ic [A]", "hfe", "vce [V]", "vbe [mV]", "C_BE [nF]", "C_BE [nF] @ VBE=0 V, f=1 MHz", "quantity",
        "hFE @ IC=1 A, VCE=5 V", "hFE @ IC=2 A, VCE=5 V", "VCE(sat) [V] @ IC=8 A, IB=0.8 A", "value", "unit", "colour",
        "IC [A] @ IB=10 mA, VCE=1 V", "IB [mA] @ IC=1 A", "x @ y=z", "time", "sweep", "run", "", "control", "IC [MA]",
    ]
)  # fmt: skip
TABLE = st.lists(NAME, min_size=1, max_size=7, unique=True).flatmap(
    lambda names: st.tuples(
        st.just(names), st.lists(st.lists(CELL, min_size=len(names), max_size=len(names)), max_size=6)
    )
)


def _read(content, name):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(content)
        return read_files([path]).batch


def _sound(batch):
    """What holds of every batch, whatever it was made of."""
    n = batch.n_parts
    assert set(batch.points.part.tolist()) <= set(range(n))
    assert set(batch.spots.part.tolist()) <= set(range(n))
    assert np.isfinite(batch.spots.value).all()
    assert all(problem.what and problem.fix and problem.code for problem in batch.problems)
    assert batch.problems or n or batch.notices or not batch.inputs[0].rows


def _xlsx(names, rows):
    from openpyxl import Workbook

    book = Workbook()
    book.active.append(names)
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _csv(names, rows):
    def cell(value):
        return '"' + ("" if value is None else str(value)).replace('"', '""') + '"'

    return "\n".join(";".join(map(cell, row)) for row in [names, *rows]).encode()


def _ods(names, rows):
    lines = ["".join(map(ods_cell, names))]
    lines += ["".join(ods_cell(str(v) if isinstance(v, bool) else v) for v in row) for row in rows]
    return ods([("S", [f"<table:table-row>{line}</table:table-row>" for line in lines])])


@settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=CALM)
@given(TABLE)
def test_no_table_of_plausible_cells_makes_any_reader_raise(table):
    names, rows = table
    _sound(_read(json.dumps({"columns": names, "rows": rows}).encode(), "t.json"))
    _sound(_read(json.dumps([dict(zip(names, row, strict=True)) for row in rows]).encode(), "t.json"))
    _sound(_read(_csv(names, rows), "t.csv"))


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=CALM)
@given(TABLE)
def test_no_table_of_plausible_cells_makes_a_workbook_raise(table):
    names, rows = table
    _sound(_read(_xlsx(names, rows), "t.xlsx"))
    _sound(_read(_ods(names, rows), "t.ods"))


JSON = st.recursive(
    st.one_of(st.none(), st.booleans(), st.floats(), st.text(max_size=5), st.sampled_from(["part", "hfe", "rows"])),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.dictionaries(st.sampled_from(["columns", "rows", "units", "readings", "part", "hfe"]), inner, max_size=4),
    ),
    max_leaves=20,
)


@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=CALM)
@given(JSON)
def test_no_json_value_makes_the_reader_raise(value):
    batch = _read(json.dumps(value).encode(), "t.json")
    assert all(problem.what and problem.fix for problem in batch.problems)
    assert batch.problems or batch.inputs[0].rows


@pytest.fixture(scope="module")
def whole_files():
    import pyarrow
    from pyarrow import parquet

    names, rows = ["part", "ic [A]", "hfe"], [["T1", 0.5, 80.0], ["T1", 1.0, 78.0], ["T2", 1.0, 81.0]]
    out = io.BytesIO()
    parquet.write_table(pyarrow.table({n: [row[i] for row in rows] for i, n in enumerate(names)}), out)
    return {"xlsx": _xlsx(names, rows), "ods": _ods(names, rows), "parquet": out.getvalue()}


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=CALM)
@given(st.sampled_from(["xlsx", "ods", "parquet"]), st.data())
def test_no_damage_to_a_binary_file_makes_the_reader_raise(whole_files, form, data):
    content = bytearray(whole_files[form])
    for _ in range(data.draw(st.integers(1, 6))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(1, len(content)))
    batch = _read(bytes(content[:cut]), f"t.{form}")
    assert all(problem.what and problem.fix for problem in batch.problems)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=CALM)
@given(st.integers(0, 400), st.sampled_from(["<", ">", "/", '"', "&", "\x00", "999999999", "<f>", "</c>"]))
def test_no_damage_to_the_sheet_inside_a_workbook_makes_the_reader_raise(whole_files, place, piece):
    for form, inner in (("xlsx", "xl/worksheets/sheet1.xml"), ("ods", "content.xml")):
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(whole_files[form])) as old, zipfile.ZipFile(out, "w") as new:
            for name in old.namelist():
                content = old.read(name)
                if name == inner:
                    at = len(content) - min(place * 3, len(content))
                    content = content[:at] + piece.encode() + content[at:]
                new.writestr(name, content)
        batch = _read(out.getvalue(), f"t.{form}")
        assert all(problem.what and problem.fix for problem in batch.problems)


QUANTITY = st.sampled_from(["hFE", "VBE [mV]", "C_BE [nF]", "C_CB", "VCE(sat)", "V(BR)CEO [V]", "IB [mA]", "C_BX"])
CONDITION = st.sampled_from(
    [
        "IC=1 A",
        "IC=0,1 A",
        "VCE=5 V",
        "VBE=0 V",
        "f=1 MHz",
        "IB=0.1 A",
        "IC/IB=10",
        "t=300 us",
        "TC=25 degC",
        "base=open",
    ]
)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(QUANTITY, st.lists(CONDITION, max_size=4, unique_by=lambda text: text.partition("=")[0]))
def test_a_header_cut_at_its_commas_is_put_together_as_it_was(name, conditions):
    header = f"{name} @ {', '.join(conditions)}" if conditions else name
    line = ["part", *header.split(","), "colour"]
    if all("=0" not in piece for piece in conditions):  # a decimal comma looks like a separator too
        assert join_conditions(line, ",") == ["part", header, "colour"]
    if is_wide(header):
        column, wrong, _ = wide_column(1, header)
        assert (column is None) == bool(wrong)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    st.text(string.ascii_uppercase, min_size=1, max_size=3), st.integers(0, 500), st.integers(0, 300), st.integers(1, 5)
)
def test_a_range_names_every_file_from_its_first_to_its_last(letters, first, more, width):
    last = first + more
    if len(str(first)) > width or len(str(last)) > width:
        return
    found = read_range(f"{letters}{first:0{width}d}-{letters}{last:0{width}d}")
    assert found is not None
    assert len(found.parts) == more + 1
    assert found.part_of(f"{letters}{last:0{width}d}.csv") == f"{letters}{last:0{width}d}"
    assert found.part_of(f"{letters}{last + 1:0{width}d}.csv") is None
