"""`partscreen plan` as a user meets it: first sentence, risks, JSON, figure, slips."""

import json
import re
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.report.panels import Label, Line, Points
from partscreen.report.plan_figure import curve_panel
from partscreen.results.plan import PlanResult
from partscreen.workflow import PlanOptions, make_plan

COSTS = ("--price", "4", "--minutes", "3", "--minute-value", "0.5", "--harm", "200")


def run(*words):
    return CliRunner().invoke(app, ["plan", *words], prog_name="partscreen")


def answer(*words):
    ran = run(*words, "--json")
    assert ran.exit_code == 0, ran.output
    return json.loads(ran.stdout)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            "--lot-size 50 --tolerable 10% --confidence 95%",
            "Test 22 of 50; if all 22 pass, less than 10 % of the lot is bad (at most 4 parts), with 95 % confidence.",
        ),
        ("--lot-size 50", "Test 22 of 50; if all 22 pass"),
        ("--tolerable 0.1 --confidence 0.95", "Test 29; if all 29 pass, less than 10 % of the lot is bad"),
        ("--lot-size 10 --tolerable 5%", "Test all 10; if all 10 pass, less than 5 % of the lot is bad (no part)"),
        ("--lot-size 1", "Test the part; if it passes, less than 10 % of the lot is bad (no part)"),
        ("--lot-size 100000000", "Test 29 of 100000000; if all 29 pass, less than 10 % of the lot is bad"),
        ("--lot-size 1 --harm 200 --price 4 --minutes 3 --minute-value 0.5", "Test the part and fit it if it passes."),
        ("--lot-size 100 --allow 1", "if at most 1 of them fails, less than"),
        ("--lot-size 50 --sample 10", "Test 10 of 50 and accept with none bad: a lot with 10 % bad (5 of 50) still"),
        ("--lot-size 50 --sample 10 --found 1", "With 1 bad the lot is refused."),
        ("--good 5% --bad 15% --beta 7.5%", "Test 80 and accept with up to 7 bad"),
        ("--lot-size 40 --aql 1.5", "Test 8 of 40 (code letter D, level II, normal inspection, AQL 1.5 %)"),
        ("--lot-size 500 --aql 1 --severity reduced", "with 1: accept, but inspect the next lot normally"),
        ("--sequential --good 2% --bad 20%", "Test part by part: with none bad accept after 12 parts, with 2 bad"),
        ("--sequential --good 2% --bad 20% --so-far pphpfp", "After 6 parts, 1 of them bad: go on: test the next"),
        ("--sequential --good 2% --bad 20% --so-far pff", "After 3 parts, 2 of them bad: refuse the lot."),
        ("--sequential --good 2% --bad 20% --so-far pppppppppppp", "After 12 parts, 0 of them bad: accept the lot."),
    ],
)  # fmt: skip
def test_first_line_answers_the_question(words, sentence):
    ran = run(*words.split())
    assert ran.exit_code == 0, ran.output
    assert sentence in ran.stdout.splitlines()[0]


def test_cheapest_way_comes_first_with_the_others_below():
    ran = run("--lot-size", "50", *COSTS, "--destroy-minutes", "10", "--power", "95%", "--false-alarm", "2%")
    first, *rest = ran.stdout.splitlines()
    assert re.match(
        r"Test \d+ of 50: use the rest untested with none bad, test all the rest with .*Expected cost", first
    )
    costs = [float(m[1]) for line in rest if (m := re.search(r"\. ([\d.]+), [\d.e+]+ min,", line))]
    assert len(costs) == 4
    assert costs == sorted(costs)


def test_held_parts_are_left_out_or_settled_by_minutes():
    held = ("--power", "90%", "--held", "20%")
    out = run("--lot-size", "50", *COSTS, *held)
    assert "Held parts are not fitted." in out.stdout
    quick = answer("--lot-size", "50", *COSTS, *held, "--held-minutes", "1")
    assert quick["costs"][0]["expected_cost"] < answer("--lot-size", "50", *COSTS, *held)["costs"][0]["expected_cost"]
    assert "Held parts are settled in 1 min each." in quick["remarks"]


