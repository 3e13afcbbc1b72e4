"""`paper card` and `paper pairs` from files to papers: the frozen demo lots A1, A2 (invented) in the demo's stage."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from partscreen.matching.options import MatchOptions
from partscreen.simulate.scenario import demo_files
from partscreen.workflow import CardOptions, match_results, paper_card, paper_pairs, write_matching
from tests.report.papers_read import FROZEN, flat, needs_poppler
from tests.report.papers_read import text_of as read_back

STAGE = demo_files().stage
RESULTS = (FROZEN / "A1.json", FROZEN / "A2.json")


def run(*words):
    return CliRunner().invoke(app, ["paper", *map(str, words)])


@pytest.fixture(scope="module")
def match(tmp_path_factory):
    """Two channel sets of three NPN and three PNP."""
    options = MatchOptions(
        kind="sets", k=3, best=2, power=150.0, load=4.0, idle=0.05, per_rail=3, emitter_resistor=0.22
    )
    return write_matching(match_results(RESULTS, options), tmp_path_factory.mktemp("match") / "match.json")


def sets_of(path):
    return json.loads(path.read_text(encoding="utf-8"))["sets"]


@needs_poppler
def test_a_card_for_each_set_with_its_parts_in_the_order_of_the_match(match, tmp_path):
    out = tmp_path / "card.pdf"
    done = run("card", STAGE, *RESULTS, "--match", match, "--out", out)
    assert done.exit_code == 0, done.output
    sheets = read_back(out.read_bytes(), tmp_path, "-layout").split("\f")[:-1]
    assert len(sheets) == 2
    for one, sheet in zip(sets_of(match), sheets, strict=True):
        rows = [flat(line).strip() for line in sheet.splitlines() if line.strip().startswith(("NPN ", "PNP "))]
        assert [row.split()[2] for row in rows] == [place["part"] for place in one["places"]]


@needs_poppler
def test_card_and_pair_list_expect_the_same_of_a_part(match, tmp_path):
    made = paper_card(STAGE, tmp_path / "card.pdf", CardOptions(results=RESULTS, match=match))
    listed = paper_pairs(match, tmp_path / "pairs.pdf", STAGE, CardOptions(results=RESULTS))
    text = flat(read_back(listed.read_bytes(), tmp_path, "-layout"))
    for card in made.cards:
        for place in card.places:
            lot = place.part.partition("-")[0]
            row = text[text.index(f"{place.part} {lot} {place.type}") :].split()
            assert row[4] == f"{place.warm * 1e3:.1f}"


def test_one_set_of_the_match_makes_one_card(match, tmp_path):
    options = CardOptions(results=RESULTS, match=match, set_number=2)
    (card,) = paper_card(STAGE, tmp_path / "card.pdf", options).cards
    assert [p.part for p in card.places] == [place["part"] for place in sets_of(match)[1]["places"]]
    assert card.channel.startswith("set 2")


def test_without_a_match_a_bag_of_more_parts_than_places_names_no_part(tmp_path):
    (card,) = paper_card(STAGE, tmp_path / "card.pdf", CardOptions(results=RESULTS)).cards
    assert all(place.part is None and place.warm is None for place in card.places)


def test_a_forbidden_stage_still_gives_its_card_and_says_so_on_standard_error(tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text(STAGE.read_text(encoding="utf-8").replace('found = "T 8 A"', 'found = "T 16 A"'), encoding="utf-8")
    done = run("card", bad, "--out", tmp_path / "card.pdf")
    assert done.exit_code == 0
    assert "do not power up: positive rail: Found T 16 A, specified T 8 A" in done.stderr
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")


def test_every_bad_file_and_option_is_told_at_once_and_nothing_is_written(tmp_path):
    nonsense = tmp_path / "nonsense.json"
    nonsense.write_text('{"schema": "something/1"}', encoding="utf-8")
    out = tmp_path / "card.pdf"
    done = run("card", tmp_path / "none.toml", nonsense, "--match", tmp_path / "none.json", "--out", out)
    assert done.exit_code == 3
    for name in ("none.toml", "nonsense.json", "none.json"):
        assert name in done.output
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--warm-up", "soon"), "'soon' is no time"),
        (("--soak", "0 min"), "'0 min' is no time"),
        (("--set", "2"), "a set needs a match"),
    ],
)
def test_an_option_that_cannot_be_says_how_to_write_it(words, says, tmp_path):
    done = run("card", STAGE, *words, "--out", tmp_path / "card.pdf")
    assert done.exit_code == 3
    assert says in done.output
    assert "->" in done.output


def test_a_match_without_its_results_asks_for_them(match, tmp_path):
    done = run("card", STAGE, "--match", match, "--out", tmp_path / "card.pdf")
    assert done.exit_code == 3
    assert "holds no curves of its parts" in done.output


def test_a_set_that_is_not_there_or_does_not_fill_the_stage_is_told(match, tmp_path):
    out = tmp_path / "card.pdf"
    done = run("card", STAGE, *RESULTS, "--match", match, "--set", "9", "--out", out)
    assert done.exit_code == 3
    assert "the match holds no set 9" in done.output
    two = tmp_path / "two.toml"
    two.write_text(STAGE.read_text(encoding="utf-8").replace("devices_per_rail = 3", "devices_per_rail = 2"))
    done = run("card", two, *RESULTS, "--match", match, "--out", out)
    assert done.exit_code == 3
    assert "no set of the match has 2 NPN and 2 PNP" in done.output
    assert "--per-rail 2" in done.output


def test_parts_of_the_match_that_are_in_no_result_are_named(match, tmp_path):
    done = run("card", STAGE, RESULTS[0], "--match", match, "--out", tmp_path / "card.pdf")
    assert done.exit_code == 3
    assert "A2/A2-" in done.output
    assert "not among the accepted parts" in done.output
    done = run("pairs", match, STAGE, "--result", RESULTS[0], "--out", tmp_path / "pairs.pdf")
    assert done.exit_code == 3


def test_a_paper_that_is_there_is_not_replaced_unasked(tmp_path):
    out = tmp_path / "card.pdf"
    out.write_bytes(b"filled in")
    done = run("card", STAGE, "--out", out)
    assert done.exit_code == 3
    assert "may be filled in" in done.output
    assert out.read_bytes() == b"filled in"
    assert run("card", STAGE, "--out", out, "--overwrite").exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")


def test_a_place_that_cannot_be_written_to_is_told(match, tmp_path):
    (tmp_path / "file").write_text("")
    done = run("pairs", match, "--out", tmp_path / "file" / "pairs.pdf")
    assert done.exit_code == 3


@pytest.mark.parametrize(
    "content", [b"", b"\xff\xfe", b"[]", b"{}", b'{"schema": "partscreen.screening/1", "lots": []}']
)
def test_what_is_no_match_is_refused_with_the_way_out(content, tmp_path):
    path = tmp_path / "match.json"
    path.write_bytes(content)
    done = run("pairs", path, "--out", tmp_path / "pairs.pdf")
    assert done.exit_code == 3
    assert "no result of `partscreen match`" in done.output
    assert "match --json" in done.output


def test_results_without_a_stage_serve_nothing_and_say_so(match, tmp_path):
    done = run("pairs", match, "--result", RESULTS[0], "--out", tmp_path / "pairs.pdf")
    assert done.exit_code == 3
    assert "only with a stage file" in done.output


def test_pairs_go_into_a_stage_of_one_pair_a_card_each(tmp_path):
    one = tmp_path / "one.toml"
    text = STAGE.read_text(encoding="utf-8").replace("devices_per_rail = 3", "devices_per_rail = 1")
    one.write_text(text, encoding="utf-8")
    options = MatchOptions(kind="pairs", best=3)
    match = write_matching(match_results(RESULTS, options), tmp_path / "pairs.json")
    made = paper_card(one, tmp_path / "card.pdf", CardOptions(results=RESULTS, match=match))
    assert len(made.cards) == 3
    assert all(place.warm == pytest.approx(11e-3) for card in made.cards for place in card.places)
