"""From results of `screen` to a match: what is said, what stays over, what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from partscreen.errors import UnusableInput
from partscreen.matching.match import match_stock
from partscreen.matching.options import MatchOptions
from partscreen.matching.words import matching_lines, place_list
from partscreen.results.matching import Matching
from tests.matching.bags import COMPLEMENT, NPN, PNP, bag, curves, lot, part, screening, stock_of


def matched(*runs, held=False, lots=(), **options):
    return match_stock(stock_of(*runs, held=held, lots=lots), MatchOptions(**options), COMPLEMENT.get, version="0")


def codes(found):
    return [reason.code for reason in found.reasons]


def problems(call):
    with pytest.raises(UnusableInput) as caught:
        call()
    return caught.value.problems


def test_pairs_are_one_npn_and_one_pnp_and_every_part_is_accounted_for():
    found = matched(bag(9, 7))
    assert len(found.sets) == 7
    assert all([p.position for p in s.places] == ["N1", "P1"] for s in found.sets)
    told = [p.part for s in found.sets for p in s.places] + [u.part for u in found.unmatched]
    assert sorted(told) == sorted(set(told))
    assert len(told) == 16
    assert "UNEQUAL_COUNTS" in codes(found)
    assert found.total == found.bound
    assert found.gap_percent == 0.0


@pytest.mark.parametrize("aim", ["sum", "worst", "count", "worst-then-sum"])
def test_no_aim_is_beaten_at_its_own_game(aim):
    others = {other: matched(bag(12, 12, 5), aim=other) for other in ("sum", "worst", "count", "worst-then-sum")}
    mine = others[aim]
    inside = {name: sum(s.within_tolerance for s in f.sets) for name, f in others.items()}
    if aim == "sum":
        assert all(mine.total <= f.total + 1e-9 for name, f in others.items() if name != "count")
    elif aim == "count":
        assert inside["count"] == max(inside.values())
        assert all(s.within_tolerance for s in mine.sets)
    else:
        assert all(mine.worst <= f.worst + 1e-9 for name, f in others.items() if name != "count")


def test_order_of_files_lots_and_parts_changes_no_total():
    one = bag(8, 8, 3)
    turned = screening(*[item.model_copy(update={"parts": item.parts[::-1]}) for item in one.lots[::-1]])
    for options in ({}, {"kind": "groups", "k": 3}, {"kind": "sets", "k": 2, "best": 2}):
        a, b = (matched(run, **options) for run in (one, turned))
        assert [s.parts for s in a.sets] == [s.parts for s in b.sets]
        assert a.total == b.total


def test_difference_between_the_types_is_taken_off_and_told():
    found = matched(bag(6, 6, spread=(0.05, 0.0)))
    assert found.currents[0].vbe_offset_mv == pytest.approx(-20.0, abs=0.01)
    assert all(s.vbe_difference_mv == pytest.approx(0.0, abs=1e-6) for s in found.sets)
    assert "COMMON_OFFSET" in codes(found)


def test_parts_alike_within_measurement_are_not_ranked():
    same = [part(f"A{i}", hfe=100.0 * (1 + 1e-4 * i)) for i in range(4)]
    far = [part("A8", hfe=120.0), part("A9", hfe=150.0)]
    found = matched(screening(lot("A", NPN, [*same, *far])), kind="groups", k=2)
    alike = [s for s in found.sets if s.alike_within_measurement]
    assert len(alike) == 2
    assert [s.rank for s in found.sets] == [None, None, 1]
    assert any("cannot rank" in line for line in matching_lines(found))


def test_different_sessions_are_told_and_widen_the_uncertainty():
    one, two = (matched(bag(5, 5, sessions=s)) for s in (("day 1", "day 1"), ("day 1", "day 2")))
    assert "SESSIONS_DIFFER" in codes(two)
    assert "SESSIONS_DIFFER" not in codes(one)
    assert two.sets[0].hfe_uncertainty_percent > 3 * one.sets[0].hfe_uncertainty_percent
    assert not any(s.one_session for s in two.sets)
    assert any("*" in line for line in matching_lines(two))


def test_result_without_a_split_of_errors_counts_all_of_them_and_says_so():
    parts = [part(f"A{i}", hfe=100 + i, split=False) for i in range(4)]
    found = matched(screening(lot("A", NPN, parts)), kind="groups", k=2)
    assert "OLD_RESULT" in codes(found)
    assert found.sets[0].hfe_uncertainty_percent == pytest.approx(100 * np.expm1(np.sqrt(2) * np.hypot(0.002, 0.01)))


def test_pointlessness_is_said_first_when_it_holds():
    found = matched(bag(4, 4), per_rail=1, emitter_resistor=0.22)
    assert found.reasons[0].code == "MATCHING_POINTLESS"
    assert matching_lines(found)[0].startswith("Matching is pointless here")


def test_groups_are_of_one_type_and_groups_by_vbe_rank_by_vbe():
    found = matched(bag(8, 9), kind="groups", k=4, by_vbe=True, aim="worst")
    assert len(found.sets) == 4
    assert all(len({p.type for p in s.places}) == 1 for s in found.sets)
    assert found.method.startswith("exact: dynamic programme")
    assert [u.why for u in found.unmatched] == ["left over"]


def test_channel_sets_place_both_rails_and_pair_the_channels():
    found = matched(bag(10, 9, 2), kind="sets", k=2, best=4)
    assert [[p.position for p in s.places] for s in found.sets] == [["N1", "N2", "P1", "P2"]] * 4
    assert sorted(s.amplifier for s in found.sets) == [1, 1, 2, 2]
    rail = found.sets[0].places[:2]
    assert rail[0].vbe_from_mean_mv == pytest.approx(-rail[1].vbe_from_mean_mv)
    rows = place_list(found, {(rail[0].lot, rail[0].part): 4.2})
    assert len(rows) == 16
    assert (rows[0].set_number, rows[0].position, rows[0].expected_mv) == (1, "N1", 4.2)
    assert rows[1].expected_mv is None


def test_working_currents_of_the_stage_are_used_and_what_is_not_covered_is_told():
    found = matched(bag(4, 4), power=400, load=4, signal="sine", idle=0.05)
    assert "RANGE_SHORT" in codes(found)
    assert found.currents[0].ic[-1] <= 8.0
    assert sum(found.currents[0].weight) == pytest.approx(1.0)
    assert problems(lambda: matched(bag(4, 4), power=100))[0].code == "STAGE"


def test_a_part_read_short_stays_over_and_shortens_nothing():
    run = bag(5, 5)
    short = part("A-999", ic=np.geomspace(0.01, 1.0, 8))
    lots = [run.lots[0].model_copy(update={"parts": [*run.lots[0].parts, short]}), run.lots[1]]
    found = matched(screening(*lots))
    assert "its curve goes from 0.01 to 1 A only" in [u.why for u in found.unmatched if u.part == "A-999"]
    assert found.currents[0].ic[-1] > 7.0


def test_held_parts_are_taken_on_request_only_and_rejected_ones_never():
    run = screening(
        lot("A", NPN, [part("A1"), part("A2", disposition="hold"), part("A3", disposition="reject")]),
        lot("B", PNP, [part("B1"), part("B2")]),
    )
    plain, more = matched(run), matched(run, held=True)
    assert (len(plain.sets), len(more.sets)) == (1, 2)
    assert {u.part: u.why for u in plain.unmatched}["A2"] == "held"
    assert {u.part: u.why for u in more.unmatched}["A3"] == "rejected"


def test_further_ways_to_pair_follow_in_order():
    found = matched(bag(5, 5), ways=4)
    totals = [found.total, *(way.total for way in found.other_ways)]
    assert len(totals) == 4
    assert totals == sorted(totals)
    assert all(way.pairs for way in found.other_ways)


def test_fewer_pairs_are_the_best_ones():
    some, every = matched(bag(8, 8), best=3), matched(bag(8, 8))
    assert len(some.sets) == 3
    assert some.total < every.total
    assert sum(u.why == "left over" for u in some.unmatched) == 10


def test_the_result_is_written_and_read_back_with_nothing_lost():
    found = matched(bag(4, 5), kind="sets", k=2, best=2)
    text = found.model_dump_json(by_alias=True)
    assert '"schema":"partscreen.matching/1"' in text
    assert "NaN" not in text
    assert Matching.model_validate_json(text) == found


def test_types_that_are_no_complements_are_paired_only_where_there_is_no_doubt():
    odd = screening(lot("A", NPN, [part("A1"), part("A2")]), lot("B", "MJL21193", [part("B1"), part("B2")]))
    assert "NOT_COMPLEMENTS" in codes(matched(odd))
    mixed = screening(*odd.lots, lot("C", PNP, [part("C1")]))
    found = matched(mixed)
    assert [s.parts for s in found.sets] == [["A1" if "A1" in found.sets[0].parts else "A2", "C1"]]
    assert {u.part for u in found.unmatched if "no complement" in u.why} == {"B1", "B2"}


# --- bad input ---


def test_a_part_in_two_results_is_told_each():
    told = problems(lambda: stock_of(bag(2, 2), bag(2, 2)))
    assert [p.code for p in told] == ["PART_TWICE"] * 4
    assert "A-001" in told[0].what
    assert "run1.json too" in told[0].what


def test_a_brief_result_says_that_it_has_no_curves_and_what_to_do():
    run = bag(2, 2)
    bare = [p.model_copy(update={"curves": None}) for p in run.lots[0].parts]
    (told,) = problems(lambda: stock_of(screening(lot("A", NPN, bare))))
    assert told.code == "NO_CURVES"
    assert "--brief" in told.fix


def test_no_accepted_part_says_what_there_is_and_the_way_out():
    run = screening(lot("A", NPN, [part("A1", disposition="hold"), part("A2", disposition="reject")]))
    (told,) = problems(lambda: stock_of(run))
    assert told.code == "NO_PARTS"
    assert "held (1); rejected (1)" in told.what
    assert "--held" in told.fix


def test_a_part_without_vbe_is_left_over_and_all_of_them_are_refused():
    run = bag(3, 3)
    blind = part("A-777", seen=False)
    mixed = screening(run.lots[0].model_copy(update={"parts": [*run.lots[0].parts, blind]}), run.lots[1])
    assert {u.part: u.why for u in matched(mixed).unmatched}["A-777"] == "VBE was not read"
    (told,) = problems(lambda: stock_of(screening(lot("A", NPN, [part("A1", seen=False)]))))
    assert "VBE was not read (1)" in told.what


def test_one_polarity_alone_makes_no_pairs():
    (told,) = problems(lambda: matched(screening(lot("A", NPN, [part("A1")]))))
    assert told.code == "ONE_POLARITY"
    assert "--groups" in told.fix


def test_a_type_of_unknown_polarity_is_asked_for():
    (told,) = problems(lambda: stock_of(screening(lot("A", "X99", [part("A1")]))))
    assert told.code == "NO_POLARITY"
    assert "--reference" in told.fix


def test_too_few_parts_say_how_many_are_needed():
    (told,) = problems(lambda: matched(bag(3, 9), kind="sets", k=2, best=2))
    assert "2 set(s) of 2 need 4 NPN parts; there are 3" in told.what
    (told,) = problems(lambda: matched(bag(3, 9), best=5))
    assert "5 pairs asked for; 3 can be made" in told.what


def test_every_option_that_cannot_be_is_told_at_once():
    told = problems(lambda: matched(bag(2, 2), tolerance_vbe=0.02, tolerance_hfe=0, aim="most", ways=0))
    assert [p.code for p in told] == ["OPTION"] * 4
    assert any("for 0.02 V give 20" in p.fix for p in told)


def test_a_lot_that_is_in_no_result_is_told_with_those_that_are():
    (told,) = problems(lambda: stock_of(bag(2, 2), lots=["Z"]))
    assert told.code == "NO_SUCH_LOT"
    assert "A, B" in told.fix


def test_channel_sets_of_two_families_at_once_are_refused():
    more = screening(
        *bag(4, 4).lots, lot("C", "MJL21194", [part("C1"), part("C2")]), lot("D", "MJL21193", [part("D1")])
    )
    (told,) = problems(lambda: matched(more, kind="sets", k=1, best=1))
    assert told.code == "SEVERAL_TYPES"
    assert len(matched(more).sets) == 5


def test_curves_with_holes_are_used_where_they_are_known():
    holes = curves()
    hfe = [None if i in (0, 11) else v for i, v in enumerate(holes.hfe)]
    run = bag(3, 3)
    odd = part("A-555", curve=holes.model_copy(update={"hfe": hfe}))
    found = matched(
        screening(run.lots[0].model_copy(update={"parts": [*run.lots[0].parts, odd]}), run.lots[1]), idle=0.1
    )
    assert not any(u.part == "A-555" and "curve" in u.why for u in found.unmatched)
