"""What the program stands on: bounds that are tested, versions that are locked, licences that are told."""

from __future__ import annotations

import json
import re
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from benchmarks.keep import KEPT
from benchmarks.versions import FOLDERS, TARGETS, counted
from tests.docs.written_licences import MADE_BY, PAGE, debian, licence, npm, project, taken_along

ROOT = Path(__file__).resolve().parents[2]


def asked() -> dict[str, Requirement]:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    return {canonicalize_name(Requirement(line).name): Requirement(line) for line in told}


def pinned(name: str) -> dict[str, str]:
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    split = [line.split("==") for line in lines if line and not line.startswith("#")]
    return {canonicalize_name(one): version for one, version in split}


def test_oldest_versions_are_the_lower_bounds():
    minimum = pinned("requirements-minimum.lock")
    for name, requirement in asked().items():
        (bound,) = [one for one in requirement.specifier if one.operator == ">="]
        assert Version(minimum[name]) == Version(bound.version), name
    along = {"anyio", "pyparsing"}  # each with its reason in the file
    assert set(minimum) - set(asked()) == along


def test_locked_versions_meet_the_bounds_and_name_every_package_the_program_brings():
    locked = pinned("requirements.lock")
    for name, requirement in asked().items():
        assert requirement.specifier.contains(locked[name]), name
    assert set(taken_along()) <= set(locked)


def rows(heading: str) -> set[str]:
    text = PAGE.read_text(encoding="utf-8").split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    return set(re.findall(r"^(?:\| |- )([\w@/.+-]+)(?: \||$)", text, re.MULTILINE)) - {"package"}


@pytest.mark.skipif(sys.platform != "linux", reason="other systems bring other packages along")
def test_page_of_licences_names_every_package_and_none_that_is_gone():
    assert rows("The program") == set(taken_along()), MADE_BY
    extras = {canonicalize_name(name) for group, names in project().items() if group != "program" for name in names}
    assert rows("Extras and contributors' tools") == extras, MADE_BY
    assert rows("Tools of the browser tests, from npm") == set(npm()), MADE_BY
    assert rows("Programs of the tests, from Debian") == set(debian()), MADE_BY


def test_every_package_the_program_brings_states_a_licence_that_may_be_passed_on():
    """Kinds that ask more than naming (GPL, AGPL, non-commercial) would bind who passes the program on."""
    for name in taken_along():
        told = licence(name)
        assert told not in ("see the files of the package", "not installed where this page was written"), name
        lesser = re.sub(r"(?i)lesser general public licen[sc]e|lgpl", "", told)
        assert not re.search(r"(?i)\bA?GPL|general public|non-?commercial", lesser), (name, told)


def kept(target: str) -> dict[str, Any]:
    return dict(json.loads((KEPT / f"{target}.json").read_text(encoding="utf-8")))


@pytest.mark.parametrize("target", TARGETS)
def test_no_test_failed_with_the_oldest_or_newest_versions(target):
    counts = counted(kept(target)["folders"])
    assert counts["failed"] == 0
    assert counts["passed"] > 3000


def test_every_folder_was_run_with_the_oldest_versions():
    assert tuple(kept("minimum")["folders"]) == FOLDERS, "make minimum"


def test_the_oldest_versions_that_were_run_are_the_lower_bounds():
    minimum = pinned("requirements-minimum.lock")
    assert kept("minimum")["libraries"] == {name: minimum[name] for name in asked()}, "make minimum"


def test_the_newest_versions_that_were_run_are_no_older_than_the_locked_ones():
    locked = pinned("requirements.lock")
    for name, version in kept("newest")["libraries"].items():
        assert Version(version) >= Version(locked[name]), f"{name}: make newest"
