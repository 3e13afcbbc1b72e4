"""The output stage on the page: the form is the file, the checks are those of the workflow function."""

from __future__ import annotations

import html
import re
import tomllib
from pathlib import Path

import pytest

from partscreen.page.after.stage_form import example, fuse_rows, text_of as file_of, told_of  # isort: skip
from partscreen.simulate.scenario import demo_files
from partscreen.workflow import check_stage, match_results, replace_type, write_matching

from partscreen.matching.options import MatchOptions  # isort: skip
from tests.page.given import SETS, files_of, matched, saved, text_of, typed_on
from tests.report.papers_read import FROZEN, flat, needs_poppler
from tests.report.papers_read import text_of as read_back

DOCS_STAGE = Path(__file__).resolve().parents[2] / "docs" / "examples" / "stage.toml"


def check(visitor, typed, files=None):
    return visitor.settle(visitor.post("/stage", {**typed, "do": "check"}, files=files))


@pytest.mark.parametrize("path", [DOCS_STAGE, demo_files().stage])
def test_a_file_goes_through_the_form_unchanged(path):
    text = path.read_text(encoding="utf-8")
    told, strange = told_of(text)
    assert strange == []
    before, after = tomllib.loads(text), tomllib.loads(file_of(told))
    before.get("emitter_resistors", {}).pop("discoloured", None)  # an empty list is the same as no line
    assert after == before


def test_texts_that_look_like_toml_stay_texts():
    told = {"stage.name": 'a"]\n[rails]\nloaded = "\\u0000', "emitter_resistors.measured": 'R"1 = 0.2 "ohm"'}
    read = tomllib.loads(file_of(told))
    assert read["stage"] == {"name": told["stage.name"]}
    assert read["emitter_resistors"]["measured"] == {'R"1': '0.2 "ohm"'}
    assert "rails" not in read


def test_a_decimal_comma_is_one_figure_and_two_texts_with_units_are_two_rails():
    assert tomllib.loads(file_of({"rails.loaded": "42,5 V"}))["rails"]["loaded"] == "42,5 V"
    assert tomllib.loads(file_of({"rails.loaded": "46 V, -45 V"}))["rails"]["loaded"] == ["46 V", "-45 V"]


def test_the_form_has_room_for_every_fuse_of_a_file():
    told, _ = told_of("".join(f'[[fuses]]\nplace = "F{i}"\nfound = "T 1 A"\n' for i in range(9)))
    assert len(fuse_rows(told)) > 9
    assert len(tomllib.loads(file_of(told))["fuses"]) == 9


def test_the_example_typed_in_gives_the_checks_of_the_workflow_function(visitor, tmp_path):
    answer = check(visitor, typed_on(visitor.get("/stage?example=yes")))
    assert answer.status_code == 200
    file = tmp_path / "stage.toml"
    file.write_text(example(), encoding="utf-8")
    own = check_stage(file)
    words = text_of(answer)
    assert all(re.sub(r"\s+", " ", one.sentence) in words for one in own.checks)
    assert answer.text.index("Cautions first") < answer.text.index("The checks")
    assert answer.text.count("<figure>") >= 1
    kept = files_of(visitor, answer)["stage.toml"]
    assert tomllib.loads(kept.decode()) == tomllib.loads(example())


def test_a_file_is_checked_at_once_or_only_filled_in(visitor):
    files = [("stage", ("mine.toml", DOCS_STAGE.read_bytes()))]
    answer = check(visitor, {}, files)
    assert answer.status_code == 200
    assert "Invented stage, two pairs" in text_of(answer)
    assert typed_on(answer)["bias.readings"].splitlines()[0] == "RE1 = 14.2 mV"
    filled = visitor.post("/stage", {"do": "fill"}, files=files)
    assert "The checks" not in filled.text
    assert typed_on(filled)["stage.devices_per_rail"] == "2"
    assert visitor.post("/stage", {"do": "check"}, files=[("stage", ("s.toml", b"x = "))]).status_code == 422
    strange = visitor.post("/stage", {"do": "check"}, files=[("stage", ("s.toml", b'[load]\nresistanse = "8 ohm"'))])
    assert "load.resistanse" in text_of(strange)


def test_every_field_that_cannot_be_is_named_and_keeps_its_text(visitor):
    typed = typed_on(visitor.get("/stage?example=yes"))
    typed |= {
        "stage.npn": "", "rails.loaded": "<b>lots", "load.phase": "400 V", "stage.devices_per_rail": "two",
        "emitter_resistors.measured": "RE1 0.22", "fuse0.found": "big",
    }  # fmt: skip
    answer = check(visitor, typed)
    assert answer.status_code == 422
    assert "Measured, one a line, row 1" in text_of(answer)  # lines that are none are told before the file is made
    typed["emitter_resistors.measured"] = "RE1 = 0.22 ohm"
    answer = check(visitor, typed)
    words = text_of(answer).replace(" :", ":")
    for field in ("NPN type:", "Rails at full sine output:", "Phase of the load:", "Devices in parallel on a rail:",
                  "Fuse, line 1:"):  # fmt: skip
        assert field in words
    stand = typed_on(answer)
    assert {name: stand[name] for name in typed if name in stand} == typed
    assert "<b>lots" not in answer.text
    assert "docs/examples" not in answer.text


