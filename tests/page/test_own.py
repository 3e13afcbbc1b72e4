"""Kits and types made by questions on the page: the questions, checks and files of the commands."""

from __future__ import annotations

import html
import re
import tomllib

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app
from tests.docs.bag import FOLDER
from tests.page.test_typing import Bench, text_of

EXAMPLES = FOLDER.parent / "typed"
KIT_ANSWERS = (EXAMPLES / "kit.txt").read_text(encoding="utf-8").split("\n")
TYPE_ANSWERS = [
    *(EXAMPLES / "2sc5200.txt").read_text(encoding="utf-8").split("stop\n")[0].split("\n")[:-1],
    *(EXAMPLES / "2sc5200_more.txt").read_text(encoding="utf-8").split("\n"),
]


def test_looking_makes_no_folders_and_needs_none(tmp_path):
    from partscreen.workflow import kept_sittings, own_kits, own_types, questions_begun

    (tmp_path / "file").write_text("a file where a folder should be", encoding="utf-8")
    for root in (tmp_path / "none", tmp_path / "file"):
        assert own_kits(root) == own_types(root) == kept_sittings(root) == questions_begun("kits", root) == ()
    assert not (tmp_path / "none").exists()


def begun(visitor, at: str, title: str):
    answer = visitor.post(at, {"title": title})
    assert answer.status_code == 200, text_of(answer)
    return answer


def give(visitor, shown, text: str, **more):
    """Answer the question on a page."""
    hidden = dict(re.findall(r'type="hidden" name="(seen|change)" value="(\d+)"', shown.text))
    return visitor.post(shown.url.path, {**hidden, "answer": text, **more})


def answered(shown) -> list[tuple[str, str]]:
    rows = re.findall(r"<tr><td><bdi>(.*?)</bdi></td><td><bdi>(.*?)</bdi></td>", shown.text)
    return [(html.unescape(one), html.unescape(two)) for one, two in reversed(rows)]


def test_a_kit_is_made_by_the_questions_of_the_command_and_is_the_same_file(visitor, tmp_path):
    shown = begun(visitor, "/kits", "repair bench")
    assert "When was it last calibrated" in text_of(shown)
    wrong = 0
    for text in KIT_ANSWERS[1:]:
        if "All questions are answered" in shown.text:
            break
        shown = give(visitor, shown, text)
        wrong += shown.status_code == 422
    assert wrong == 1  # an accuracy of 0 %
    assert "All questions are answered" in shown.text
    made = visitor.post(shown.url.path.replace("/ask", "/write"))
    assert "reads C_BE, up to 20 nF, at 2 nF within 23 pF" in text_of(made)
    assert "2.5 +- 0.3 pF of the leads are taken off" in text_of(made)
    own = visitor.get(f"{made.url.path}/file")
    assert own.headers["content-disposition"].startswith("attachment")
    by_command = tmp_path / "kit.toml"
    ran = CliRunner().invoke(app, ["kit", "--new", "--out", str(by_command)], input="\n".join(KIT_ANSWERS))
    assert ran.exit_code == 0
    assert own.text == by_command.read_text(encoding="utf-8")
    assert 'value="repair_bench"' in visitor.get("/typing").text
    bench = Bench.begin(visitor, "KIT", kit="repair_bench", ask="")
    assert "C_BE" in text_of(bench.shown)
    assert re.search(r"<small>(.*?)</small>", bench.shown.text)[1].count("[") == 2  # what the kit reads, no more


def test_a_wrong_answer_is_told_beside_its_question_and_nothing_is_lost(visitor):
    shown = begun(visitor, "/kits", "wrong bench")
    for text in ("-", "22", "no"):
        shown = give(visitor, shown, text)
    assert 'type="radio"' in shown.text
    for text in ("1", "meter", "C_BE"):
        shown = give(visitor, shown, text)
    shown = give(visitor, shown, "20 nF")
    refused = give(visitor, shown, "0 %")
    assert refused.status_code == 422
    assert "no instrument is without error" in text_of(refused)
    assert 'value="0 %"' in refused.text
    assert 'aria-invalid="true"' in refused.text
    later = visitor.get(refused.url.path)  # left and come back to
    assert answered(later)[-1][1] == "20 nF"
    assert "wrong bench" in visitor.get("/kits").text
    back = visitor.post(later.url.path, {"do": "back", "seen": str(len(answered(later)))})
    assert "the largest reading it can show" in text_of(back)


def test_an_earlier_answer_is_changed_and_later_ones_stay_as_far_as_they_fit(visitor):
    shown = begun(visitor, "/kits", "changed bench")
    for text in ("-", "22", "no", "1", "meter", "C_BE C_CB", "20 nF", "1 %", "20 nF", "1 %"):
        shown = give(visitor, shown, text)
    before = answered(shown)
    asked = visitor.get(f"{shown.url.path}?change=2")
    assert 'value="22"' in asked.text
    assert "no room temperature" in text_of(give(visitor, asked, "900"))
    kept = give(visitor, asked, "30")
    assert [text for _, text in answered(kept)] == [text if i != 2 else "30" for i, (_, text) in enumerate(before)]
    reads = next(i for i, (words, _) in enumerate(before) if words.startswith("Which of them"))
    fewer = give(visitor, visitor.get(f"{shown.url.path}?change={reads}"), "C_BE")
    assert "2 later answers no longer fitted" in text_of(fewer)
    assert len(answered(fewer)) == len(before) - 2


