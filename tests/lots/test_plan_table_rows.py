"""The rows of the sampling tables follow the rules the standards build them by, entry by entry.

ISO 2859-1 and MIL-STD-105E: AQLs and sample sizes are preferred numbers (ISO 3), plans lie on diagonals, a reduced plan
reads two sample sizes less. What was read in a published copy is tested in tests/outside/test_sampling_tables.py.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from partscreen.lots.attribute_plans import (
    AQLS,
    LETTERS,
    LEVELS,
    LOT_SIZES,
    SIZES,
    code_letter,
    neighbours,
    step_tighter,
    table_plan,
)

R5 = (1.0, 1.6, 2.5, 4.0, 6.3)  # ISO 3, series R5
SEVERITIES = ("normal", "tightened", "reduced")
LOT_OF = {"A": 5, "B": 12, "C": 20, "D": 40, "E": 80, "F": 120, "G": 200, "H": 400, "J": 1000, "K": 3000, "L": 9000}
LOT_OF |= {"M": 30_000, "N": 100_000, "P": 400_000, "Q": 900_000}  # level II


def test_aqls_are_five_a_decade_from_a_hundredth_to_ten_percent():
    # The standards write 1.5 and 6.5 for the preferred numbers 1.6 and 6.3.
    written = {1.6: 1.5, 6.3: 6.5}
    wanted = [written.get(number, number) * 10.0**decade for decade in (-2, -1, 0) for number in R5]
    assert [*wanted, 10.0] == pytest.approx(AQLS)


def test_sample_sizes_are_preferred_numbers_two_letters_lower_when_reduced():
    # Every second number of R10 from 2 on, rounded to whole parts, halves up: 3.15 is 3, 12.5 is 13.
    wanted = [int(number * 10**decade + 0.5) for decade in range(4) for number in (2.0, 3.15, 5.0, 8.0, 12.5)]
    assert list(SIZES["tightened"]) == wanted[: len(SIZES["tightened"])]
    assert len(SIZES["tightened"]) == len(LETTERS)
    assert list(SIZES["normal"]) == wanted[: len(LETTERS) - 1]
    assert list(SIZES["reduced"]) == [2, 2, *wanted[: len(LETTERS) - 3]]


def test_classes_of_lot_size_end_where_the_standards_say():
    # MIL-STD-105E, table I; the code letters of their ends were compared with a published copy.
    ends = (8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000)
    assert ends == LOT_SIZES
    for level, letters in LEVELS.items():
        assert len(letters) == len(ends) + 1
        for end, letter, following in zip(ends, letters, letters[1:], strict=False):
            assert (code_letter(end, level), code_letter(end + 1, level)) == (letter, following)
            assert LETTERS.index(following) >= LETTERS.index(letter)


def plan_at(letter: str, aql: float, severity: str):
    return table_plan(LOT_OF[letter], aql, severity=severity)


@pytest.mark.parametrize(
    ("severity", "accepts"),
    [
        # MIL-STD-105E, tables II-A to II-C (memory): accept up to, one diagonal after the other.
        ("normal", (1, 2, 3, 5, 7, 10, 14, 21)),
        ("tightened", (1, 2, 3, 5, 8, 12, 18)),
        ("reduced", (0, 1, 1, 2, 3, 5, 7, 10)),
    ],
)
def test_numbers_of_a_row_rise_by_one_diagonal_from_letter_to_letter(severity, accepts):
    first = {"normal": 17, "tightened": 18, "reduced": 17}[severity]  # letter and AQL counted from A and 0.010
    for letter in "CDEFGHJKLMN":
        row = LETTERS.index(letter)
        for place, wanted in enumerate(accepts):
            column = first + place - row
            if not 0 <= column < len(AQLS):
                continue
            plan = plan_at(letter, AQLS[column], severity)
            assert (plan.plan_letter, plan.c) == (letter, wanted)
            assert plan.n == min(SIZES[severity][row], plan.lot_size)


def test_a_reduced_plan_has_a_gap_in_which_the_lot_is_accepted_and_the_next_is_read_as_normal():
    gaps = {}
    for letter in LOT_OF:
        for aql in AQLS:
            plan = plan_at(letter, aql, "reduced")
            gaps.setdefault(plan.c, set()).add(plan.refuse_from - plan.c)
            assert plan.accepts_up_to == plan.refuse_from - 1 >= plan.c
    # None allowed: refused from the first or the second bad part on, as the diagonal is; else two or three more.
    assert gaps[0] == {1, 2}
    assert gaps[1] == {2, 3}
    assert all(gaps[c] == {3} for c in gaps if c > 1)
    assert set(gaps) == {0, 1, 2, 3, 5, 7, 10}
    for severity in ("normal", "tightened"):
        for letter in LOT_OF:
            for aql in AQLS:
                plan = plan_at(letter, aql, severity)
                assert plan.accepts_up_to == plan.c == plan.refuse_from - 1


@pytest.mark.parametrize("severity", SEVERITIES)
def test_the_plan_without_an_allowed_part_halves_in_size_as_the_aql_doubles(severity):
    # Along the diagonal of accept 0: n times AQL stays near 13 x 1.0 %, 20 x 1.0 % when tightened, 5 x 1.0 % reduced.
    wanted = {"normal": 0.13, "tightened": 0.20, "reduced": 0.05}[severity]
    seen = 0
    for aql in AQLS:
        for letter in "CDEFGHJKLMNPQ":
            plan = plan_at(letter, aql, severity)
            if plan.plan_letter == letter and plan.refuse_from == 1:
                seen += 1
                assert plan.n * aql / 100.0 == pytest.approx(wanted, rel=0.12)
    assert seen >= 10


def test_arrows_lead_to_the_nearest_plan_of_the_column_and_off_its_end_to_the_other_side():
    # MIL-STD-105E: use the first plan below or above the arrow, with its own sample size.
    assert [plan_at(x, 1.0, "normal").plan_letter for x in "ABCDEFGHJ"] == list("EEEEEEHHJ")
    assert [plan_at(x, 1.0, "tightened").plan_letter for x in "DEFGHJK"] == list("FFFJJJK")
    assert [plan_at(x, 1.0, "reduced").plan_letter for x in "DEFGHJ"] == list("EEEHHJ")
    for severity in SEVERITIES:
        for letter in LOT_OF:
            for aql in AQLS:
                plan = plan_at(letter, aql, severity)
                n = SIZES[severity][LETTERS.index(plan.plan_letter)]
                assert plan.n == min(n, plan.lot_size)
                assert plan.whole_lot == (n >= plan.lot_size)


def test_a_finer_aql_never_lets_more_through_and_a_larger_lot_never_reads_fewer():
    for severity in SEVERITIES:
        for letter in LOT_OF:
            plans = [plan_at(letter, aql, severity) for aql in AQLS]
            assert all(a.c * b.n <= b.c * a.n or a.n >= b.n for a, b in pairwise(plans))
        for aql in AQLS:
            sizes = [plan_at(letter, aql, severity).n for letter in LOT_OF]
            assert all(a <= b for a, b in pairwise(sizes[2:]))


def test_every_aql_of_the_series_is_found_however_it_is_rounded_and_no_other():
    for i, aql in enumerate(AQLS):
        for written in (aql, aql + 5e-10, aql - 5e-10):
            assert table_plan(500, written).aql == aql
            assert neighbours(written) == (aql,)
        assert step_tighter(aql) == (AQLS[i - 1] if i else None)
        for wrong in (aql + 1.5e-9, aql - 1.5e-9):
            with pytest.raises(ValueError, match="not of the standard's series"):
                table_plan(500, wrong)
            assert len(neighbours(wrong)) == (1 if wrong < AQLS[0] or wrong > AQLS[-1] else 2)


@pytest.mark.parametrize("level", ["I", "II", "S-4", "III", "S-1", "S-2", "S-3"])
def test_only_entries_and_letters_that_were_compared_with_a_copy_say_so(level):
    compared = {
        "normal": {0.65, 1.0, 1.5, 2.5, 4.0}, "tightened": {1.0, 2.5}, "reduced": set(),
    }  # fmt: skip
    for severity in SEVERITIES:
        for lot_size in (2, 10, 20, 40, 100, 400, 1000, 3000, 9000, 30_000, 400_000, 900_000):
            for aql in AQLS:
                plan = table_plan(lot_size, aql, level=level, severity=severity)
                copied = level in ("I", "II", "S-4") and plan.letter in "CDEFGHJKL" and aql in compared[severity]
                assert plan.basis == ("copy" if copied else "memory")
                assert ("AQLSchemes" in plan.source) == copied
                assert ("not read in the standard" in plan.source) == (not copied)