def test_stop_at_the_first_suspect_is_kept_as_the_rule():
    found = answer("--lot-size", "50", *COSTS, "--stop-at-first")
    assert {c["kind"] for c in found["costs"]} == {"none", "stop_at_first"}
    assert all(c["chance_read_all"] == 0.0 for c in found["costs"])
    curve = answer("--lot-size", "50", "--stop-at-first")["operating_curve"]
    assert curve[0]["average_parts"] == pytest.approx(22)
    assert curve[-1]["average_parts"] < 6


def test_json_is_the_agreed_shape_and_reads_back():
    found = answer("--lot-size", "50", "--power", "0.9", "--held", "0.05")
    assert found["schema"] == "partscreen.plan/1"
    assert {"sample_size", "acceptance_number", "risks", "operating_curve"} <= set(found)
    assert found["settings"] == {"lot_size": 50, "power": "0.9", "held": "0.05"}
    assert [r["whose"] for r in found["risks"]] == ["consumer", "producer"]
    assert found["risks"][0]["chance"] <= found["risks"][0]["asked"] + 1e-12
    accepted = [p["accepted"] for p in found["operating_curve"]]
    assert accepted == sorted(accepted, reverse=True)
    assert PlanResult.model_validate(found).sample_size == found["sample_size"]
    assert "NaN" not in json.dumps(found)


@pytest.mark.parametrize("words", [("--aql", "1"), (*COSTS,), ("--sequential", "--good", "2%", "--bad", "20%")])
def test_json_of_every_question_reads_back(words):
    found = answer("--lot-size", "50", *words)
    assert PlanResult.model_validate(found).lot_size == 50


def test_weaker_readings_ask_for_more_parts_and_name_their_price():
    plain, weak = (
        answer("--lot-size", "50"),
        answer("--lot-size", "50", "--power", "85%", "--false-alarm", "2%", "--held", "6%"),
    )
    assert weak["sample_size"] > plain["sample_size"]
    assert plain["risks"][1]["chance"] == 0.0
    assert weak["risks"][1]["chance"] > 0.2
    assert any("of lots without any bad part would be refused" in r for r in weak["remarks"])
    assert not any("would be refused" in r for r in plain["remarks"])
    against = answer("--lot-size", "50", "--held", "6%", "--held-counts", "against")
    assert against["risks"][1]["chance"] > 0.5
    assert any("Readings reject 85 % of the bad and 2 % of the good parts" in r for r in weak["remarks"])
    assert any("taken as never wrong" in r for r in plain["remarks"])


def test_basis_of_a_table_entry_is_shown():
    assert "compared with a published copy" in run("--lot-size", "40", "--aql", "1.5").stdout
    for words in (("--level", "III"), ("--severity", "reduced")):
        ran = run("--lot-size", "40", "--aql", "1.5", *words)
        assert "is memory" in ran.stdout
        assert "Look it up before a contract rests on it" in ran.stdout


def test_history_of_lots_sets_the_severity(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("lot;lot_size;found\nA1;1000;0\nA2;1000;3\nA3;1000;4\n", encoding="utf-8")
    found = answer("--lot-size", "1000", "--aql", "1.0", "--history", str(path))
    assert (found["next_state"], found["sample_size"], found["acceptance_number"]) == ("tightened", 80, 1)
    assert [s["accepted"] for s in found["history"]] == [True, False, False]
    text = run("--lot-size", "1000", "--aql", "1.0", "--history", str(path)).stdout
    assert "3 past lots, 2 refused; next lot: tightened" in text
    path.write_text("lot_size,found\n" + "1000,3\n" * 9, encoding="utf-8")
    stopped = run("--lot-size", "1000", "--aql", "1.0", "--history", str(path)).stdout
    assert stopped.startswith("Take no lot from this supplier until it has mended the cause")
    assert "2 of the past lots came after the supply was to be stopped" in stopped


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("lot,found\nA,1\n", "no column lot_size"),
        ("lot_size,found\n", "holds no lot"),
        ("lot_size,found\n100,x\n-3,1\n", "row 2"),
        ("lot_size,found\n1000,81\n", "81 bad found, but the plan reads 80 of 1000"),
        ("", "no column lot_size or found"),
    ],
)
def test_history_that_cannot_be_used_ends_with_3_and_says_where(tmp_path, text, told):
    path = tmp_path / "lots.csv"
    path.write_text(text, encoding="utf-8")
    ran = run("--lot-size", "1000", "--aql", "1.0", "--history", str(path))
    assert ran.exit_code == 3
    assert told in ran.stderr
    assert str(path) in ran.stderr


