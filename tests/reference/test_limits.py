"""Limits by edition and gain group: what counts, what is only shown, and why."""

from __future__ import annotations

import pytest

from partscreen.reference import Library, limits

LIBRARY = Library.load()
ALL = [(kind, row) for kind in LIBRARY for row in limits(kind)]


def test_typical_values_are_never_limits():
    for kind in LIBRARY:
        printed = {
            (c.symbol, side) for c in kind.characteristics for side in ("min", "max") if getattr(c, side) is not None
        }
        assert {(r.symbol, r.side) for r in limits(kind)} == printed
        only_typical = [c for c in kind.characteristics if c.min is None and c.max is None]
        assert all(c.limit_refused == "typical value only" for c in only_typical)


def test_every_figure_that_is_no_limit_says_why():
    refused = [row for _, row in ALL if not row.is_limit]
    assert refused
    assert all(row.why_not for row in refused)
    assert not any(row.why_not for _, row in ALL if row.is_limit)


@pytest.mark.parametrize(
    ("symbol", "needs"),
    [
        ("hFE", {"IC", "VCE"}),
        ("VBE", {"IC", "VCE"}),
        ("VCE(sat)", {"IC", "IB"}),
        ("C_CB", {"VCB"}),
        ("C_BE", {"VEB"}),
        ("ICBO", {"VCB"}),
        ("IEBO", {"VEB"}),
        ("V(BR)CEO", {"IC"}),
    ],
)
def test_a_limit_has_the_condition_its_symbol_needs(symbol, needs):
    rows = [row for _, row in ALL if row.symbol == symbol and row.is_limit]
    assert rows
    assert all(needs <= set(row.conditions) for row in rows)


def test_gain_without_vce_is_shown_but_no_limit():
    rows = [r for r in limits(LIBRARY.type("MJE15030")) if r.symbol == "hFE" and "VCE" not in r.conditions]
    assert len(rows) == 2
    assert all("VCE" in r.why_not for r in rows)


def test_gain_group_rows_count_only_for_their_group_and_plain_rows_for_every_group():
    kind = LIBRARY.type("2SC5200")

    def gain(group):
        return {
            (r.side, r.value)
            for r in limits(kind, gain_group=group)
            if r.symbol == "hFE" and r.is_limit and r.conditions["IC"] == 1
        }

    assert gain(None) == {("min", 55), ("max", 160)}
    assert gain("R") == {("min", 55), ("max", 160), ("max", 110)}
    assert gain("O") == {("min", 55), ("max", 160), ("min", 80)}
    shown = [r for r in limits(kind) if r.gain_group == "O"]
    assert shown
    assert all("gain group O only" in r.why_not for r in shown)


def test_limits_of_an_edition_carry_its_own_sources_and_basis():
    kind = LIBRARY.type("MJL3281A")
    assert {r.value for r in limits(kind, "onsemi") if r.symbol == "V(BR)CEO"} == {260}
    assert {r.value for r in limits(kind, "motorola") if r.symbol == "V(BR)CEO"} == {200}
    recalled = [r for r in limits(kind, "onsemi") if r.symbol == "C_CB"]
    assert [r.basis for r in recalled] == ["memory"]
    printed = [r for r in limits(kind, "motorola") if r.symbol == "C_CB"]
    assert [r.basis for r in printed] == ["stored copy"]


def test_recalled_limits_of_the_same_figures_stay_recalled_in_the_makers_edition():
    kind = LIBRARY.type("2SC5200")
    assert {r.basis for r in limits(kind, "toshiba")} == {"memory"}
    assert {r.basis for r in limits(kind, "fairchild")} == {"stored copy"}


def test_an_edition_that_is_not_there_is_named_with_those_that_are():
    with pytest.raises(KeyError, match="it has motorola, onsemi"):
        limits(LIBRARY.type("MJL21194"), "sanyo")


def test_limits_without_edition_are_those_of_all_editions_together():
    for kind in LIBRARY:
        whole = {(r.symbol, r.side, r.value, tuple(sorted(r.conditions.items())), r.temperature) for r in limits(kind)}
        each = {
            (r.symbol, r.side, r.value, tuple(sorted(r.conditions.items())), r.temperature)
            for e in kind.sheet_editions
            for r in limits(kind, e.id)
        }
        assert whole == each, kind.name


def test_doubt_and_memory_reach_the_limit():
    assert sum(row.basis == "memory" for _, row in ALL) > 200
    doubted = {(kind.name, row.symbol) for kind, row in ALL if row.doubt}
    assert ("MJE243", "hFE") in doubted
    assert len(doubted) >= 5


def test_temperatures_are_kelvin_and_say_of_what():
    assert all(200.0 < row.temperature < 500.0 for _, row in ALL)
    assert {row.temperature_of for _, row in ALL} == {"case", "junction", "ambient"}
    hot = [r for r in limits(LIBRARY.type("BD140")) if r.symbol == "ICBO" and r.temperature == pytest.approx(398.15)]
    assert hot


def test_small_signal_gain_is_not_taken_for_dc_gain():
    small = [row for _, row in ALL if row.symbol == "|hfe|"]
    assert small
    assert all(row.quantity is None for row in small)
    assert all(row.quantity == "hfe" for _, row in ALL if row.symbol == "hFE")


def test_noise_figure_is_in_decibels_and_limits_no_emission_coefficient():
    rows = [row for _, row in ALL if row.symbol == "NF"]
    assert [(r.unit, r.quantity) for r in rows] == [("dB", None)]
