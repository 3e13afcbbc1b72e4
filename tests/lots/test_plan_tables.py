"""The tables hang together and the switching rules walk as they say."""

import pytest

from partscreen.lots.attribute_plans import AQLS, LEVELS, LOT_SIZES, neighbours, step_tighter, table_plan
from partscreen.lots.operating_curve import accepted_from_process
from partscreen.lots.switching import PastLot, Switcher, walk_lots

SIZES = [2, *LOT_SIZES, 600_000]


def walk(found, aql=1.0, lot_size=1000, **options):
    return walk_lots([PastLot(lot_size, k) for k in found], aql, **options)


@pytest.mark.parametrize("severity", ["normal", "tightened", "reduced"])
def test_every_place_of_the_tables_leads_to_a_plan(severity):
    for level in LEVELS:
        for lot_size in SIZES:
            for aql in AQLS:
                plan = table_plan(lot_size, aql, level=level, severity=severity)
                assert 1 <= plan.n <= lot_size
                assert plan.refuse_from > plan.c >= 0
                assert plan.refuse_from == plan.c + 1 or severity == "reduced"


def test_tightened_accepts_less_and_reduced_reads_less():
    for lot_size in SIZES[3:]:
        for aql in AQLS[6:]:
            normal, tight, less = (table_plan(lot_size, aql, severity=s) for s in ("normal", "tightened", "reduced"))
            share = aql / 100
            assert accepted_from_process(tight.n, tight.c, share) <= accepted_from_process(normal.n, normal.c, share)
            assert less.n <= normal.n


def test_lots_at_the_aql_are_mostly_accepted():
    # The meaning of the AQL: normal plans of the standard accept such lots with about 88 to 99 %.
    for lot_size in (50, 500, 5000, 50_000):
        for aql in (0.65, 1.0, 1.5, 2.5, 4.0):
            plan = table_plan(lot_size, aql)
            if not plan.whole_lot:
                assert accepted_from_process(plan.n, plan.c, aql / 100) > 0.87


def test_aql_outside_the_series_names_its_neighbours():
    assert neighbours(1.2) == (1.0, 1.5)
    assert neighbours(0.001) == (0.01,)
    assert neighbours(30.0) == (10.0,)
    with pytest.raises(ValueError, match=r"1\.2 is not of the standard's series; next to it: 1, 1\.5"):
        table_plan(50, 1.2)
    assert step_tighter(1.0) == 0.65
    assert step_tighter(AQLS[0]) is None


def test_two_refused_of_five_tighten():
    assert walk([0, 3, 0, 0, 0, 0, 3, 0]).state == "normal"  # never within five in a row
    assert walk([0, 3, 0, 0, 0, 3]).state == "tightened"
    assert [s.next_state for s in walk([3, 3]).steps] == ["normal", "tightened"]


def test_five_accepted_in_a_row_bring_back_normal():
    # Tightened plan of a lot of 1000 at AQL 1.0: 80 with 1.
    assert walk([3, 3, 1, 1, 1, 1]).state == "tightened"
    history = walk([3, 3, 1, 1, 1, 1, 1])
    assert history.state == "normal"
    assert history.steps[2].plan.severity == "tightened"
    assert walk([3, 3, 1, 1, 2, 1, 1, 1, 1]).state == "tightened"


def test_refused_lots_before_a_change_do_not_count_after_it():
    assert walk([3, 3, 0, 0, 0, 0, 0, 3]).state == "normal"


def test_five_refused_while_tightened_stop_the_supply():
    assert walk([3, 3, 2, 2, 0, 2, 2]).state == "tightened"
    assert walk([3, 3, 2, 2, 0, 2, 2, 2]).state == "stopped"
    with pytest.raises(ValueError, match="no lot is inspected"):
        walk([3, 3, 2, 2, 2, 2, 2, 0])


def test_steady_good_lots_lead_to_reduced_and_the_first_doubt_back():
    # Plan 80 with 2: +3 a lot that would pass AQL 0.65 (80 with 1).
    assert walk([0] * 9).state == "normal"
    assert walk([0] * 10).state == "reduced"
    assert walk([0] * 10, reduced=False).state == "normal"
    assert walk([1] * 10).state == "reduced"
    assert walk([2] + [0] * 9).state == "normal"  # accepted, but not at the finer AQL: the score begins anew
    plan = table_plan(1000, 1.0, severity="reduced")
    assert (plan.n, plan.c, plan.refuse_from) == (32, 1, 3)
    in_gap = walk([0] * 10 + [2])
    assert in_gap.steps[-1].accepted
    assert in_gap.state == "normal"
    refused = walk([0] * 10 + [3])
    assert not refused.steps[-1].accepted
    assert refused.state == "normal"


def test_rules_that_were_not_compared_say_so():
    steps = walk([0] * 10 + [2] + [3, 3]).steps
    assert steps[9].basis == "memory"
    assert steps[10].basis == "memory"
    assert steps[-1].basis == "copy"
    assert steps[-1].next_state == "tightened"


def test_more_bad_parts_than_the_sample_are_refused_as_input():
    with pytest.raises(ValueError, match="81 bad found, but the plan reads 80 of 1000"):
        Switcher(1.0).take(PastLot(1000, 81))
