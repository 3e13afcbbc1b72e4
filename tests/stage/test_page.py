"""The page `docs/stage.md` tells every check, every key of the stage file and every mark."""

from __future__ import annotations

import re
from pathlib import Path

from pydantic import BaseModel

from partscreen.report.stage_page import OUTCOMES, told_once
from partscreen.results.stage import StageCheck
from partscreen.stage.model import Stage

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "stage.md").read_text(encoding="utf-8")


def test_every_code_of_the_room_stands_on_its_page():
    source = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "partscreen" / "stage").glob("*.py"))
    codes = set(re.findall(r'"([A-Z]+_[A-Z_]+|VOLTAGE|DISSIPATION|CROSSOVER)"', source))
    codes -= {"NO_FILE", "NOT_TEXT", "NOT_TOML", "UNKNOWN_TYPE", "OTHER_TYPE", "C_CB"}
    assert len(codes) >= 16
    assert sorted(code for code in codes if f"`{code}`" not in PAGE) == []


def test_every_key_of_the_file_stands_on_its_page():
    for table, field in Stage.model_fields.items():
        assert f"`{table}`" in PAGE
        model = field.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            assert sorted(key for key in model.model_fields if f"`{key}`" not in PAGE) == []


def test_every_mark_stands_on_the_page():
    assert all(f"`{mark}`" in PAGE for mark in OUTCOMES.values())


def test_checks_that_say_the_same_are_told_once():
    def check(about, sentence="s", result="ok"):
        return StageCheck(code="C", about=about, result=result, sentence=sentence, source="x")

    told = told_once([check("NPN A, load"), check("PNP B, load"), check("PNP B, load", "other"), check("R1", "t")])
    assert [t.about for t in told] == ["NPN A and PNP B, load", "PNP B, load", "R1"]
