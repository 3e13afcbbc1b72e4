"""The whole stage: cautions, every check once, notes; parts from results of `screen`."""

from __future__ import annotations

import pytest

from partscreen.errors import UnusableInput
from partscreen.results import PartResult, Screening
from partscreen.results.screening import LotResult
from partscreen.results.stage import STAGE_SCHEMA, StageResult
from partscreen.stage.devices import known_parts
from partscreen.stage.judge import judge_stage
from tests.stage.stages import library, part, stage

CODES = {
    "VOLTAGE", "PEAK_CURRENT", "DISSIPATION", "JUNCTION_TEMPERATURE", "SAFE_AREA_DC", "BASE_DRIVE", "GAIN_GROUP",
    "CLIPPING_POWER", "EMITTER_RESISTOR_HEAT", "EMITTER_RESISTOR_VALUE", "CROSSOVER", "BIAS_READING", "FUSE_RATING",
    "FUSE_CURRENT",
}  # fmt: skip


def screened(*parts, lot="lot", of="2SC5200", disposition="accept"):
    results = [
        PartResult(part=p.name, status="judged", disposition=disposition, curves=p.curves, fit=p.fit) for p in parts
    ]
    lots = [LotResult(lot=lot, type=of, n_parts=len(parts), judgement="use", parts=results)]
    return Screening(version="0", settings={}, inputs=[], lots=lots)


def test_every_kind_of_check_is_made():
    result = judge_stage(stage(), library())
    assert {check.code for check in result.checks} >= CODES
    assert all(check.sentence and check.source for check in result.checks)


def test_a_bare_file_assumes_nothing():
    from partscreen.stage.model import Stage

    bare = Stage.model_validate({"stage": {"npn": "2SC5200", "pnp": "2SA1943", "devices_per_rail": 1}})
    result = judge_stage(bare, library())
    assert {check.result for check in result.checks} == {"not_known"}
    assert result.worst == "not_known"
    assert {check.code for check in result.checks} >= {"VOLTAGE", "SAFE_AREA_DC", "CROSSOVER", "FUSE_RATING"}


def test_cautions_name_mains_capacitors_codes_and_licence():
    text = " ".join(judge_stage(stage(), library()).cautions).lower()
    for word in ("mains", "reservoir capacitors", "local codes", "licensed"):
        assert word in text


def test_result_goes_through_json_and_back():
    result = judge_stage(stage(), library())
    text = result.model_dump_json(by_alias=True)
    assert f'"schema":"{STAGE_SCHEMA}"' in text
    assert "NaN" not in text
    assert StageResult.model_validate_json(text) == result


def test_parts_of_a_result_are_taken_by_type_and_the_others_named():
    up, other = part("A", "2SC5200"), part("B", "2SA1943")
    foreign = part("F", "MJL21194")
    found, notes = known_parts([screened(up), screened(other, of="A1943"), screened(foreign, of="MJL21194")], library())
    assert [p.type for p in found] == ["2SC5200", "2SA1943", "MJL21194"]
    assert notes == ()
    result = judge_stage(stage(), library(), found)
    assert any("F" in note and "neither" in note for note in result.notes)
    drive = [check for check in result.checks if check.code == "BASE_DRIVE"]
    assert ["A takes" in drive[0].sentence, "B takes" in drive[1].sentence] == [True, True]


def test_parts_not_accepted_are_left_out_and_named():
    found, notes = known_parts([screened(part("H", "2SC5200"), disposition="hold")], library())
    assert found == ()
    assert any("H" in note for note in notes)


def test_more_parts_than_places_is_said():
    parts = [part(f"P{i}", "2SC5200") for i in range(5)]
    assert any("5 parts are known for the 2 place(s)" in n for n in judge_stage(stage(), library(), parts).notes)


def test_parts_named_for_the_places_are_the_ones_that_count():
    parts = [part(f"P{i}", "2SC5200", gain=g) for i, g in enumerate((0.4, 1.0, 0.9))]
    parts.append(part("P1", "2SC5200", gain=0.5, lot="other"))
    named = stage(stage={"npn_parts": ["lot/P1", "P2"]})
    (drive, _) = [c for c in judge_stage(named, library(), parts).checks if c.code == "BASE_DRIVE"]
    assert {"ib_P1", "ib_P2"} == {key for key in drive.figures if key.startswith("ib_")}
    with pytest.raises(UnusableInput) as caught:
        judge_stage(stage(stage={"npn_parts": ["P1", "P9"]}), library(), parts)
    assert [p.what for p in caught.value.problems] == [
        "P1 is in several lots",
        "P9 is not among the accepted parts",
    ]


def test_unknown_and_exchanged_types_are_both_told():
    with pytest.raises(UnusableInput) as caught:
        judge_stage(stage(stage={"npn": "2SA1943", "pnp": "NOSUCH99"}), library())
    assert [p.code for p in caught.value.problems] == ["POLARITY", "UNKNOWN_TYPE"]


def test_darlingtons_have_no_crossover_figure_and_are_checked_by_their_sheets():
    result = judge_stage(stage(stage={"npn": "BDV65B", "pnp": "BDV64B", "gain_group": None}), library())
    (crossover,) = [check for check in result.checks if check.code == "CROSSOVER"]
    assert "Darlington" in crossover.sentence
    assert crossover.result == "not_known"


def test_figures_have_a_load_line_for_each_side_and_load():
    result = judge_stage(stage(), library())
    assert len(result.load_lines) == 4
    for drawn in result.load_lines:
        assert len(drawn.vce) == len(drawn.ic)
        assert {line.name for line in drawn.limits} == {"dc", "10 ms", "100 ms"}


def test_a_junction_too_hot_leaves_no_pulse_line_to_draw():
    hot = judge_stage(stage(cooling={"heat_sink": "2.2 degC/W"}), library())
    assert {line.name for drawn in hot.load_lines for line in drawn.limits if "resistive" in drawn.about} <= {"dc"}