def test_names_that_would_make_one_file_are_kept_apart(visitor):
    first, second = (begun(visitor, "/kits", title) for title in ("стол один", "стол два"))
    assert first.url.path != second.url.path
    begun(visitor, "/kits", "my bench 7")
    clash = visitor.post("/kits", {"title": "My-Bench 7"})
    assert clash.status_code == 422
    assert "questions about 'my bench 7' wait under this name" in text_of(clash)


def test_a_second_window_and_an_old_form_take_nothing_unseen(visitor):
    shown = begun(visitor, "/kits", "window bench")
    give(visitor, shown, "-")
    late = give(visitor, shown, "2020-01-01")
    assert "another window went on" in text_of(late)
    assert 'value="2020-01-01"' in late.text
    assert len(answered(late)) == 2
    old = visitor.client.post(shown.url.path, data={"form_token": "old", "answer": "22", "seen": "2"})
    assert old.status_code == 403
    assert 'value="22"' in old.text
    assert len(answered(visitor.get(shown.url.path))) == 2


def test_a_type_is_copied_from_its_sheet_kept_and_used_where_parts_are_typed(visitor, tmp_path):
    shown = begun(visitor, "/own-types", "2SC5200")
    for text in TYPE_ANSWERS:
        if "All questions are answered" in shown.text:
            break
        shown = give(visitor, shown, text)
        assert shown.status_code == 200, text_of(shown)
    assert "All questions are answered" in shown.text
    made = visitor.post(shown.url.path.replace("/ask", "/write"))
    assert "2SC5200 can be used: limits: 5" in text_of(made)
    own = visitor.get(f"{made.url.path}/file").text
    out = tmp_path / "own.toml"
    ran = CliRunner().invoke(app, ["types", "--new", "2SC5200", "--out", str(out)], input="\n".join(TYPE_ANSWERS))
    assert ran.exit_code == 0
    assert own == out.read_text(encoding="utf-8")
    assert "FILE_EXISTS" in visitor.post("/own-types", {"title": "2SC5200"}).text
    try:
        bench = Bench.begin(visitor, "OWN", ask="hFE @ IC=7 A, VCE=5 V")
        bench.send("30")
        assert "below the printed minimum" in text_of(bench.shown)
        assert "FJL4315" in text_of(bench.shown)  # the sheet that was copied
        assert text_of(visitor.get("/types?name=2SC5200")).count("at least") == 1  # of no group: its own, no others
    finally:
        visitor.post(f"{made.url.path}/drop")
    assert visitor.get(made.url.path).status_code == 404


def test_a_file_is_made_only_when_every_question_is_answered_and_answers_can_be_forgotten(visitor):
    shown = begun(visitor, "/own-types", "X1")
    for text in ("NPN", "single", "-", "-"):
        shown = give(visitor, shown, text)
    early = visitor.post(shown.url.path.replace("/ask", "/write"))
    assert early.status_code == 422
    assert "QUESTION_OPEN" in early.text
    assert "Title of sheet 1" in text_of(early)
    assert visitor.get("/own-types/x1").status_code == 404
    visitor.post(shown.url.path.replace("/ask", "/forget"))
    assert visitor.get(shown.url.path).status_code == 404


@pytest.mark.parametrize("at", ["/kits", "/own-types"])
@pytest.mark.parametrize("title", ["<script>alert(1)</script>", "../../etc/passwd", "A\u202eB<b>"])
def test_hostile_names_and_files_never_leave_their_folder_and_are_text(visitor, at, title):
    answer = visitor.post(at, {"title": title})
    assert answer.status_code in (200, 422)
    for page in (answer, visitor.get(at)):
        assert "<script>alert" not in page.text
        assert "<b>" not in page.text
        assert "\u202e" not in page.text
    assert visitor.get(f"{at}/..%2f..%2fetc%2fpasswd").status_code == 404
    assert visitor.get(f"{at}/.hidden/ask").status_code == 404


def test_a_kit_that_is_brought_is_checked_kept_and_told_in_words(visitor):
    kit = (FOLDER.parent / "kits" / "pocket_tester.toml").read_bytes()
    answer = visitor.post("/kits/bring", files={"file": ("Pocket Tester.toml", kit)})
    assert answer.url.path == "/kits/pocket_tester"
    assert "reads hFE, up to 600" in text_of(answer)
    broken = visitor.post("/kits/bring", files={"file": ("broken.toml", b"name = 3\n")})
    assert broken.status_code == 422
    assert "KIT" in broken.text
    other = visitor.post("/kits/bring", files={"file": ("pocket_tester.toml", b"name = 'x'\n")})
    assert "FILE_EXISTS" in other.text
    assert tomllib.loads(visitor.get("/kits/pocket_tester/file").text)["name"].startswith("example")
