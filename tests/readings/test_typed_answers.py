"""Questions answered one at a time, as a page does: where they stand, and answers changed afterwards."""

from __future__ import annotations

import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.typed.interview import (
    AnswersHeld,
    AnswersKept,
    Interview,
    answer_once,
    change_answer,
    choices_of,
    one_of,
    optional,
    text_answer,
    yes_no,
)


def case(ask: Interview) -> list[object]:
    """The second question depends on the first answer."""
    ask.say("Look at the case.")
    flat = ask.ask("flat", "Is it flat?", yes_no, meant="A tab that is screwed down.")
    if flat:
        return [flat, ask.ask("holes", "How many holes?", one_of({"one": "in the tab", "two": "beside the leads"}))]
    return [flat, ask.ask("name", "What is it called?", text_answer), ask.ask("lead", "Lead?", optional(yes_no), "-")]


def test_the_open_question_stands_with_what_may_be_answered():
    kept = AnswersHeld()
    first = answer_once(kept, case)
    assert first.question is not None
    assert (first.question.key, first.question.choices) == ("flat", (("yes", ""), ("no", "")))
    assert first.said[0] == "Look at the case."
    second = answer_once(kept, case, "yes")
    assert second.question is not None
    assert second.question.choices == (("one", "in the tab"), ("two", "beside the leads"))
    assert [(question.key, text) for question, text in second.answered] == [("flat", "yes")]
    assert answer_once(kept, case, "2").result == [True, "two"]


def test_a_wrong_answer_leaves_the_question_open_and_says_why():
    kept = AnswersHeld()
    told = answer_once(kept, case, "perhaps")
    assert told.wrong == "'perhaps': answer yes or no"
    assert told.question is not None
    assert (told.question.key, kept.answers) == ("flat", [])
    answer_once(kept, case, "no")
    assert "an answer is needed" in answer_once(kept, case, "").wrong


def test_what_is_meant_is_told_on_asking():
    assert any("screwed down" in line for line in answer_once(AnswersHeld(), case, "?").said)


def test_back_opens_the_question_before():
    kept = AnswersHeld([("flat", "no"), ("name", "TO-3")])
    found = answer_once(kept, case, "back")
    assert found.question is not None
    assert (found.question.key, kept.answers) == ("name", [("flat", "no")])


def test_a_changed_answer_keeps_later_ones_that_still_fit(tmp_path):
    kept = AnswersKept(tmp_path / "a")
    kept.put([("flat", "no"), ("name", "TO-3"), ("lead", "yes")])
    assert change_answer(kept, case, 1, "TO-66") == ("", 0)
    assert AnswersKept(tmp_path / "a").answers == [("flat", "no"), ("name", "TO-66"), ("lead", "yes")]


def test_a_changed_answer_lets_go_of_those_to_questions_that_are_no_longer_asked(tmp_path):
    kept = AnswersKept(tmp_path / "a")
    kept.put([("flat", "no"), ("name", "TO-3"), ("lead", "-")])
    assert change_answer(kept, case, 0, "yes") == ("", 2)
    assert AnswersKept(tmp_path / "a").answers == [("flat", "yes")]


def test_a_change_that_is_no_answer_changes_nothing(tmp_path):
    kept = AnswersKept(tmp_path / "a")
    kept.put([("flat", "no"), ("name", "TO-3")])
    assert change_answer(kept, case, 0, "maybe") == ("'maybe': answer yes or no", 0)
    assert change_answer(kept, case, 7, "yes") == ("there is no such answer", 0)
    assert AnswersKept(tmp_path / "a").answers == [("flat", "no"), ("name", "TO-3")]


def test_answers_that_are_done_with_are_gone(tmp_path):
    kept = AnswersKept(tmp_path / "a")
    kept.keep("flat", "no")
    kept.done()
    kept.done()
    assert not (tmp_path / "a").exists()


def test_an_answer_that_cannot_be_put_on_disk_is_told_with_the_way_out(tmp_path):
    with pytest.raises(UnusableInput, match="could not be put on disk"):
        AnswersKept(tmp_path / "no folder" / "a").keep("flat", "no")


def test_not_known_is_an_answer_where_it_is_allowed():
    check = optional(one_of({"red": "", "blue": ""}))
    assert [check(text) for text in ("-", "none", "1", "BLUE.")] == [None, None, "red", "blue"]
    assert choices_of(check) == (("red", ""), ("blue", ""), ("-", "none of these"))
    assert choices_of(text_answer) == ()
    with pytest.raises(ValueError, match="1 to 2"):
        check("green")
