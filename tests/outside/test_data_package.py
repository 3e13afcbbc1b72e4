"""The exported Data Package, read by the open validator of its specification (frictionless, frictionlessdata.io)."""

from __future__ import annotations

import json
import shutil
import subprocess

import pytest

from partscreen.workflow import Asked, ScreenOptions, export_book, record_screening, screen_files
from tests.docs.bag import FOLDER

VALIDATOR = shutil.which("frictionless")


@pytest.mark.skipif(VALIDATOR is None, reason="the validator frictionless is not installed")
@pytest.mark.parametrize("without_names", [False, True])
def test_open_validator_finds_every_table_valid(tmp_path, without_names):
    files = [FOLDER / "bag.csv", FOLDER / "capacitance.csv"]
    options = ScreenOptions(lots=FOLDER / "lots.csv")
    place = str(tmp_path / "book.sqlite")
    record_screening(screen_files(files, options, figures=False), files, options, place)
    told = export_book(tmp_path / "out", "package", Asked(), without_names=without_names, where=place)
    ran = subprocess.run(
        [str(VALIDATOR), "validate", "--json", "datapackage.json"],
        cwd=tmp_path / "out",
        capture_output=True,
        text=True,
        check=False,
    )
    found = json.loads(ran.stdout)
    assert found["valid"], found
    assert {task["place"] for task in found["tasks"]} == {
        one.file.rsplit("/", 1)[-1] for one in told.files if one.file.endswith(".csv")
    }
    assert all(task["valid"] for task in found["tasks"])
