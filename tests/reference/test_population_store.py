"""Populations computed beforehand are what is computed, and are used only where nothing has changed."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from partscreen.reference import population_store
from partscreen.reference.library import Library, packaged_directory
from partscreen.reference.population import Population, population_for, populations_of
from partscreen.reference.population_spreads import SPREADS_FILE, load_spreads
from partscreen.reference.population_store import STORE_FILE, key_of_bytes, key_of_type, load_store
from partscreen.reference.population_write import store_text

ADVICE = "run `python -m benchmarks.population_store --write`"
SAMPLE = ("2N3773", "2SA1943", "2SC5200", "BD139", "MJ15003", "MJ2955", "MJE340", "MJL3281A", "TIP41C", "TIP142")


@pytest.fixture(scope="module")
def library() -> Library:
    return Library.load()


def same(stored: Population | None, computed: Population | None) -> bool:
    if stored is None or computed is None:
        return stored is computed
    arrays = ("centre", "centre_covariance", "between", "within")
    close = all(np.allclose(getattr(stored, a), getattr(computed, a), rtol=1e-9, atol=1e-9) for a in arrays)
    rest = ("type_number", "sources", "dof", "constants", "gradings", "gain_group")
    alike = [_close(getattr(stored, f), getattr(computed, f)) for f in rest]
    return close and all(alike) and stored.chi_square == pytest.approx(computed.chi_square, rel=1e-6, abs=1e-9)


def _close(a: object, b: object) -> bool:
    if hasattr(a, "__slots__"):
        return all(_close(getattr(a, f), getattr(b, f)) for f in a.__slots__)
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(map(_close, a, b))
    return bool(a == pytest.approx(b, rel=1e-9)) if isinstance(a, float) else a == b


def assert_stored(library: Library, names: tuple[str, ...]) -> None:
    entries, spreads = load_store().by_type, load_spreads()
    for name in names:
        of = library.type(name)
        entry = entries.get(key_of_type(of))
        assert entry is not None, f"{name} is not in the store: {ADVICE}"
        fields = entry.fields()
        stored = None if fields is None else Population(**fields)
        assert same(stored, population_for(of, spreads=spreads)), f"{name} is computed otherwise: {ADVICE}"


def test_stored_populations_of_a_sample_are_what_is_computed(library):
    assert_stored(library, SAMPLE)


@pytest.mark.long
def test_every_stored_population_is_what_is_computed(library):
    assert_stored(library, library.names)


def test_every_packaged_type_is_stored_under_the_key_of_its_file(library):
    store = load_store()
    missing = [n for n in library.names if key_of_bytes(library.files[n].read_bytes()) not in store.by_file]
    assert not missing, ADVICE
    assert len(store.by_file) == len(store.by_type) == len(library)


def test_line_ends_do_not_matter_to_a_key():
    assert key_of_bytes(b"a\r\nb\r\n") == key_of_bytes(b"a\nb\n") != key_of_bytes(b"a\nc\n")


def test_a_changed_type_is_computed_and_not_taken_from_the_store(library):
    of = library.type("MJ2955")
    changed = of.model_copy(update={"curves": ()})
    bare = population_for(changed)
    assert same(bare, population_for(changed, spreads=load_spreads()))
    assert not same(bare, population_for(of))


def test_a_store_of_other_spreads_or_another_format_is_not_used(library, tmp_path, monkeypatch):
    for name in (STORE_FILE, SPREADS_FILE):
        shutil.copy(packaged_directory() / name, tmp_path / name)
    assert load_store(tmp_path).by_type
    monkeypatch.setattr(population_store, "VERSION", population_store.VERSION + 1)
    load_store.cache_clear()
    assert not load_store(tmp_path).by_type
    monkeypatch.undo()
    load_store.cache_clear()
    with open(tmp_path / SPREADS_FILE, "a", encoding="utf-8") as file:
        file.write("# another remark\n")
    assert not load_store(tmp_path).by_type
    load_store.cache_clear()
    assert not load_store(tmp_path / "nowhere").by_type


def test_a_changed_file_is_parsed_and_computed(library, tmp_path):
    text = (packaged_directory() / "mj2955.toml").read_text(encoding="utf-8")
    shutil.copy(packaged_directory() / "tip41c.toml", tmp_path)
    (tmp_path / "mj2955.toml").write_text(text.split("[[curves]]")[0], encoding="utf-8")
    other = Library.load(tmp_path)
    found = dict(populations_of(other, "PNP"))
    assert set(found) == {"MJ2955"}
    assert not same(found["MJ2955"], population_for(library.type("MJ2955")))
    assert set(populations_of(other, "NPN", besides="TIP41C")) == set()


def test_all_types_of_a_polarity_come_out_of_the_store_as_one_by_one(library):
    found = dict(populations_of(library, "PNP", besides="2SA1943"))
    one_by_one = {t.name: population_for(t) for t in library if t.polarity == "PNP" and t.name != "2SA1943"}
    assert set(found) == {name for name, population in one_by_one.items() if population is not None}
    assert all(same(found[name], one_by_one[name]) for name in found)


def test_writing_gives_the_same_text_again(library):
    def written() -> str:
        found = [(library.type(n), library.files[n].read_bytes(), population_for(library.type(n))) for n in SAMPLE]
        return store_text(found, (packaged_directory() / SPREADS_FILE).read_bytes())

    lines = written().splitlines()
    shipped = (packaged_directory() / STORE_FILE).read_text(encoding="utf-8").splitlines()
    assert set(lines) <= set(shipped)
