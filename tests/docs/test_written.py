"""Codes, forms of results and functions are told as they are, all of them, and none that is gone."""

from __future__ import annotations

import inspect
import json
import re

import pytest

from partscreen.results.codes import code_themes, explained
from partscreen.workflow import tell_codes
from tests.docs import written
from tests.docs.codes_in_source import NO_CODES, emitted
from tests.docs.written_api import public
from tests.docs.written_json import forms

REFRESH = "python -m tests.docs.refresh --written"
EVERY = [one for theme in code_themes() for one in theme.codes]


def test_every_code_the_source_can_give_out_is_explained():
    found = emitted()
    assert len(found) > 300
    missing = {code: place for code, place in found.items() if explained(code) is None}
    assert not missing, "explain them in partscreen/results/code_texts/, or name them in NO_CODES if they are no codes"


def test_no_code_is_explained_that_the_source_does_not_give_out():
    found = emitted()
    assert [one.code for one in EVERY if one.code not in found] == []


def test_no_code_is_explained_twice():
    codes = [one.code for one in EVERY]
    assert len(codes) == len(set(codes))


def test_every_code_has_a_sentence_a_meaning_and_an_action():
    for one in EVERY:
        texts = (one.says, one.means, one.do)
        assert len(set(texts)) == 3, one
        assert all(4 <= len(text) <= 260 for text in texts), one
        assert all(text.endswith((".", "?", ")", '"', "]", "NAME")) for text in texts), one
        assert not re.search(r"\b(genuine|fake|counterfeit)\b", " ".join(texts), re.IGNORECASE), one


def test_words_that_are_named_as_no_codes_are_explained_nowhere():
    assert [code for code in NO_CODES if explained(code) is not None] == []


def test_a_code_that_does_not_exist_is_told_with_those_near_it():
    text, problems = tell_codes(("reach-short", "LIMITS_BROKEN"))
    assert "REACH_SHORT" in text
    assert [(one.code, "LIMIT_BROKEN" in one.fix) for one in problems] == [("UNKNOWN_CODE", True)]


def test_codes_as_json_are_those_of_the_list():
    told = json.loads(tell_codes(as_json=True)[0])
    assert [one["code"] for one in told["codes"]] == [one.code for one in EVERY]


@pytest.mark.parametrize("path", written.pages(), ids=lambda path: path.name)
def test_page_that_is_written_from_the_source_is_up_to_date(path):
    assert path.read_text(encoding="utf-8") == written.pages()[path], REFRESH


def test_no_schema_of_a_form_that_is_gone_is_left_over():
    assert written.left_over() == [], REFRESH


def test_every_form_of_result_has_a_schema_a_command_and_a_page():
    text = (written.DOCS / "json.md").read_text(encoding="utf-8")
    for name in forms():
        row = re.search(
            rf"^\| `partscreen\.{name}/1` \| \[{name}\.json\]\(schemas/{name}\.json\) \| (.+) \|$", text, re.MULTILINE
        )
        assert row, name
        assert re.search(rf"^## partscreen\.{name}/1\n\n\S", text, re.MULTILINE), name


def test_schema_of_a_screening_takes_what_a_run_writes_and_refuses_a_field_it_does_not_know():
    from jsonschema import Draft202012Validator

    from partscreen.workflow import ScreenOptions, screen_files
    from tests.docs.bag import FOLDER

    schema = json.loads((written.DOCS / "schemas" / "screening.json").read_text(encoding="utf-8"))
    run = json.loads(screen_files([FOLDER / "bag.csv"], ScreenOptions(type_name="2SC5200"), figures=False).json_text())
    Draft202012Validator.check_schema(schema)
    complaints = Draft202012Validator(schema).iter_errors
    assert list(complaints(run)) == []
    run["lots"][0]["parts"][0]["mood"] = "good"
    run["lots"][0]["judgement"] = "perhaps"
    assert len(list(complaints(run))) == 2


def test_every_public_name_says_what_it_is_and_what_it_takes():
    described = [(name, member) for name, member in public() if inspect.isfunction(member) or inspect.isclass(member)]
    assert len(described) > 60
    for name, member in described:
        assert inspect.getdoc(member), name
        if inspect.isfunction(member):
            found = inspect.signature(member)
            assert found.return_annotation is not inspect.Signature.empty, name
            assert all(one.annotation is not one.empty for one in found.parameters.values()), name