def test_parts_of_a_match_stand_in_their_places(visitor, tmp_path):
    found = matched(visitor, **SETS)
    name = found.url.path.rpartition("/")[2]
    assert f'value="{name}" selected' in visitor.get(f"/stage?match={name}").text
    typed = {**typed_on(visitor.get("/stage?example=yes")), "from_match": name, "set_number": "2"}
    answer = check(visitor, typed)
    assert answer.status_code == 200, text_of(answer)
    match = files_of(visitor, found)["match.json"]
    (tmp_path / "m.json").write_bytes(match)
    file = tmp_path / "s.toml"
    file.write_text(example(), encoding="utf-8")
    own = check_stage(file, (FROZEN / "A1.json", FROZEN / "A2.json"), match=tmp_path / "m.json", set_number=2)
    words = text_of(answer)
    assert all(re.sub(r"\s+", " ", one.sentence) in words for one in own.checks)
    assert "set 2" in words
    assert sum(len(shared.places) for shared in own.sharing) == 6
    beyond = check(visitor, {**typed, "set_number": "9"})
    assert beyond.status_code == 422
    assert typed_on(beyond)["set_number"] == "9"
    assert "sets are numbered 1 to 2" in text_of(beyond)


def test_a_saved_match_needs_its_results(visitor, tmp_path):
    options = MatchOptions(kind="sets", k=3, best=1, per_rail=3)
    made = write_matching(match_results((FROZEN / "A1.json", FROZEN / "A2.json"), options), tmp_path / "m.json")
    files = [("match", ("m.json", made.read_bytes()))]
    typed = typed_on(visitor.get("/stage?example=yes"))
    alone = check(visitor, typed, files)
    assert "STAGE_RESULT" in alone.text
    assert check(visitor, typed, [*files, *saved("A1", "A2")]).status_code == 200


@needs_poppler
def test_the_power_up_card_is_behind_the_checks_with_cautions_before_it(visitor, tmp_path):
    found = matched(visitor, **SETS)
    typed = typed_on(visitor.get("/stage?example=yes"))
    answer = check(visitor, {**typed, "from_match": found.url.path.rpartition("/")[2]})
    words = text_of(answer)
    assert words.index("reservoir capacitors stay charged after the plug is pulled: discharge") < words.index(
        "Make the power-up card"
    )
    ready = visitor.settle(visitor.post(f"{answer.url.path}/card", {"soak": "2 h"}))
    (pdf,) = files_of(visitor, ready).values()
    sheets = read_back(pdf, tmp_path, "-layout").split("\f")[:-1]
    assert len(sheets) == 2  # one for each set
    one = visitor.settle(visitor.post(f"{answer.url.path}/card", {"set_number": "1"}))
    (pdf,) = files_of(visitor, one).values()
    text = flat(read_back(pdf, tmp_path, "-layout"))
    assert text.index("Mains voltage kills") < text.index("Reservoir capacitors stay charged") < text.index("A. Plug")
    assert text.index("current limiter") < text.index("B. With power")
    wrong = visitor.settle(visitor.post(f"{answer.url.path}/card", {"soak": "2 <b>moons", "warm_up": "20 min"}))
    assert wrong.status_code == 422
    assert wrong.url.path == answer.url.path
    assert typed_on(wrong)["soak"] == "2 <b>moons"
    assert typed_on(wrong)["warm_up"] == "20 min"
    assert "<b>moons" not in wrong.text


def test_a_stage_that_must_not_be_powered_says_so_above_its_card(visitor):
    typed = typed_on(visitor.get("/stage?example=yes")) | {"rails.unloaded": "400 V", "rails.loaded": "390 V"}
    answer = check(visitor, typed)
    ready = visitor.settle(visitor.post(f"{answer.url.path}/card"))
    assert "Do not power up." in text_of(ready)
    assert ready.text.index("Do not power up.") < ready.text.index("/file/")


def test_replacements_are_those_of_the_workflow_function_alone_and_in_a_stage(visitor, tmp_path):
    own = replace_type("2SC3281")
    answer = visitor.get("/replace?name=2SC3281")
    words = text_of(answer)
    assert words.index("Cautions first") < words.index("In place of 2SC3281")
    order = re.findall(r"<strong><bdi>([^<]+)</bdi></strong>", answer.text)
    assert [html.unescape(one) for one in order] == [one.type for one in own.candidates]
    checked = check(visitor, typed_on(visitor.get("/stage?example=yes")))
    link = re.search(r'href="(/replace\?name=2SC5200[^"]+)"', checked.text)[1].replace("&amp;", "&")
    inside = visitor.get(link)
    assert inside.status_code == 200
    assert "in the stage" in text_of(inside)
    other = visitor.get(link.replace("2SC5200", "2SC3281"))
    assert other.status_code == 422
    assert "the stage holds 2SC5200" in text_of(other)
    unknown = visitor.get("/replace?name=2SC5201<b>")
    assert unknown.status_code == 422
    assert "<b>" not in unknown.text.replace("<bdi>", "")
    assert "PAGE_GONE" in visitor.get("/replace?name=2SC5200&stage=none").text


def test_a_name_that_is_markup_is_text_on_the_page_of_the_stage(visitor):
    typed = typed_on(visitor.get("/stage?example=yes")) | {"stage.name": "<script>alert(1)</script>"}
    answer = check(visitor, typed)
    assert "<script>alert" not in answer.text
    assert "<script>alert(1)</script>" in text_of(answer)
