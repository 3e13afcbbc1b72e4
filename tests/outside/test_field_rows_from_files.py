"""Published readings of 2N3773, written down as single readings in a file and screened by the whole chain.

Source: "Monte um testador de transistores bipolares de potencia - II" (Antenna, Brazil), pages 7 and 8, as collected in
the folder of facts (field_measurements.csv). The gain of about 190 is taken as read at 1.16 A, the current of the same
part's power test (assumption: the article does not state it apart).
"""

from __future__ import annotations

import csv

import pytest

from partscreen.results import PartResult
from partscreen.workflow import Outcome, ScreenOptions, screen_files
from tests.facts import FACTS, needs_facts

pytestmark = needs_facts


def published(quantity: str, words: str) -> float:
    with (FACTS / "field_measurements.csv").open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["type_number"] == "2N3773" and r["quantity"] == quantity]
    (value,) = [float(r["value"]) for r in rows if words in r["conditions"]]
    return value


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    folder = tmp_path_factory.mktemp("field")
    current = published("power_test_current_survived", "RCA hometaxial")
    rows = [
        "lot,part,quantity,value,unit,conditions",
        f'RCA,gain and capacitance,hFE,{published("hFE", "RCA hometaxial"):g},,"IC={current:g} A"',
        f"RCA,gain and capacitance,C_BE,{published('C_BE', 'RCA hometaxial'):g},nF,",
        f"other,large capacitance,C_BE,{published('C_BE', 'MOSPEC'):g},nF,",
    ]
    (folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return screen_files([folder / "readings.csv"], ScreenOptions(type_name="2N3773"), figures=False)


def part(outcome: Outcome, lot: str) -> PartResult:
    (found,) = next(x for x in outcome.screening.lots if x.lot == lot).parts
    return found


def test_figures_are_those_of_the_article() -> None:
    assert published("hFE", "RCA hometaxial") == 190
    assert published("C_BE", "RCA hometaxial") == pytest.approx(0.73)
    assert published("C_BE", "MOSPEC") == pytest.approx(8.0)


def test_gain_far_above_the_maximum_at_eight_amperes_is_no_violation_at_one(outcome: Outcome) -> None:
    found = part(outcome, "RCA")
    assert found.disposition != "reject"
    assert {x.reached for x in found.limits if x.symbol == "hFE" and "IC=8 A" in x.conditions} == {"not_reached"}
    assert not {"LIMIT_BROKEN", "LIMIT_UNCONFIRMED"} & {r.code for r in found.reasons}


@pytest.mark.parametrize("lot", ["RCA", "other"])
def test_capacitance_without_a_reference_rejects_nothing_and_says_so(lot: str, outcome: Outcome) -> None:
    found = part(outcome, lot)
    assert found.status == "judged"
    assert found.disposition != "reject"
    told = next(r for r in found.reasons if r.code == "CAPACITANCE_NO_REFERENCE")
    assert "no reference for this maker or process" in told.sentence


def test_nothing_rejected_something_held(outcome: Outcome) -> None:
    assert outcome.exit_code == 5
