"""The audit says "not run" where it could not ask, and never calls silence clean. Answers have pip-audit's form."""

from __future__ import annotations

import pytest

from tests.house.audit import CONTROL, audit, locked_versions

LOCKED = ["one==1.0", "two==2.0"]


def said(*told):
    return {"dependencies": list(told), "fixes": []}


def clean(name):
    return {"name": name, "version": "1.0", "vulns": []}


def weak(name):
    return {"name": name, "version": "1.0", "vulns": [{"id": "CVE-0000-0001"}]}


def skipped(name):
    return {"name": name, "skip_reason": "not found"}


def asker(control, ours):
    asked = []

    def ask(lines):
        asked.append(list(lines))
        return control if list(lines) == [CONTROL] else ours

    return ask, asked


@pytest.mark.parametrize("control", [None, {}, said(skipped("jinja2")), said(clean("jinja2")), said()])
def test_without_an_answer_about_the_known_weak_version_it_is_not_run_and_nothing_else_is_asked(control):
    ask, asked = asker(control, said(clean("one"), clean("two")))
    code, lines = audit(LOCKED, ask)
    assert code == 3
    assert lines[0].startswith("not run: ")
    assert asked == [[CONTROL]]


@pytest.mark.parametrize(
    ("ours", "code", "word"),
    [
        (said(clean("one"), clean("two")), 0, "no weakness on record for any of the 2"),
        (said(weak("one"), clean("two")), 4, "one 1.0: CVE-0000-0001"),
        (said(clean("one"), skipped("two")), 3, "not wholly run: 1 of 2"),
        (said(clean("one")), 3, "not wholly run: 1 of 2"),
        (None, 3, "not run"),
        (said(weak("one"), skipped("two")), 4, "1 not asked"),
    ],
)
def test_silence_about_a_version_is_never_called_clean(ours, code, word):
    ask, _ = asker(said(weak("jinja2")), ours)
    told, lines = audit(LOCKED, ask)
    assert told == code
    assert word in "\n".join(lines)
    assert "clean" not in "\n".join(lines)


def test_all_locked_versions_are_asked_about():
    ask, asked = asker(said(weak("jinja2")), said())
    audit(locked_versions(), ask)
    assert len(asked[1]) > 60
