"""Figures as files: the same bytes every time, readable without colour, words that stand apart and within the page."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
import sys
import zipfile
from datetime import date, timedelta
from itertools import combinations

import numpy as np
import pytest
from PIL import Image

from partscreen.errors import UnusableInput
from partscreen.lots.trust import supplier_trust
from partscreen.lots.trust_records import LotRecord
from partscreen.matching.options import MatchOptions
from partscreen.report.figure_files import FORMS, figure_file, figure_forms, laid_out, printable
from partscreen.report.figure_set import NamedPanel, named, part_set, screening_set
from partscreen.report.panels import Label, Panel, linear_axis
from partscreen.report.view import lot_views
from partscreen.results.plan import PlanResult
from partscreen.results.stage import AreaLine, GainCurve, LoadLineFigure, PlaceShare, SharingFigure, StageResult
from partscreen.results.trust import Trust
from partscreen.workflow import PlanOptions, draw_figures, figures_of, make_plan, match_screenings
from tests.matching.bags import bag
from tests.report.invented import screening

PLAIN = Panel("A title", "What it shows.", linear_axis("x [V]", 0, 1), linear_axis("y [A]", 0, 1), ())


@pytest.fixture(scope="module")
def figures() -> list[NamedPanel]:
    """Every figure of the invented lots, of a part of each, and of a plan."""
    result, data = screening()
    found = [(one.name, one.panel) for one in screening_set(result, data)]
    for view in lot_views(result):
        found += [(f"part-{what}", panel) for what, panel in part_set(view.result, view.parts[0], data)]
    plan: PlanResult = make_plan(PlanOptions(lot_size=100, tolerable="10%"))
    return [*named(found), *figures_of(plan), *figures_of(suppliers()), *figures_of(stage()), *matched()]


def suppliers() -> Trust:
    """Two suppliers over a year and a half."""
    days = [date(2024, 3, 1) + timedelta(days=90 * i) for i in range(6)]
    lots = [
        LotRecord(who, f"{who}{i}", "2SC5200", day, {str(k): 9.0 * sign for k in range(12)})
        for who, signs in (("Alder", [-1] * 6), ("Birch & Co", [-1, 1, 1, -1]))
        for i, (sign, day) in enumerate(zip(signs, days, strict=False))
    ]
    return supplier_trust(lots, version="0", history=True)


def stage() -> StageResult:
    """A stage with every figure it can have."""
    line = LoadLineFigure(
        about="NPN 2SC5200, resistive load 8 ohm",
        vce=[50.0, 25.0, 1.0],
        ic=[0.0, 3.0, 6.0],
        limits=[
            AreaLine(name=name, vce=[1.0, 10.0, 100.0], ic=[top, top, top / 30])
            for name, top in (("dc", 15.0), ("100 ms", 15.5), ("10 ms", 30.0))
        ],
        case_temperature=340.0,
    )
    curves = [
        GainCurve(name=name, bias=bias, current=[-1.0, 0.0, 1.0], gain=[0.97, gain, 0.98], load=8.0)
        for name, bias, gain in (("chosen bias", 0.015, 0.969), ("flattest", 0.022, 0.9695))
    ]
    places = [
        PlaceShare(place=f"NPN {i}", part=f"A1-0{i}", resistor=0.22, current=0.06, drop=drop, cold_drop=drop - 4e-4)
        for i, drop in enumerate((0.0132, 0.0176, 0.0135), 1)
    ]
    sharing = SharingFigure(about="NPN 2SC5200", basis="warm", places=places)
    return StageResult(
        version="0", name="stage", npn="2SC5200", pnp="2SA1943", cautions=["Mains kills."], checks=[],
        load_lines=[line], crossover=curves, sharing=[sharing],
    )  # fmt: skip


def matched() -> list[NamedPanel]:
    """The first sets of a match of invented curves."""
    runs = [("bag.json", bag(6, 6))]
    return figures_of(match_screenings(runs, MatchOptions(kind="sets", k=3, best=1)), runs=runs)


@pytest.mark.parametrize("form", FORMS)
def test_the_same_figure_gives_the_same_bytes(form, figures):
    one = figures[0].panel
    first, again = figure_file(one, form), figure_file(one, form)
    assert first == again
    head = {"svg": b"<?xml", "png": b"\x89PNG", "pdf": b"%PDF"}[form]
    assert first.startswith(head)
    assert not re.search(rb"CreationDate|<dc:date>|20\d\d-\d\d-\d\dT", first)


@pytest.mark.parametrize("seed", ["1", "2"])
def test_another_process_draws_the_same_bytes(seed, tmp_path):
    here = {path.name: path.read_bytes() for path in draw_figures(make_plan(PlanOptions(lot_size=100)), tmp_path / "a")}
    code = (
        "from pathlib import Path; from partscreen.workflow import *; "
        f"draw_figures(make_plan(PlanOptions(lot_size=100)), Path({str(tmp_path / 'b')!r}))"
    )
    subprocess.run([sys.executable, "-c", code], check=True, env={**os.environ, "PYTHONHASHSEED": seed})
    assert here == {path.name: path.read_bytes() for path in (tmp_path / "b").iterdir()}


def test_letters_are_embedded_in_the_pdf_and_drawn_in_the_svg(tmp_path, figures):
    drawn = figure_forms(figures[0].panel)
    assert b"<text" not in drawn["svg"]  # glyphs as paths: no font is asked of the reader's machine
    assert b"http" not in re.sub(
        rb'xmlns[:\w]*="[^"]*"|<!DOCTYPE[^>]*>|"http://creativecommons[^"]*"', b"", drawn["svg"].split(b"<defs>")[1]
    )
    if shutil.which("pdffonts") is None:
        pytest.skip("poppler is not installed")
    path = tmp_path / "figure.pdf"
    path.write_bytes(drawn["pdf"])
    listed = subprocess.run(["pdffonts", str(path)], capture_output=True, text=True, check=True).stdout
    rows = listed.splitlines()[2:]
    assert rows
    assert all(re.search(r"Custom\s+yes", row) for row in rows), listed
    told = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, text=True, check=True).stdout
    assert figures[0].panel.title in told


def test_every_axis_has_a_quantity_with_its_unit_and_the_figure_its_conditions(figures):
    for one in figures:
        panel = one.panel
        for axis in (panel.x, panel.y):
            ticks = " ".join(text for _, text in axis.ticks)
            unit = re.search(r"\[[^]]+\]|\((ratio|number)|times likelier", axis.label) or re.search(
                r"\d\s?[mµnp]?[AVFΩ]\b", ticks
            )
            assert unit or re.match(r"hFE|part|place|date|reading|\d+ parts", axis.label), (one.name, axis.label)
        both = panel.x.label + panel.y.label
        assert re.search(r"=|interval|likelier|lot of|\d A|case|at idle|into", both), (one.name, both)


def test_words_of_a_figure_stand_apart_and_within_the_page(figures):
    for one in figures:
        for a, b in combinations(_words(one.panel), 2):
            assert not _touch(a[1], b[1]), f"{one.name}: {a[0]!r} and {b[0]!r} overlap"


def _words(panel: Panel) -> list[tuple[str, tuple[float, float, float, float]]]:
    """Every drawn word with its box [px], all of them within the page."""
    from matplotlib.text import Text

    figure = laid_out(panel)
    figure.canvas.draw()
    wide, high = figure.canvas.get_width_height()
    out = []
    for text in figure.findobj(Text):
        if text.get_text().strip() and text.get_visible():
            x0, y0, x1, y1 = text.get_window_extent().extents
            axis = text.axes is not None and text in [*text.axes.get_xticklabels(), *text.axes.get_yticklabels()]
            if axis and not (x0 > -50 and x1 < wide + 50 and y0 > -50 and y1 < high + 50):
                continue  # a tick beyond the axes, which is not drawn
            assert x0 >= 0, (panel.title, text.get_text())
            assert x1 <= wide + 1, (panel.title, text.get_text(), x1, wide)
            assert y0 >= 0, (panel.title, text.get_text())
            assert y1 <= high + 1, (panel.title, text.get_text())
            out.append((text.get_text(), (x0, y0, x1, y1)))
    return out


def _touch(a: tuple[float, ...], b: tuple[float, ...], slack: float = 2.0) -> bool:
    across, up = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return across > slack and up > slack


def test_a_figure_is_one_ink_on_paper_so_that_grey_loses_nothing(figures):
    for one in (figures[0], figures[2], figures[-1]):
        pixels = np.asarray(Image.open(io.BytesIO(figure_file(one.panel, "png"))).convert("RGB"), dtype=float)
        ink, paper = np.array([27.0, 38.0, 54.0]), np.full(3, 255.0)
        share = ((paper - pixels) @ (paper - ink)) / ((paper - ink) @ (paper - ink))
        off = np.abs(pixels - (paper + share[..., None] * (ink - paper)))
        assert off.max() < 6, one.name  # every pixel lies on the line from paper to ink: a rounding apart


def test_dispositions_are_told_apart_by_shape_and_word(figures):
    for one in figures:
        shapes = [sign.shape for sign in one.panel.key if sign.shape]
        words = [sign.word for sign in one.panel.key]
        assert len(set(words)) == len(words), one.name
        told = [(sign.shape, sign.filled) for sign in one.panel.key if sign.shape]
        assert len(set(told)) == len(shapes), one.name


@pytest.mark.parametrize("name", ["$\\frac{", "a<b>&c", "木村", "T4\u202e", "\N{GRINNING FACE}"])
@pytest.mark.parametrize("form", FORMS)
def test_a_hostile_name_is_drawn_as_text_in_every_form(form, name):
    panel = Panel(name, f"About {name}.", PLAIN.x, PLAIN.y, (Label(0.5, 0.5, name),))
    drawn = figure_file(panel, form)
    assert len(drawn) > 1000
    if form == "svg":
        assert b"<b>" not in drawn
        assert "\u202e".encode() not in drawn


def test_letters_the_font_has_not_are_shown_by_their_number():
    assert printable("a木\u202eb") == "a⟨U+6728⟩⟨U+202E⟩b"
    assert printable("1\N{NO-BREAK SPACE}A, 25 °C, ←Ω") == "1\N{NO-BREAK SPACE}A, 25 °C, ←Ω"


def test_names_of_files_are_plain_differ_and_lose_no_figure():
    told = ["lot-A/../x-gain", "lot-A_.._x-gain", "LOT-a_.._X-GAIN", "lot-木-gain", "....", "x" * 300]
    got = named([(name, PLAIN) for name in told])
    assert len(got) == len(told)
    assert len({one.name.lower() for one in got}) == len(told)
    assert all(re.fullmatch(r"[\w~.-]{1,64}", one.name, re.ASCII) and not one.name.startswith(".") for one in got)


def test_figures_are_written_into_a_folder_or_an_archive_in_the_forms_asked_for(tmp_path):
    plan = make_plan(PlanOptions(lot_size=100, tolerable="10%"))
    names = [path.name for path in draw_figures(plan, tmp_path / "new" / "folder")]
    assert names == ["operating-curve.svg", "operating-curve.png", "operating-curve.pdf"]
    (packed,) = draw_figures(plan, tmp_path / "figures.zip", forms=("png",))
    assert zipfile.ZipFile(packed).namelist() == ["operating-curve.png"]
    again = packed.read_bytes()
    draw_figures(plan, packed, forms=("png",))
    assert packed.read_bytes() == again


def test_nothing_to_draw_is_said_and_no_archive_is_left(tmp_path):
    with pytest.raises(UnusableInput, match="nothing to draw"):
        draw_figures([], tmp_path / "figures.zip")
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_to_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(UnusableInput, match="cannot write"):
        draw_figures(make_plan(PlanOptions(lot_size=100)), tmp_path / "file" / "folder")
