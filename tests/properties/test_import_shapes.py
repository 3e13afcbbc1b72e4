"""Whatever the separator, decimal mark, encoding, preamble, units and order: the same readings come back."""

import tempfile
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from partscreen.readings.import_files import read_files

COLUMNS = {  # key: (low, high, header spellings with the factor from SI)
    "ic": (1e-4, 20.0, (("ic [A]", 1.0), ("Ic (mA)", 1e3), ("ic_ma", 1e3), ("IC/mA", 1e3))),
    "ib": (1e-6, 2.0, (("ib [A]", 1.0), ("IB [mA]", 1e3), ("ib_ua", 1e6), ("Ib (µA)", 1e6))),
    "vce": (0.5, 80.0, (("vce [V]", 1.0), ("VCE (mV)", 1e3), ("Uce/V", 1.0))),
    "vbe": (0.3, 1.5, (("vbe [V]", 1.0), ("VBE/mV", 1e3))),
}
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1", "cp1252")
PREAMBLES = ("", "bench 2, evening\n", "# made by hand\n\nlot of the week: 12\n", "Meßplatz 3; Raum 21 °C\n\n")


@st.composite
def written_files(draw):
    """(bytes, true figures by key, part of each row)."""
    n_parts = draw(st.integers(1, 4))
    n_rows = draw(st.integers(1, 5))
    keys = draw(st.permutations(list(COLUMNS)))
    digits = draw(st.integers(4, 8))
    true = {}
    for key in keys:
        low, high, _ = COLUMNS[key]
        figures = st.floats(np.log(low), np.log(high)).map(lambda x: float(f"{np.exp(x):.{digits}g}"))
        true[key] = draw(st.lists(figures, min_size=n_parts * n_rows, max_size=n_parts * n_rows))
    delimiter, decimal = draw(
        st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", ",")])
    )
    heads = {key: draw(st.sampled_from(COLUMNS[key][2])) for key in keys}
    sign = draw(st.sampled_from([1.0, -1.0]))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    exponent = draw(st.booleans())
    lines = [delimiter.join(["part", *(heads[key][0] for key in keys)])]
    parts = [f"Q{i // n_rows}" for i in range(n_parts * n_rows)]
    for i, part in enumerate(parts):
        figures = [sign * true[key][i] * heads[key][1] for key in keys]
        texts = [
            (f"{figure:.9e}" if exponent else f"{figure:.12f}".rstrip("0")).replace(".", decimal) for figure in figures
        ]
        lines.append(delimiter.join([part, *texts]))
    text = draw(st.sampled_from(PREAMBLES)) + "\n".join(lines) + draw(st.sampled_from(["", "\n", "\n\n"]))
    return text.replace("\n", end).encode(draw(st.sampled_from(ENCODINGS))), true, parts


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(written_files())
def test_readings_come_back_whatever_the_shape(written):
    content, true, parts = written
    # Enough set points differ that the rows of a part are one sweep; equal rows are not of interest here.
    assume(len(set(zip(*true.values(), strict=True))) == len(parts))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bag.csv"
        path.write_bytes(content)
        batch = read_files([path]).batch
    assert batch.problems == ()
    assert [batch.part_names[i] for i in batch.points.part] == parts
    for key, figures in true.items():
        np.testing.assert_allclose(getattr(batch.points, key), figures, rtol=1e-6, err_msg=key)
    assert batch.points.use.all()


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.one_of(st.binary(max_size=300), st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace"))))
def test_no_content_makes_the_import_raise(content):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "odd.csv"
        path.write_bytes(content)
        batch = read_files([path]).batch
    assert batch.problems
    assert all(problem.what and problem.fix and problem.code for problem in batch.problems)


TOKENS = (
    "part",
    "ic [A]",
    "hfe",
    "vce",
    "lot",
    "quantity",
    "value",
    "1",
    "0,5",
    "1,234",
    "nan",
    "-3",
    "P1",
    "",
    '"',
    "mA",
    "C_BE",
    "4.8 nF",
    "#",
    "1e999",
)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(st.lists(st.sampled_from(TOKENS), max_size=6), max_size=8), st.sampled_from([",", ";", "\t", "|", " "]))
def test_no_mixture_of_plausible_cells_makes_the_import_raise(rows, delimiter):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "odd.csv"
        path.write_text(
            "part,ic [A],hfe\n".replace(",", delimiter) + "\n".join(delimiter.join(row) for row in rows),
            encoding="utf-8",
        )
        batch = read_files([path]).batch
    n = batch.n_parts
    assert len(batch.part_lot) == n
    assert set(batch.points.part.tolist()) <= set(range(n))
    assert np.isfinite(batch.points.ic[~np.isnan(batch.points.ic)]).all()
