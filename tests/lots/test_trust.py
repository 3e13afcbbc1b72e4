"""What is said of suppliers: order, words, what would change it."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest

from partscreen.lots.likelihood import Bulk
from partscreen.lots.trust import supplier_trust
from partscreen.lots.trust_records import FieldOutcome, LotRecord
from partscreen.lots.trust_words import percent


def lots(supplier, n, *, bad=0, size=20, kind="2SC5200", start=date(2025, 1, 1), name=""):
    """`n` lots read decisively, the last `bad` of them wholly unfit."""
    out = []
    for i in range(n):
        sign = 12.0 if i >= n - bad else -12.0
        parts = {str(k): sign for k in range(size)}
        out.append(LotRecord(supplier, f"{supplier}{name}{i}", kind, start + timedelta(days=20 * i), parts))
    return out


def told(records, outcomes=(), **more):
    return supplier_trust(records, outcomes, version="0", **more)


@pytest.fixture(scope="module")
def three():
    return told([*lots("Alder", 15), *lots("Birch", 8, bad=4), *lots("Cedar", 1)])


def test_suppliers_come_in_the_order_of_their_shares_and_the_little_known_last(three):
    assert [(s.supplier, s.place) for s in three.suppliers] == [("Alder", 1), ("Birch", 2), ("Cedar", None)]
    shares = [s.share_unfit for s in three.suppliers]
    assert shares[0].high < shares[1].value
    for share in shares:
        assert 0 <= share.low <= share.value <= share.high <= 1


def test_not_enough_known_is_said_plainly(three):
    cedar = three.suppliers[2]
    assert cedar.advice == "not_enough_known"
    assert "Not enough is known" in cedar.sentence
    assert "1 lot, 20 parts" in cedar.sentence


def test_advice_follows_the_interval(three):
    alder, birch, _ = three.suppliers
    assert alder.advice == "screen_as_usual"
    assert birch.advice == "buy_elsewhere"
    assert birch.above_tolerable >= 0.9
    assert alder.above_tolerable <= 0.1


def test_nothing_is_a_mark_a_grade_or_a_score(three):
    text = three.model_dump_json()
    assert not re.search(r"score|grade|rating|\bstars?\b|\bmark\b", text, re.IGNORECASE)
    assert not re.search(r"genuine|fake|counterfeit", text, re.IGNORECASE)
    assert "Private, not for publication" in three.notice


def test_clean_lots_said_to_bring_a_supplier_before_another_do_so():
    base = [*lots("Alder", 9, bad=1), *lots("Birch", 9, bad=2)]
    found = told(base, history=False)
    assert [s.supplier for s in found.suppliers] == ["Alder", "Birch"]
    words = next(w for w in found.suppliers[1].what_would_change_it if "before Alder" in w)
    n = int(re.match(r"(\d+) further clean lot", words)[1])
    last = date(2025, 1, 1) + timedelta(days=160)
    for k, first in ((n + 2, "Birch"), (max(n - 2, 0), "Alder")):
        more = [r for i in range(k) for r in lots("Birch", 1, start=last, name=f"x{i}")]
        again = told([*base, *more], history=False)
        assert again.suppliers[0].supplier == first, (n, k)


def test_one_bad_lot_moves_a_supplier_as_said():
    base = [*lots("Alder", 9), *lots("Birch", 9, bad=1)]
    found = told(base, history=False)
    words = found.suppliers[0].what_would_change_it[-1]
    said = float(re.search(r"about ([\d.]+) %", words)[1]) / 100
    more = lots("Alder", 1, bad=1, start=date(2025, 1, 1) + timedelta(days=160), name="x")
    again = {s.supplier: s for s in told([*base, *more], history=False).suppliers}
    assert again["Alder"].share_unfit.value == pytest.approx(said, rel=0.35)


def test_failures_in_service_raise_the_share_and_the_stage_as_cause_hardly_does():
    base = [*lots("Alder", 6, size=3), *lots("Birch", 6, size=3)]

    def share(cause, n=6):
        met = [FieldOutcome("Alder", f"Alder{i}", "unread", "failed_first_power_up", cause=cause) for i in range(n)]
        return {s.supplier: s.share_unfit.value for s in told(base, met, history=False).suppliers}

    none, stage, unknown = share("part", 0), share("stage"), share(None)
    assert none["Alder"] == pytest.approx(none["Birch"], rel=1e-6)
    assert unknown["Alder"] > 1.5 * unknown["Birch"]
    assert none["Alder"] <= stage["Alder"] < (none["Alder"] + unknown["Alder"]) / 2


def test_old_bad_lots_are_forgotten_in_time():
    old = lots("Alder", 3, bad=3, start=date(2015, 1, 1))
    new = lots("Alder", 10, start=date(2025, 1, 1), name="n")
    (faded,) = told([*old, *new], history=False).suppliers
    (kept,) = told([*old, *new], half_life_days=1e6, history=False).suppliers
    assert faded.share_unfit.value < 0.5 * kept.share_unfit.value
    assert faded.lots == kept.lots == 13
    assert faded.lots_effective < 11


def test_lots_whose_bulk_nothing_vouches_for_do_not_count_as_known():
    unknown = [
        LotRecord(r.supplier, r.lot, r.type, r.when, r.evidence, bulk=Bulk(0.0)) for r in lots("Alder", 12)
    ]  # fmt: skip
    (one,) = told(unknown, history=False).suppliers
    assert one.lots_effective == 0
    assert one.advice == "not_enough_known"


def test_one_supplier_typed_in_two_ways_is_one():
    (one,) = told([*lots("Alder", 2), *lots(" ALDER", 2, name="b")], history=False).suppliers
    assert (one.supplier, one.lots) == ("Alder", 4)


def test_history_ends_at_what_is_known_today(three):
    for one in three.suppliers:
        assert one.history
        assert one.history[-1].lots == one.lots
    dates = [p.date for p in three.suppliers[0].history]
    assert dates == sorted(dates)
    assert three.suppliers[0].history[-1].share_unfit.value == pytest.approx(three.suppliers[0].share_unfit.value)


def test_lots_without_supplier_or_date_are_told_of_and_none_is_lost():
    found = told([LotRecord("", "X1", evidence={"1": -3.0}), LotRecord("Alder", "A1", evidence={"1": -3.0})])
    assert any(n.lot == "X1" and "no supplier" in n.why for n in found.not_counted)
    assert any("without a date" in n.why for n in found.not_counted)
    assert found.as_of is None


def test_nothing_known_is_an_answer():
    empty = told([])
    assert empty.suppliers == []
    assert empty.population.value is None


@pytest.mark.parametrize("bad", [{"half_life_days": -1.0}, {"tolerable": 0.0}, {"tolerable": 1.5}])
def test_settings_that_cannot_be_are_refused(bad):
    with pytest.raises(ValueError, match="expected"):
        told(lots("Alder", 1), **bad)


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0 %"), (0.0004, "under 0.1 %"), (0.034, "3.4 %"), (0.5, "50 %"), (1.0, "100 %")]
)
def test_shares_are_told_with_two_figures_at_most(share, words):
    assert percent(share) == words
