"""Code letters, single plans and the switching scheme against published copies of the open standards.

Source where nothing else is said: CRAN package AQLSchemes, R/AAZ14Single.R and vignettes/AQLSchemes.Rmd, commit
c60f3b34948dec4c8894791a87dacb254a0ef837 (MIL-STD-105E, ANSI/ASQ Z1.4 and ISO 2859-1 share these entries).
"""

import pytest

from partscreen.lots.attribute_plans import LOT_SIZES, code_letter, table_plan
from partscreen.lots.operating_curve import accepted_from_process
from partscreen.lots.switching import scheme_acceptance

LETTERS = {
    "II": "A B C D E F G H J K L M N P Q",
    "I": "A A B C C D E F G H J K L M N",
    "S-4": "A A B C C D E E F G G H J J K",
}
# lot size in the class: AQL 0.65, 1.0, 1.5, 2.5, 4.0 normal; 1.0, 2.5 tightened; n/c, arrows followed
PLANS = {
    (16, 25): "20/0 13/0 8/0 5/0 3/0 20/0 8/0",
    (26, 50): "20/0 13/0 8/0 5/0 13/1 20/0 8/0",
    (51, 90): "20/0 13/0 8/0 20/1 13/1 20/0 32/1",
    (91, 150): "20/0 13/0 32/1 20/1 20/2 20/0 32/1",
    (151, 280): "20/0 50/1 32/1 32/2 32/3 80/1 32/1",
    (281, 500): "80/1 50/1 50/2 50/3 50/5 80/1 50/2",
    (501, 1200): "80/1 80/2 80/3 80/5 80/7 80/1 80/3",
    (1201, 3200): "125/2 125/3 125/5 125/7 125/10 125/2 125/5",
    (3201, 10_000): "200/3 200/5 200/7 200/10 200/14 200/3 200/8",
}
COLUMNS = [(0.65, "normal"), (1.0, "normal"), (1.5, "normal"), (2.5, "normal"), (4.0, "normal")]
COLUMNS += [(1.0, "tightened"), (2.5, "tightened")]


@pytest.mark.parametrize("level", LETTERS)
def test_code_letters_are_those_of_the_standard_at_both_ends_of_every_class(level):
    lower = [2, *(end + 1 for end in LOT_SIZES)]
    upper = [*LOT_SIZES, 10_000_000]
    assert [code_letter(n, level) for n in lower] == LETTERS[level].split()
    assert [code_letter(n, level) for n in upper] == LETTERS[level].split()


@pytest.mark.parametrize("lot", PLANS)
def test_single_plans_are_those_of_the_standard(lot):
    for lot_size in lot:
        for (aql, severity), entry in zip(COLUMNS, PLANS[lot].split(), strict=True):
            plan = table_plan(lot_size, aql, severity=severity)
            n, c = map(int, entry.split("/"))
            # The same source: where the sample is the lot or more, all are tested.
            assert (plan.n, plan.c) == (min(n, lot_size), c)
            assert plan.whole_lot == (n >= lot_size)
            assert plan.refuse_from == c + 1
            assert plan.basis == "copy"


@pytest.mark.parametrize(
    ("lot_size", "aql", "level", "severity"),
    [(50, 1.0, "II", "reduced"), (50, 1.0, "III", "normal"), (50, 1.0, "S-1", "normal"), (50, 0.1, "II", "normal"),
     (50, 1.5, "II", "tightened"), (10, 1.0, "II", "normal"), (40_000, 1.0, "II", "normal")],
)  # fmt: skip
def test_entries_that_were_not_compared_say_so(lot_size, aql, level, severity):
    assert table_plan(lot_size, aql, level=level, severity=severity).basis == "memory"


def test_printed_operating_points_of_200_with_7():
    # The source prints (0.013, 0.975) and (0.064, 0.054). The first does not reproduce: exact binomial is 0.9950.
    assert accepted_from_process(200, 7, 0.013) == pytest.approx(0.9950, abs=5e-5)
    assert abs(accepted_from_process(200, 7, 0.013) - 0.975) > 0.01
    assert accepted_from_process(200, 7, 0.064) == pytest.approx(0.05419, abs=5e-6)


@pytest.mark.parametrize(("share", "printed", "again"), [(0.019296, 0.95, 0.9505), (0.045884, 0.10, 0.0999)])
def test_switching_scheme_accepts_as_printed(share, printed, again):
    normal, tightened = table_plan(5000, 1.5), table_plan(5000, 1.5, severity="tightened")
    assert (normal.n, normal.c, tightened.n, tightened.c) == (200, 7, 200, 5)  # same source
    found = scheme_acceptance(
        float(accepted_from_process(normal.n, normal.c, share)),
        float(accepted_from_process(tightened.n, tightened.c, share)),
    )
    assert found == pytest.approx(printed, abs=1e-3)
    assert found == pytest.approx(again, abs=5e-5)


def test_equivalent_single_plan_of_the_scheme():
    # Source: n 359; with c 11 recomputed 0.95158 and 0.09984.
    assert accepted_from_process(359, 11, 0.019296) == pytest.approx(0.95158, abs=5e-6)
    assert accepted_from_process(359, 11, 0.045884) == pytest.approx(0.09984, abs=5e-6)
