"""No text, however it is put together, makes a parser do anything but read it or tell of it."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from partscreen.bounded_files import parse_toml
from partscreen.readings.columns.conditions import parse_reading
from tests.fuzz.doors import DOORS, STRINGS, TOML, parquet
from tests.fuzz.seeds import WORDS, seeds

CALM = settings(
    max_examples=120, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
)
FIGURE = st.one_of(
    st.integers(-(10**30), 10**30).map(str),
    st.floats().map(repr),
    st.sampled_from(["1e400", "-1e-400", "9" * 5000, "1,234", "1.234,5", "0x10", "٣", "²", "1_000", "1e9999999999"]),
)


def mixtures(door: str) -> st.SearchStrategy[str]:
    """Words of the form, figures and any characters, in any order."""
    piece = st.one_of(st.sampled_from(WORDS[door]), FIGURE, st.text(max_size=4), st.sampled_from(" \n\t;,=[]{}\"'@"))
    return st.lists(piece, max_size=25).map("".join)


@pytest.mark.parametrize("number", range(len(STRINGS)))
@CALM
@given(said=mixtures("reading_string"))
def test_anything_typed_is_read_or_told_of(number: int, said: str) -> None:
    STRINGS[number](said)


@pytest.mark.parametrize("number", range(len(TOML)))
@CALM
@given(said=mixtures("toml"))
def test_any_setting_is_read_or_told_of(number: int, said: str) -> None:
    DOORS["toml"](bytes([number]) + said.encode("utf-8", "replace"))


KEY = st.text("abc_", min_size=1)
VALUE = st.recursive(
    st.one_of(st.booleans(), st.integers(), st.floats(), st.text(max_size=6), st.sampled_from(["2 A", "5 %", "46 V"])),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEY, inner, max_size=3)),
    max_leaves=6,
)


def _toml_value(value: object) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml_value(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml_value, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        whole = "".join(c for c in value if c.isprintable() and not 0xD800 <= ord(c) < 0xE000)
        return json.dumps(whole, ensure_ascii=False)
    return repr(value)


@pytest.mark.parametrize("seed", list(seeds("toml")), ids=lambda seed: f"door{seed[0]}")
@CALM
@given(data=st.data())
def test_a_whole_setting_with_one_value_of_another_kind_is_read_or_told_of(seed: bytes, data: st.DataObject) -> None:
    lines = seed[1:].decode().splitlines()
    places = [i for i, line in enumerate(lines) if " = " in line and not line.lstrip().startswith("#")]
    at = data.draw(st.sampled_from(places))
    lines[at] = f"{lines[at].split(' = ')[0]} = {_toml_value(data.draw(VALUE))}"
    DOORS["toml"](seed[:1] + "\n".join(lines).encode())


@pytest.mark.parametrize("door", ["text", "json"])
@CALM
@given(data=st.data())
def test_a_whole_file_with_pieces_put_in_or_taken_out_is_read_or_told_of(door: str, data: st.DataObject) -> None:
    content = bytearray(data.draw(st.sampled_from([seed[:1500] for seed in seeds(door)])))
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content)))
        end = min(len(content), at + data.draw(st.integers(0, 20)))
        content[at:end] = data.draw(mixtures(door)).encode("utf-8", "replace")[:60]
    DOORS[door](bytes(content))


@CALM
@given(cells=st.lists(st.one_of(st.binary(max_size=6), st.none()), min_size=1, max_size=4), kind=st.sampled_from("bsd"))
def test_any_bytes_in_a_parquet_column_are_read_or_told_of(cells: list[bytes | None], kind: str) -> None:
    import io

    import pyarrow
    from pyarrow import parquet as files

    column = pyarrow.array(cells, pyarrow.binary())
    if kind != "b":  # texts that are no UTF-8: nothing checks them when they are written
        buffers = column.buffers()
        column = pyarrow.StringArray.from_buffers(len(cells), buffers[1], buffers[2], buffers[0])
    out = io.BytesIO()
    table = pyarrow.table({"part": column, "ic [A]": [1.0] * len(cells), "hfe": [90.0] * len(cells)})
    files.write_table(table, out, use_dictionary=kind == "d")
    parquet(out.getvalue())


@pytest.mark.parametrize("call", [parse_toml, parse_reading])
def test_a_text_without_end_is_told_of_at_once(call: Callable[[str], object]) -> None:
    with pytest.raises(ValueError, match=r"deep|long"):
        call("a = " + "[" * 200_000)
