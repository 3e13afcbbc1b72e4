"""One lot in every form that is read gives the same screening, figure by figure."""

import pytest

from partscreen.workflow import ScreenOptions, screen_files
from tests.readings import one_lot

LOT = "A1 type=2SC5200 supplier=Birch files="
NAMES_OF_FILES = {"session", "file", "files", "row"}


def judged(files):
    named = "T0001-T0008" if len(files) > 1 else "bag.*"
    outcome = screen_files(files, ScreenOptions(lot_texts=(LOT + named,)))
    assert outcome.batch is not None
    assert outcome.batch.problems == (), outcome.batch.problems
    return outcome


def plain(value):
    """A result without what names files, rows and sessions, floats to nine digits."""
    if isinstance(value, dict):
        return {key: plain(one) for key, one in value.items() if key not in NAMES_OF_FILES}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    return float(f"{value:.9g}") if isinstance(value, float) else value


@pytest.fixture(scope="module")
def from_csv(tmp_path_factory):
    outcome = judged(one_lot.write_csv(tmp_path_factory.mktemp("csv")))
    (lot,) = outcome.screening.lots
    assert lot.lot == "A1"
    assert [part.part for part in lot.parts] == list(one_lot.NAMES)
    assert all(part.status == "judged" for part in lot.parts)
    assert all(part.area_ratio is not None for part in lot.parts)
    return outcome


@pytest.mark.parametrize("form", one_lot.FORMS)
def test_every_form_of_a_lot_is_judged_alike(tmp_path, form, from_csv):
    outcome = judged(one_lot.FORMS[form](tmp_path))
    assert outcome.exit_code == from_csv.exit_code
    assert plain([lot.model_dump() for lot in outcome.screening.lots]) == plain(
        [lot.model_dump() for lot in from_csv.screening.lots]
    )
