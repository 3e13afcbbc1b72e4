"""`--validate` teaches: every slip is named with its key, what is wrong and the way out."""

from __future__ import annotations

import tomllib

import pytest

from partscreen.reference.listing import file_text
from partscreen.reference.validate import build, remarks
from tests.reference.test_library import MINIMAL

GAIN = MINIMAL.split("[[characteristics]]\n")[1]


def problems(text):
    return build(tomllib.loads(text), "own.toml")[1]


@pytest.mark.parametrize(
    ("before", "after", "where", "what", "fix"),
    [
        ('source = "S"\n\n[[char', "\n\n[[char", "ratings row 2 (IC), source", "source is missing", "[[sources]]"),
        (
            'min = 50\nunit = "1"',
            'min = 50\nunit = "V"',
            "characteristics row 1 (hFE)",
            "unit 'V' does not fit hFE",
            "'1'",
        ),
        ('value = 140\nunit = "V"', 'value = 140\nunit = "furlong"', "ratings row 1 (VCEO)", "unit 'furlong'", "'V'"),
        ("value = 140", "value = -140", "ratings row 1 (VCEO)", "-140 is not above zero", "drop the sign"),
        ("min = 50", "min = -50", "characteristics row 1 (hFE), min", "-50 is not above zero", "drop the sign"),
        ("IC = 1.0", "IC = -1.0", "characteristics row 1 (hFE), conditions", "IC = -1.0 is negative", "drop the sign"),
        ("IC = 1.0", "IX = 1.0", "characteristics row 1 (hFE), conditions", "condition 'IX' is not known", "known: IC"),
        ("IC = 1.0", 'IC = "1 A"', "characteristics row 1 (hFE), conditions, IC", "'1 A' is not a figure", "0.005"),
        ("min = 50", 'min = "50 min"', "characteristics row 1 (hFE), min", "'50 min' is not a figure", "SI units"),
        ("min = 50", "min = nan", "characteristics row 1 (hFE), min", "nan is not a figure", "SI units"),
        ("min = 50", "min = 50\nmax = 20", "characteristics row 1 (hFE)", "min = 50 is above max = 20", "exchanged"),
        ("min = 50", "", "characteristics row 1 (hFE)", "no figure", "min, typ or max"),
        (
            "min = 50",
            "mn = 50\nmax = 9",
            "characteristics row 1 (hFE), mn",
            "key 'mn' is not known",
            "did you mean 'min'?",
        ),
        ('"NPN"', '"npn"', "device, polarity", "'npn' is not one of the words allowed", "'NPN' or 'PNP'"),
        ('polarity = "NPN"', "", "device, polarity", "polarity is missing", '"NPN" or "PNP"'),
        ('"stored copy"', '"internet"', "sources row 1 (S), basis", "'internet'", "'stored copy' or 'memory'"),
        (GAIN, GAIN.replace('"S"', '"T"'), "characteristics row 1 (hFE)", "source 'T' is not among", "known: S"),
        ('symbol = "VCEO"', 'symbol = "VCE0"', "ratings row 1 (VCE0)", "rating 'VCE0' is not known", "known: VCEO"),
        (
            GAIN,
            f"{GAIN}\n[[characteristics]]\n{GAIN}",
            "characteristics row 2 (hFE)",
            "the same as row 1",
            "delete one",
        ),
        (
            'id = "S"\n',
            'id = "S"\ntitle = "again"\nbasis = "memory"\n[[sources]]\nid = "S"\n',
            "sources row 2 (S)",
            "id 'S' stands twice",
            "its own id",
        ),
        ("[[sources]]", "[sources]", "sources", "not a list of rows", "[[sources]]"),
        ("[device]", "[[device]]", "device", "one device", "[device]"),
        ('title = "sheet in the drawer"', "title = 5", "sources row 1 (S), title", "5 is not text", "quotes"),
        (
            GAIN,
            GAIN + '[[curves]]\nquantity = "hFE"\nx = "IC"\nunit = "1"\npoints = [[1, 2, 3], [2, 3]]\nsource = "S"\n',
            "curves row 1 (hFE), points row 1",
            "no list of points",
            "[[x, y], [x, y], ...]",
        ),
        (
            GAIN,
            GAIN + '[[editions]]\nid = "e"\nsources = ["Q"]\n',
            "editions row 1 (e)",
            "source 'Q' is not among",
            "known: S",
        ),
        (
            GAIN,
            GAIN + '[[soa]]\nkind = "10 min"\npoints = [[1, 2]]\nsource = "S"\n',
            "soa row 1 (10 min)",
            "neither",
            '"10ms"',
        ),
        (
            GAIN,
            GAIN + '[[curves]]\nquantity = "hFE"\nx = "IC"\nunit = "1"\npoints = [[1, 2], [2, -3]]\nsource = "S"\n',
            "curves row 1 (hFE)",
            "points hold a negative figure",
            "drop the sign",
        ),
    ],
)
def test_a_slip_is_named_with_its_place_and_the_way_out(before, after, where, what, fix):
    assert before in MINIMAL
    found = problems(MINIMAL.replace(before, after, 1))
    assert found
    assert any(p.column == where and what in p.what and fix in p.fix for p in found), [str(p) for p in found]
    assert all(p.file == "own.toml" for p in found)