def test_history_rows_are_all_looked_at(tmp_path):
    path = tmp_path / "lots.csv"
    path.write_text("# invented\nlot_size,found\n100,x\n-3,1\n100,\n", encoding="utf-8")
    ran = run("--lot-size", "1000", "--aql", "1.0", "--history", str(path))
    assert ran.stderr.startswith("3 problem(s)")
    assert re.findall(r"row (\d+), column (\w+)", ran.stderr) == [("3", "found"), ("4", "lot_size"), ("5", "found")]
    missing = run("--lot-size", "1000", "--aql", "1.0", "--history", str(tmp_path / "none.csv"))
    assert missing.exit_code == 3
    assert "cannot be read" in missing.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("--lot-size 50 --sample 60", "at most 50, the lot size"),
        ("--lot-size 0", "--lot-size: 0 cannot be"),
        ("--lot-size 50 --tolerable 10", "for 10 percent write 10%"),
        ("--tolerable 0", "--tolerable: '0' is no share"),
        ("--tolerable 100%", "'100%' is no share"),
        ("--tolerable -5%", "'-5%' is no share"),
        ("--tolerable nan", "'nan' is no share"),
        ("--confidence ten", "'ten' is no number"),
        ("--confidence 0,95", "with a decimal point"),
        ("--lot-size 50 --aql 1.2", "next to it: 1 or 1.5"),
        ("--aql 1.0", "--lot-size: is missing"),
        ("--lot-size 1 --aql 1.0", "the tables begin at 2 parts"),
        ("--lot-size 50 --aql 1.0 --level IV", "one of: I, II, III, S-1, S-2, S-3, S-4"),
        ("--lot-size 50 --aql 1.0 --severity hard", "one of: normal, tightened, reduced"),
        ("--lot-size 50 --level II", "does not go together with how many parts to test"),
        ("--lot-size 50 --aql 1.0 --tolerable 5%", "does not go together with the tables"),
        ("--lot-size 50 --aql 1.0 --good 1% --bad 5%", "ask one question at a time"),
        ("--lot-size 50 --aql 1.0 --allow-reduced", "says nothing without --history"),
        ("--good 5%", "--bad: is missing"),
        ("--good 20% --bad 5%", "is not below --bad"),
        ("--good 1% --bad 5% --alpha 60% --beta 60%", "both risks together are 1 or more"),
        ("--sequential", "--good: is missing"),
        ("--sequential --good 0 --bad 5%", "write a small share"),
        ("--sequential --good 1% --bad 5% --so-far ppx", "p passed, f failed, h held"),
        ("--lot-size 3 --sequential --good 1% --bad 50% --so-far pppp", "4 parts, the lot has 3"),
        ("--so-far pp", "does not go together"),
        ("--sample 10 --allow 10", "below the sample"),
        ("--sample 10 --found 11", "11 found, but the sample has 10"),
        ("--lot-size 50 --found 30", "30 found, but the sample has 22"),
        ("--found -1", "-1 found"),
        ("--allow 1 --stop-at-first", "contradicts --allow 1"),
        ("--power 5% --false-alarm 5%", "such readings tell nothing"),
        ("--held-counts against", "no part is held"),
        ("--held 5% --held-counts maybe", "one of: nothing, against"),
        ("--lot-size 50 --harm 10", "--price: is missing"),
        ("--harm 10 --price 1 --minutes 1 --minute-value 1", "--lot-size: is missing"),
        ("--lot-size 50 --harm -10 --price 1 --minutes 1 --minute-value 1", "-10 is no amount"),
        ("--lot-size 50 --harm 10 --price nan --minutes 1 --minute-value 1", "nan is no amount"),
        ("--lot-size 5 --harm 1 --price 1 --minutes 1 --minute-value 1 --destroy-power 90%", "--destroy-minutes: is"),
        ("--price 4", "does not go together"),
        ("--lot-size 5 --harm 1 --price 1 --minutes 1 --minute-value 1 --held-minutes 2", "no part is held"),
    ],
)  # fmt: skip
def test_slips_of_usage_end_with_2_and_say_what_to_write(words, told):
    ran = run(*words.split())
    assert ran.exit_code == 2, ran.output
    assert told in ran.stderr
    assert ran.stdout == ""


