"""Questions keep their answers: back, stop and a crash lose none."""

from __future__ import annotations

import pytest

from partscreen.errors import UnusableInput
from partscreen.readings.instruments.kit_words import months_after, not_believable, overdue, parse_accuracy
from partscreen.readings.typed.interview import AnswersKept, Interview, conduct, one_of, text_answer


class Script:
    """Answers from a list, then the end of input."""

    def __init__(self, *answers: str) -> None:
        self.left, self.asked, self.said = list(answers), [], []

    def ask(self, prompt: str) -> str | None:
        self.asked.append(prompt)
        return self.left.pop(0) if self.left else None

    def say(self, text: str) -> None:
        self.said.append(text)


def three(ask: Interview) -> list[str]:
    return [ask.ask(key, f"{key}?", text_answer, default) for key, default in (("a", ""), ("b", "B"), ("c", ""))]


def test_answers_of_a_stopped_interview_are_taken_up_again(tmp_path):
    place = tmp_path / "x.answers"
    assert conduct(Script("1", "", "stop"), AnswersKept(place), three) is None
    again = Script("3")
    assert conduct(again, AnswersKept(place), three) == ["1", "B", "3"]
    assert len(again.asked) == 1


def test_back_asks_the_question_before_again(tmp_path):
    script = Script("1", "2", "back", "back", "one", "two", "three")
    assert conduct(script, AnswersKept(tmp_path / "x"), three) == ["one", "two", "three"]


def test_answer_cut_off_by_a_crash_is_asked_again(tmp_path):
    place = tmp_path / "x"
    conduct(Script("1", "2"), AnswersKept(place), three)
    place.write_bytes(place.read_bytes()[:-4])
    assert conduct(Script("zwei", "3"), AnswersKept(place), three) == ["1", "zwei", "3"]


def test_wrong_answer_says_why_and_asks_again(tmp_path):
    script = Script("4", "2", "")
    found = conduct(
        script, AnswersKept(tmp_path / "x"), lambda ask: ask.ask("k", "k?", one_of({"red": "", "blue": ""}))
    )
    assert found == "blue"
    assert "1 to 2" in script.said[-1]


def test_broken_answers_are_told_and_kept(tmp_path):
    place = tmp_path / "x"
    place.write_text("nonsense\n")
    with pytest.raises(UnusableInput, match="cannot be read"):
        AnswersKept(place)
    assert place.read_text() == "nonsense\n"


@pytest.mark.parametrize(
    ("text", "quantity", "found"),
    [
        ("1 % + 2 digits of 1 pF", "c_be", {"percent": 1.0, "counts": 2.0, "count_size": 1e-12}),
        ("0,5% + 3 x 1 mV", "vbe", {"percent": 0.5, "counts": 3.0, "count_size": 1e-3}),
        ("±0.1 % + 0.2 mV", "vbe", {"percent": 0.1, "absolute": 2e-4}),
        ("2 counts of 10 uA", "ib", {"counts": 2.0, "count_size": 1e-5}),
    ],
)
def test_accuracy_is_read_as_makers_print_it(text, quantity, found):
    assert parse_accuracy(text, quantity) == pytest.approx(found)


@pytest.mark.parametrize("text", ["0 %", "", "good", "1 % + 2", "1 % + 2 %", "1 mV", "-1 %"])
def test_accuracy_that_cannot_be_is_refused_with_the_way_out(text):
    with pytest.raises(ValueError, match=r"write|correct|percent"):
        parse_accuracy(text, "c_be")


def test_accuracies_beyond_any_instrument_are_refused_and_ordinary_ones_are_not():
    assert "better than" in not_believable("vbe", {"percent": 1e-5}, 4.0)
    assert "leaves no reading" in not_believable("c_be", {"percent": 1.0, "counts": 3.0, "count_size": 1e-9}, 5e-9)
    assert "no display" in not_believable("vbe", {"percent": 1.0, "counts": 1.0, "count_size": 1e-9}, 4.0)
    assert "is it" in not_believable("hfe", {"percent": 80.0}, None)
    for percent in (0.005, 0.05, 1.0, 10.0):
        assert not_believable("ic", {"percent": percent, "counts": 2.0, "count_size": 1e-4}, 10.0) == ""


def test_calibration_is_overdue_after_its_months_and_not_before():
    from datetime import date

    day = date(2025, 8, 31)
    assert months_after(day, 6) == date(2026, 2, 28)
    assert overdue("k", day, 6, date(2026, 2, 28)) == ""
    assert "1 days ago" in overdue("k", day, 6, date(2026, 3, 1))
    assert overdue("k", day, None, date(2036, 3, 1)) == ""
    assert "still to come" in overdue("k", day, 6, date(2025, 8, 1))