def test_every_slip_of_a_file_is_listed_at_once():
    text = MINIMAL.replace("value = 140", "value = -140").replace("min = 50", "mni = 50").replace('"NPN"', '"N"')
    assert {p.column for p in problems(text)} == {
        "ratings row 1 (VCEO)",
        "characteristics row 1 (hFE), mni",
        "device, polarity",
    }


@pytest.mark.parametrize(
    ("before", "after", "code", "fix"),
    [
        ("IC = 1.0, VCE = 5.0", "IC = 1.0", "NO_LIMIT", "VCE = ... (V)"),
        ("IC = 1.0", "IC = 500.0", "SIZE", "0.5 for 500 mA"),
        ("case_temperature_c = 25\n", "", "TEMPERATURE", "case_temperature_c = 25"),
        ('symbol = "VCEO"', 'symbol = "VCBO"', "NO_RATING", "enough to screen"),
        ("min = 50", "typ = 50", "NO_GAIN", "enough to screen"),
    ],
)
def test_a_usable_file_is_told_what_it_lacks(before, after, code, fix):
    kind, found = build(tomllib.loads(MINIMAL.replace(before, after, 1)), "own.toml")
    assert not found
    said = {r.code: r.fix for r in remarks(kind, "own.toml")}
    assert fix in said[code]


def test_rows_of_two_sources_that_say_the_same_are_a_remark_not_a_refusal():
    other = '\n[[sources]]\nid = "T"\ntitle = "second sheet"\nbasis = "memory"\n'
    text = MINIMAL + "\n[[characteristics]]\n" + GAIN.replace('"S"', '"T"') + other
    kind, found = build(tomllib.loads(text), "own.toml")
    assert not found
    assert [r.fix for r in remarks(kind, "own.toml")] == ["keep one, with source = ['S', 'T']"]


def test_other_spellings_and_fitting_units_are_understood():
    text = MINIMAL + (
        '\n[[characteristics]]\nsymbol = "Cob"\nmax = 400\nunit = "pF"\nconditions = { VCB = 10.0 }\nsource = "S"\n'
        '\n[[characteristics]]\nsymbol = "VCEsat"\nmax = 800\nunit = "mV"\n'
        'conditions = { IC = 5.0, IB = 0.5 }\nsource = "S"\n'
    )
    kind, found = build(tomllib.loads(text), "own.toml")
    assert not found
    assert [(c.symbol, c.unit) for c in kind.characteristics[1:]] == [("C_CB", "F"), ("VCE(sat)", "V")]
    assert kind.characteristics[1].max == pytest.approx(400e-12)
    assert kind.characteristics[2].max == pytest.approx(0.8)


def test_validating_prints_what_can_be_judged_or_why_not(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(MINIMAL, encoding="utf-8")
    text, found = file_text(file)
    assert not found
    assert "XX1 can be used: limits: 1" in text
    assert "judged with it: hFE" in text
    file.write_text(MINIMAL.replace('polarity = "NPN"', ""), encoding="utf-8")
    text, found = file_text(file)
    assert found
    assert "VCEO, IC and one hFE row" in text
    file.write_text("type 2N3055", encoding="utf-8")
    assert file_text(file)[1][0].code == "NOT_TOML"
    assert file_text(tmp_path / "none.toml")[1][0].code == "NO_FILE"