def test_all_slips_are_told_at_once():
    ran = run("--lot-size", "50", "--tolerable", "10", "--confidence", "x", "--power", "2", "--level", "II")
    assert ran.stderr.startswith("4 problem(s)")


def test_what_is_out_of_reach_ends_with_3_and_says_how_far_one_gets():
    ran = run("--lot-size", "10", "--power", "90%")
    assert ran.exit_code == 3
    assert "even with all 10 parts read, a lot with 1 bad one would pass with a chance of 10 %" in ran.stderr
    same = run("--lot-size", "10", "--good", "11%", "--bad", "12%")
    assert same.exit_code == 0  # 1 and 2 of 10
    same = run("--lot-size", "10", "--good", "10%", "--bad", "9.5%")
    assert same.exit_code == 2
    assert run("--lot-size", "10", "--sequential", "--good", "10%", "--bad", "10.0000000001%").exit_code == 3


def test_figure_shows_the_curve_and_both_risks(tmp_path):
    path = tmp_path / "curve.svg"
    ran = run("--good", "5%", "--bad", "15%", "--figure", str(path))
    assert ran.exit_code == 0
    root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
    assert root.tag.endswith("svg")
    words = "".join(root.itertext())
    for one in (
        "consumer's risk",
        "producer's risk",
        "bad share of the lot [%]",
        "chance that the lot is accepted [%]",
    ):
        assert one in words
    assert str(path) in ran.stderr
    nowhere = run("--figure", str(tmp_path / "no" / "curve.svg"))
    assert nowhere.exit_code == 3
    assert "cannot write" in nowhere.stderr


def test_figure_draws_the_values_of_the_result_untouched():
    result = make_plan(PlanOptions(lot_size=50))
    panel = curve_panel(result)
    (line,) = [m for m in panel.marks if isinstance(m, Line)]
    assert list(line.y) == [p.accepted for p in result.operating_curve]
    diamonds = [m for m in panel.marks if isinstance(m, Points) and m.shape == "diamond"]
    assert [float(d.y[0]) for d in diamonds] == [result.risks[0].chance, 1 - result.risks[1].chance]
    assert [m.text for m in panel.marks if isinstance(m, Label)] == ["consumer's risk", "producer's risk"]
    assert result.sentence in panel.description


def test_no_curve_where_no_sample_decides(tmp_path):
    ran = run("--lot-size", "50", "--price", "4", "--minutes", "3", "--minute-value", "5", "--harm", "4.1",
              "--figure", str(tmp_path / "curve.svg"))  # fmt: skip
    assert ran.exit_code == 3
    assert "no operating curve" in ran.stderr


def test_risk_larger_than_asked_in_a_small_lot_is_said():
    found = answer("--lot-size", "10", "--sequential", "--good", "10%", "--bad", "30%", "--power", "60%")
    consumer = next(r for r in found["risks"] if r["whose"] == "consumer")
    assert consumer["chance"] > consumer["asked"] / 0.95
    assert any("ends too early" in r for r in found["remarks"])
    enough = answer("--lot-size", "60", "--sequential", "--good", "2%", "--bad", "20%")
    assert not any("ends too early" in r for r in enough["remarks"])
