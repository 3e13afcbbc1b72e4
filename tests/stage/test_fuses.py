"""Fuses: found against specified, currents against ratings."""

from __future__ import annotations

import pytest

from partscreen.stage.fuses import check_fuses
from tests.stage.stages import stage


def fuse(**keys):
    entry = {"place": "positive rail", "carries": "rail", "found": "T 5 A", "specified": "T 5 A"} | keys
    return stage(fuses=[{key: value for key, value in entry.items() if value is not None}])


@pytest.mark.parametrize(
    ("found", "specified", "result", "words"),
    [
        ("T 5 A", "T 5 A", "ok", "as specified"),
        ("T 8 A", "T 5 A", "not_ok", "above the specified rating"),
        ("T 5 A", "F 5 A", "not_ok", "slower than specified"),
        ("T 3.15 A", "T 5 A", "marginal", "weaker or faster"),
        ("F 5 A", "T 5 A", "marginal", "weaker or faster"),
        ("5 A", "T 5 A", "not_known", "time class"),
    ],
)
def test_fuse_found_against_fuse_specified(found, specified, result, words):
    """A fuse above its specified rating is reported (fact of the trade; common practice, no source)."""
    rating, _ = check_fuses(fuse(found=found, specified=specified))
    assert rating.result == result
    assert words in rating.sentence


def test_fuse_without_a_specification_is_not_known():
    rating, _ = check_fuses(fuse(specified=None))
    assert rating.result == "not_known"


def test_rail_fuse_carries_half_waves():
    """Derived: rms of half-waves is half the peak; 38 V in 8 ohm: 4.75 A peak, 2.375 A rms."""
    _, current = check_fuses(fuse())
    assert current.figures["peak"] == pytest.approx(4.75)
    assert current.value == pytest.approx(2.375)
    assert current.result == "ok"


def test_loudspeaker_fuse_carries_the_whole_sine():
    _, current = check_fuses(fuse(carries="loudspeaker", place="loudspeaker"))
    assert current.value == pytest.approx(4.75 / 2**0.5)


@pytest.mark.parametrize(
    ("printed", "result"), [("T 5 A", "ok"), ("T 3 A", "marginal"), ("F 1.6 A", "not_ok"), ("T 2 A", "not_ok")]
)
def test_fuse_current_against_its_rating(printed, result):
    _, current = check_fuses(fuse(found=printed, specified=printed))
    assert current.result == result


def test_fast_fuse_may_open_on_a_bass_peak_where_a_slow_one_holds():
    one = {"carries": "loudspeaker"}
    low = fuse(found="T 4 A", specified="T 4 A", **one)
    assert check_fuses(low)[1].result == "marginal"  # above three quarters
    pair = [
        check_fuses(
            stage(
                rails={"loaded": "64 V", "unloaded": "65 V"}, fuses=[{"place": "p", "carries": "rail", "found": print_}]
            )
        )[1]
        for print_ in ("F 5.6 A", "T 5.6 A")
    ]
    assert [c.result for c in pair] == ["ok", "ok"]
    peaky = stage(
        rails={"loaded": "70 V", "unloaded": "70 V"}, fuses=[{"place": "p", "carries": "rail", "found": "F 4.5 A"}]
    )
    assert check_fuses(peaky)[1].result == "marginal"


def test_mains_fuse_is_not_worked_out():
    _, current = check_fuses(fuse(carries="mains", place="mains"))
    assert current.result == "not_known"
    assert "inrush" in current.sentence


def test_no_fuses_in_the_file_is_not_known():
    (found,) = check_fuses(stage(fuses=None))
    assert found.result == "not_known"


def test_the_specified_rating_counts_for_the_current_not_the_one_found():
    _, current = check_fuses(fuse(found="T 10 A", specified="T 2 A"))
    assert current.limit == 2.0
    assert current.result == "not_ok"
