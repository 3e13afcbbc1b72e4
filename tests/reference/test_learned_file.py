"""Learned spreads on disk: what goes out comes back; what cannot be used is told, all of it at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from partscreen.device.parameters import NAMES
from partscreen.errors import UnusableInput
from partscreen.reference.learned import LearnedCentre, learn_spreads
from partscreen.reference.learned_file import learned_text, load_learned, spreads_of
from partscreen.reference.learned_population import LearnedPopulations
from partscreen.reference.library import Library
from partscreen.reference.population import population_for
from partscreen.reference.population_spreads import LearnedReading, load_spreads
from tests.reference.learned_world import draw_lots, spreads_with

TYPE = Library.load().type("2SC5200")
DEFAULT = load_spreads()


def learned():
    made = learn_spreads(draw_lots(np.random.default_rng(1), spreads_with(1.3, 1.2), 4, 4, 12), DEFAULT)
    usual = population_for(TYPE)
    figure = DEFAULT.readings["hFE"]
    error = LearnedReading(
        **{**figure.model_dump(), "shape": 0.002, "at_rated": 0.1, "basis": "learned from 30 parts", "up_to": 0.1}
    )
    centre = LearnedCentre(usual.centre + 0.01, usual.centre_covariance * 0.1, 3, 24)
    return type(made)(
        made.within, made.between, made.lots, made.parts, made.types, {TYPE.name: {"hFE": error}}, {TYPE.name: centre}
    )


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    path = tmp_path_factory.mktemp("spreads") / "learned.toml"
    path.write_text(learned_text(learned()), encoding="utf-8")
    return path


def test_what_is_written_is_read_again_to_the_last_digit(file):
    back, direct = load_learned(file), spreads_of(learned())
    assert back.spreads == direct.spreads
    assert back.area_within == direct.area_within
    assert back.type_readings == direct.type_readings
    assert back.type_centres == direct.type_centres
    assert back.limits == DEFAULT.limits  # what was not learned is the packaged


def test_every_learned_figure_says_so_with_lots_parts_and_interval(file):
    told = load_learned(file)
    bf = told.spreads["bf"]
    assert bf.basis.startswith("learned")
    assert 10 < bf.lots <= 16
    assert bf.parts == 12 * bf.lots
    assert bf.interval_within[0] < bf.within < bf.interval_within[1]
    assert told.spreads["irb"].basis.startswith("assumption")  # not seen: the packaged figure stands


def test_a_population_follows_the_learned_spreads_error_and_centre(file):
    told = load_learned(file)
    usual, made = population_for(TYPE), LearnedPopulations(told)(TYPE)
    assert np.allclose(made.centre, usual.centre + 0.01)
    assert np.allclose(made.centre_covariance, usual.centre_covariance * 0.1)
    assert made.spreads is told
    assert not np.allclose(made.within, usual.within)
    near, far = told.misfit_std("hFE", [100.0, 100.0], [0.05, 0.5], TYPE.name)
    assert near < 0.005
    assert far == pytest.approx(float(DEFAULT.readings["hFE"].misfit_std(100.0, 0.5)))  # beyond what was read
    other = told.misfit_std("hFE", 100.0, 0.05, "2SA1943")
    assert other == pytest.approx(float(DEFAULT.readings["hFE"].misfit_std(100.0, 0.05)))


def test_a_centre_learned_without_gain_group_is_not_that_of_a_group(file):
    made = population_for(TYPE, gain_group="O", spreads=load_learned(file))
    assert not np.allclose(made.centre, population_for(TYPE).centre + 0.01)


def test_the_packaged_file_itself_is_taken_as_well():
    from partscreen.reference.library import packaged_directory

    assert load_learned(packaged_directory() / "spreads.toml") == DEFAULT


@pytest.mark.parametrize(
    ("change", "word"),
    [
        (lambda t: t.replace("partscreen.spreads/1", "partscreen.spreads/9"), "format"),
        (lambda t: "this is no file of figures", "cannot be read"),
        (lambda t: t.replace("area_within = ", "area_within = -"), "area_within"),
        (lambda t: t.replace(f'"{NAMES[0]}", ', "", 1), "type_centres"),
        (lambda t: t.replace("edition = ", "edition_of = "), "edition"),
    ],
)
def test_a_file_that_cannot_be_used_is_told_with_where_and_how_to_put_it_right(file, tmp_path, change, word):
    path = tmp_path / "broken.toml"
    path.write_text(change(file.read_text(encoding="utf-8")), encoding="utf-8")
    with pytest.raises(UnusableInput) as caught:
        load_learned(path)
    assert "broken.toml" in str(caught.value)
    assert word in str(caught.value)
    assert "->" in str(caught.value)


def test_a_missing_file_is_told():
    with pytest.raises(UnusableInput, match="cannot be read"):
        load_learned(Path("nowhere.toml"))


def test_a_covariance_that_is_none_is_refused(file, tmp_path):
    path = tmp_path / "broken.toml"
    text = file.read_text(encoding="utf-8")
    start = text.index("covariance = [[") + len("covariance = [[")
    path.write_text(text[:start] + "-" + text[start:], encoding="utf-8")
    with pytest.raises(UnusableInput, match="positive definite"):
        load_learned(path)
