"""The packaged library: every file loads, every figure has its source, prints resolve."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partscreen.errors import UnknownType, UnusableInput
from partscreen.reference import Library, limits
from partscreen.reference.validate import build, remarks

LIBRARY = Library.load()

FIELDS_WITH_SOURCE = ("ratings", "characteristics", "curves", "soa", "marking", "readings")


@pytest.mark.parametrize("name", LIBRARY.names)
def test_every_figure_names_sources_that_are_there(name):
    kind = LIBRARY.type(name)
    assert kind.name.upper() == name
    known = {s.id for s in kind.sources}
    for table in FIELDS_WITH_SOURCE:
        for row in getattr(kind, table):
            assert row.source, row
            assert set(row.source) <= known, row
    for edition in kind.sheet_editions:
        assert set(edition.sources) <= known


def test_library_holds_eighty_two_types():
    assert len(LIBRARY) == 82
    assert {k.name for k in LIBRARY if k.is_darlington} == {
        *("BDV64B", "BDV65B", "MJ11032", "MJ11033", "TIP142", "TIP147"),
    }


def test_complements_point_at_each_other_and_have_the_other_polarity():
    for kind in LIBRARY:
        other = LIBRARY.type(kind.device.complement)
        assert other.device.complement == kind.name
        assert {kind.polarity, other.polarity} == {"NPN", "PNP"}
        assert kind.device.construction == other.device.construction


def test_packaged_files_give_no_remark_but_figures_without_their_condition():
    codes = {r.code for kind in LIBRARY for r in remarks(kind, kind.name)}
    assert codes == {"NO_LIMIT"}


def test_every_type_can_be_screened_by_at_least_one_gain_row():
    for kind in LIBRARY:
        assert any(row.symbol == "hFE" and row.is_limit for row in limits(kind)), kind.name
        assert kind.rating("VCEO"), kind.name
        assert kind.rating("IC"), kind.name


def test_every_row_of_ratings_and_characteristics_belongs_to_an_edition():
    for kind in LIBRARY:
        for row in (*kind.ratings, *kind.characteristics):
            assert kind.editions_of(row.source), (kind.name, row)


def test_finding_one_type_parses_one_file():
    library = Library.load()
    library.find("MJL3281A")
    assert list(library._parsed) == ["MJL3281A"]
    assert len(list(library)) == 82


@pytest.mark.parametrize(
    ("printed", "name", "group"),
    [
        ("2SC5200", "2SC5200", None),
        ("C5200", "2SC5200", None),
        ("A1943", "2SA1943", None),
        ("D718", "2SD718", None),
        ("2sc5200-o", "2SC5200", "O"),
        ("2SC5200(O)", "2SC5200", "O"),
        ("C5200O", "2SC5200", "O"),
        ("C5200R", "2SC5200", "R"),
        ("2SC5200RTU", "2SC5200", "R"),
        ("J4315R", "2SC5200", "R"),
        ("FJL4215", "2SA1943", None),
        ("2SA1265N", "2SA1265", None),
        ("MJ15003G", "MJ15003", None),
        ("MJL3281AG", "MJL3281A", None),
        ("NJW0281", "NJW0281G", None),
        ("JE340G", "MJE340", None),
        ("BD139-16", "BD139", "16"),
        ("BD14010", "BD140", "10"),
        ("TIP35CG", "TIP35C", None),
        ("2N 3055", "2N3055", None),
        ("mjl21194", "MJL21194", None),
        ("TO-3 2N3055", "2N3055", None),
        ("Toshiba C5200", "2SC5200", None),
        ("2SC3182-Y", "2SC3182", "Y"),
    ],
)
def test_printed_forms_resolve(printed, name, group):
    found = LIBRARY.find(printed)
    assert (found.type.name, found.gain_group) == (name, group)
    if printed.upper() not in (name, "2N 3055", "TO-3 2N3055"):
        assert found.how


@pytest.mark.parametrize(
    ("printed", "listed"),
    [
        ("3055", {"2N3055", "TIP3055"}),
        ("5200", {"2SC5200", "TTC5200"}),
        ("21194", {"MJ21194", "MJL21194"}),
        ("1943", {"2SA1943", "TTA1943"}),
        ("2N3055 TIP3055", {"2N3055", "TIP3055"}),
        ("TIP35", {"TIP35C"}),
        ("2SC5200X", {"2SC5200"}),
        ("MJL21195", {"MJL21194", "MJL21193"}),
        ("2SC52O0", {"2SC5200"}),
    ],
)
def test_nothing_is_guessed_and_candidates_are_listed(printed, listed):
    with pytest.raises(UnknownType) as caught:
        LIBRARY.find(printed)
    assert listed <= set(caught.value.close)
    assert printed in str(caught.value)


@pytest.mark.parametrize("printed", ["", "   ", "?", "NPN", "G", "2S"])
def test_a_print_that_says_nothing_is_unknown_without_candidates(printed):
    with pytest.raises(UnknownType):
        LIBRARY.find(printed)


def test_no_type_number_resolves_to_another_type():
    for name in LIBRARY.names:
        for form in (name, name.lower(), f"{name} ", f"{name}-", f"{name[:3]} {name[3:]}"):
            assert LIBRARY.find(form).type.name.upper() == name


def test_file_of_your_own_takes_precedence(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(MINIMAL.replace("XX1", "2SC5200"), encoding="utf-8")
    library = Library.load(extra_files=[file])
    assert library.find("C5200").type.rating("VCEO") == 140
    assert len(library) == 82
    assert Library.load().find("C5200").type.rating("VCEO") == 230


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.text(max_size=40) | st.builds(str.__add__, st.sampled_from(LIBRARY.names), st.text(max_size=6)))
def test_any_text_is_a_type_or_unknown(printed):
    try:
        found = LIBRARY.find(printed)
    except UnknownType:
        return
    assert any(c.isdigit() for c in printed)
    assert found.type.name.upper() in LIBRARY.names


def test_two_files_of_your_own_for_one_type_are_refused_by_name(tmp_path):
    for name in ("a.toml", "b.toml"):
        (tmp_path / name).write_text(MINIMAL, encoding="utf-8")
    with pytest.raises(UnusableInput, match=r"describes XX1, and so does .*a\.toml"):
        Library.load(extra_files=[tmp_path / "a.toml", tmp_path / "b.toml"])


@pytest.mark.parametrize("number", ["КТ819ГМ", "AB-12/3", "40 411"])
def test_type_numbers_of_other_alphabets_and_with_signs_are_found(tmp_path, number):
    file = tmp_path / "own.toml"
    file.write_text(MINIMAL.replace("XX1", number), encoding="utf-8")
    library = Library.load(extra_files=[file])
    assert library.find(number.lower()).type.name == number


def test_packaged_folder_is_found_inside_an_installed_package(tmp_path, monkeypatch):
    from partscreen.reference import library

    room = tmp_path / "partscreen" / "reference"
    inside = tmp_path / "partscreen" / "reference_curves"
    inside.mkdir(parents=True)
    monkeypatch.setattr(library, "__file__", str(room / "library.py"))
    assert library.packaged_directory() == inside
    inside.rename(tmp_path / "reference_curves")
    assert library.packaged_directory() == tmp_path / "reference_curves"
    (tmp_path / "reference_curves").rmdir()
    with pytest.raises(UnusableInput, match="reference_curves is missing"):
        library.packaged_directory()


def test_folder_with_spreads_and_other_files_gives_only_types(tmp_path):
    for name in ("spreads.toml", "README.md", "measured_specimens.csv"):
        (tmp_path / name).write_text("x = 1", encoding="utf-8")
    (tmp_path / "xx1.toml").write_text(MINIMAL, encoding="utf-8")
    assert Library.load(tmp_path).names == ("XX1",)


def test_all_broken_extra_files_are_reported_at_once(tmp_path):
    first, second = tmp_path / "a.toml", tmp_path / "b.toml"
    first.write_text("[device", encoding="utf-8")
    second.write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(UnusableInput) as caught:
        Library.load(extra_files=[first, second, tmp_path / "absent.toml"])
    assert [p.code for p in caught.value.problems] == ["NOT_TOML", "NOT_TEXT", "NO_FILE"]


def test_a_file_with_vceo_ic_and_one_gain_row_is_enough():
    import tomllib

    kind, problems = build(tomllib.loads(MINIMAL), "own.toml")
    assert not problems
    assert kind is not None
    assert [(r.symbol, r.side, r.value, r.is_limit, r.editions) for r in limits(kind)] == [
        ("hFE", "min", 50.0, True, ("sheet",))
    ]
    assert not remarks(kind, "own.toml")


MINIMAL = """
[device]
type_number = "XX1"
polarity = "NPN"

[[sources]]
id = "S"
title = "sheet in the drawer"
basis = "stored copy"

[[ratings]]
symbol = "VCEO"
value = 140
unit = "V"
source = "S"

[[ratings]]
symbol = "IC"
value = 10
unit = "A"
source = "S"

[[characteristics]]
symbol = "hFE"
min = 50
unit = "1"
conditions = { IC = 1.0, VCE = 5.0 }
case_temperature_c = 25
source = "S"
"""
