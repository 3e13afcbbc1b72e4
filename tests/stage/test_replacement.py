"""Replacements: every rating compared, unknown figures said, cautions on top, the stage asked where it is given."""

from __future__ import annotations

import pytest

from partscreen.errors import UnknownType, UnusableInput
from partscreen.results.stage import REPLACE_SCHEMA, ReplaceResult
from partscreen.stage.package import package_caution, package_families
from partscreen.stage.replacement import CLOSE, FASTER, replacements, transition_frequency
from tests.stage.stages import library, stage


@pytest.fixture(scope="module")
def of_2sc3281():
    return replacements("C3281", library())


def candidate(result, name):
    (found,) = [c for c in result.candidates if c.type == name]
    return found


def row(found, symbol, conditions=""):
    (one,) = [r for r in found.ratings if r.symbol == symbol and conditions in r.conditions]
    return one


def test_only_types_of_the_same_polarity_and_construction_are_candidates(of_2sc3281):
    kinds = [library().type(c.type) for c in of_2sc3281.candidates]
    assert {kind.polarity for kind in kinds} == {"NPN"}
    assert not any(kind.is_darlington for kind in kinds)
    assert "2SC3281" not in {kind.name for kind in kinds}
    same = [k for k in library() if k.polarity == "NPN" and not k.is_darlington and k.name != "2SC3281"]
    assert len(kinds) == len(same)


def test_ranks_run_from_one_and_verdicts_never_get_better(of_2sc3281):
    order = {"ok": 0, "marginal": 1, "not_known": 2, "not_ok": 3}
    assert [c.rank for c in of_2sc3281.candidates] == list(range(1, len(of_2sc3281.candidates) + 1))
    verdicts = [order[c.verdict] for c in of_2sc3281.candidates]
    assert verdicts == sorted(verdicts)


def test_cautions_on_top_name_oscillation_package_pins_and_complement(of_2sc3281):
    text = " ".join(of_2sc3281.cautions)
    for word in ("oscillate", "pins", "package", "complement", "2SA1302", "Mains"):
        assert word in text


@pytest.mark.parametrize("name", ["2SC5200", "MJL3281A", "MJL21194", "2N3055"])
def test_every_rating_of_the_old_type_is_compared(of_2sc3281, name):
    symbols = {r.symbol for r in candidate(of_2sc3281, name).ratings}
    old = library().type("2SC3281")
    assert {s for s in ("VCEO", "VCBO", "VEBO", "IC", "IB", "PC", "TJ", "ICM", "RTHJC") if old.rating(s)} <= symbols
    assert {"hFE", "safe area", "fT"} <= symbols


def test_a_lower_voltage_rating_is_not_ok(of_2sc3281):
    found = candidate(of_2sc3281, "2N3055")
    assert row(found, "VCEO").result == "not_ok"
    assert found.verdict == "not_ok"
    assert "VCEO" in found.why


def test_a_rating_a_little_short_is_marginal():
    found = candidate(replacements("MJL21194", library()), "2SC5200")
    assert row(found, "IC").result == "marginal"  # 15 A for 16 A
    assert CLOSE > (16 - 15) / 16


def test_without_safe_areas_nothing_is_ok(of_2sc3281):
    """No sheet of the library draws a safe area of 2SC3281, so that none can be said to come up to it."""
    assert "ok" not in {c.verdict for c in of_2sc3281.candidates}
    assert "safe area" in candidate(of_2sc3281, "2SC5200").unknown


def test_safe_areas_are_compared_at_three_voltages_where_both_are_drawn():
    found = candidate(replacements("TIP3055", library()), "TIP35C")
    areas = [r for r in found.ratings if r.symbol == "safe area"]
    assert len(areas) == 3
    assert all(r.wanted is not None and r.has is not None for r in areas)


def test_a_one_second_line_stands_beside_a_missing_dc_line():
    found = candidate(replacements("MJ15003", library()), "MJ21194")
    assert row(found, "safe area").result == "not_known"
    assert row(found, "safe area 1 s", "VCE=70 V").result == "ok"


def test_faster_and_slower_devices_get_a_caution():
    fast = candidate(replacements("MJ15003", library()), "2SC5200")
    assert any(c.startswith("Faster") and "oscillate" in c for c in fast.cautions)
    assert transition_frequency(library().type("2SC5200")) > FASTER * transition_frequency(library().type("MJ15003"))
    slow = candidate(replacements("2SC5200", library()), "MJL21194")
    assert any(c.startswith("Slower") for c in slow.cautions)


def test_a_gain_printed_at_a_much_higher_current_is_no_statement():
    found = candidate(replacements("2SC5200", library()), "MJL21194")
    assert row(found, "hFE", "IC=1 A").result == "not_known"


def test_recalled_figures_get_a_caution(of_2sc3281):
    assert any("recalled" in c for c in candidate(of_2sc3281, "TTC5200").cautions)
    assert not any("recalled" in c for c in candidate(of_2sc3281, "MJL3281A").cautions)


def test_in_a_stage_its_checks_decide_and_both_halves_are_looked_at():
    result = replacements("2SC5200", library(), stage())
    found = candidate(result, "TIP35C")
    assert found.verdict == max((c.result for c in found.stage), key=["ok", "marginal", "not_known", "not_ok"].index)
    assert {check.about.split(",")[0] for check in found.stage} == {"NPN TIP35C", "PNP TIP36C"}


def test_in_a_gentle_stage_a_type_with_lower_ratings_may_do():
    gentle = stage(
        rails={"unloaded": "22 V", "loaded": "20 V"},
        load={"rated_power": "10 W", "minimum_impedance": "7 ohm"},
        drive={"base_current": "400 mA"},
    )
    result = replacements("2SC5200", library(), gentle)
    found = candidate(result, "TIP35C")
    assert row(found, "VCEO").result == "not_ok"
    assert found.verdict == "ok"
    assert found.rank == 1 or result.candidates[0].verdict == "ok"


def test_a_stage_that_holds_another_type_is_refused():
    with pytest.raises(UnusableInput, match="the stage holds 2SC5200"):
        replacements("MJL21194", library(), stage())


def test_an_unknown_type_is_named_with_close_names():
    with pytest.raises(UnknownType, match="2SC3281"):
        replacements("2SC3282", library())


def test_result_goes_through_json_and_back(of_2sc3281):
    text = of_2sc3281.model_dump_json(by_alias=True)
    assert f'"schema":"{REPLACE_SCHEMA}"' in text
    assert ReplaceResult.model_validate_json(text) == of_2sc3281


def test_every_package_of_the_library_belongs_to_a_family():
    assert [k.name for k in library() if k.device.package and not package_families(k)] == []


def test_metal_and_plastic_three_are_told_apart():
    metal, plastic = library().type("MJ15003"), library().type("2SC3281")
    assert package_families(metal) == ("TO-3 metal",)
    assert package_families(plastic) == ("TO-3P",)
    assert package_caution(metal, plastic).startswith("Other package")
    assert package_caution(metal, library().type("MJ15024")) == ""
