"""Stickers: where they lie on the page, what their codes say, and what is told when they do not fit."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from partscreen.errors import UnusableInput
from partscreen.report.papers.grid import DEFAULT_GRID, Grid, check_grid, parse_grid
from partscreen.report.papers.qr import QUIET, qr_svg
from partscreen.report.papers.sticker_pages import Sticker, sticker_pages
from tests.report.papers_read import MM, codes_on, needs_poppler, pages, text_of

TOLERANCE = 0.2  # mm, asked for


def numbered(n):
    return [Sticker(f"A1-T{i:04d}", (f"A1-T{i:04d}", "2SC5200", "Alder")) for i in range(1, n + 1)]


def edges(page, axis):
    """Middles of the long lines across a page, in mm. axis 0: vertical lines, 1: horizontal ones."""
    dark = (page < 200).mean(axis=axis)
    rows = np.flatnonzero(dark > 0.6)
    groups = np.split(rows, np.flatnonzero(np.diff(rows) > 3) + 1)
    return np.array([(group.mean() + 0.5) * MM for group in groups])


def expected(start, size, gap, n):
    """Edges of n stickers in a row; two that coincide are one line."""
    places = [start + i * (size + gap) + end for i in range(n) for end in (0.0, size)]
    return np.array(sorted({round(x, 3) for x in places}))


@needs_poppler
@pytest.mark.parametrize(
    "grid",
    [
        DEFAULT_GRID,
        parse_grid("63.5x38.1 mm, 3x7, margins 15.15/7.25, gaps 2.5/0"),
        parse_grid("50x25 mm; 4x10; margins 14/8; gaps 1,5/1,5; page 215.9x279.4"),
    ],
)
def test_stickers_lie_within_a_fifth_of_a_millimetre_of_the_grid(grid, tmp_path):
    pdf = sticker_pages(numbered(grid.per_page), grid, title="t", outline=True)
    (page,) = pages(pdf, tmp_path)
    assert abs(page.shape[1] * MM - grid.page_width) < TOLERANCE
    assert abs(page.shape[0] * MM - grid.page_height) < TOLERANCE
    across = expected(grid.left, grid.width, grid.gap_x, grid.across)
    down = expected(grid.top, grid.height, grid.gap_y, grid.down)
    np.testing.assert_allclose(edges(page, 0), across, atol=TOLERANCE)
    np.testing.assert_allclose(edges(page, 1), down, atol=TOLERANCE)


@needs_poppler
def test_without_outline_all_ink_stays_inside_its_sticker(tmp_path):
    (page,) = pages(sticker_pages(numbered(65), DEFAULT_GRID, title="t"), tmp_path)
    dark = page < 128
    allowed = np.zeros_like(dark)
    for i in range(65):
        x, y = DEFAULT_GRID.place(i)
        inner = 1.0  # mm inside the edge
        allowed[
            round((y + inner) / MM) : round((y + DEFAULT_GRID.height - inner) / MM),
            round((x + inner) / MM) : round((x + DEFAULT_GRID.width - inner) / MM),
        ] = True
    assert dark.any()
    assert not (dark & ~allowed).any()


@needs_poppler
def test_every_code_reads_back_as_its_part_in_order_over_pages(tmp_path):
    stickers = numbered(70)
    read = [codes_on(page) for page in pages(sticker_pages(stickers, DEFAULT_GRID, title="t"), tmp_path, 300)]
    assert [len(page) for page in read] == [65, 5]
    assert [code for page in read for code in page] == [one.code for one in stickers]


@needs_poppler
def test_a_begun_page_starts_at_its_first_free_place(tmp_path):
    (page,) = pages(sticker_pages(numbered(2), DEFAULT_GRID, title="t", first=7), tmp_path, 300)
    assert codes_on(page) == ["A1-T0001", "A1-T0002"]
    dark = np.argwhere(page < 128) * 25.4 / 300
    x, y = DEFAULT_GRID.place(6)
    assert dark[:, 0].min() >= y
    assert dark[:, 1].min() >= x


@needs_poppler
def test_text_beside_the_code_is_the_stickers(tmp_path):
    text = text_of(sticker_pages(numbered(3), DEFAULT_GRID, title="t"), tmp_path)
    assert text.split().count("2SC5200") == 3
    assert {"A1-T0001", "A1-T0002", "A1-T0003"} <= set(text.split())


@needs_poppler
@pytest.mark.parametrize("name", ["Größe-1", "部品-7", "A1\u202e00", "#strong[x]", "\\u{41}"])
def test_codes_of_odd_names_say_the_name_as_it_is(name, tmp_path):
    (page,) = pages(sticker_pages([Sticker(name, ("x",))], parse_grid("60x40 mm, 2x3"), title="t"), tmp_path, 300)
    assert codes_on(page) == [name]


def test_code_has_a_quiet_zone_of_four_modules():
    svg, modules = qr_svg("A1-T0001")
    assert modules == 21 + 2 * QUIET
    assert f'viewBox="0 0 {modules} {modules}"'.encode() in svg


def test_same_stickers_give_the_same_bytes():
    assert sticker_pages(numbered(3), DEFAULT_GRID, title="t") == sticker_pages(numbered(3), DEFAULT_GRID, title="t")


def test_default_grid_is_read_from_its_own_words():
    assert parse_grid("38.1x21.2 mm, 5x13, margins 10.7/4.7, gaps 2.5/0") == DEFAULT_GRID


def test_grid_without_margins_lies_in_the_middle_of_the_page():
    grid = parse_grid("50x20 mm, 4x14")
    assert (grid.left, grid.top) == (5.0, 8.5)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("38x21 mm, 6x13", "6 columns end 228.0 mm from the edge, the page is 210 mm: the stickers do not fit"),
        ("38x21 mm, 5x14, margins 10/4", "14 rows end 304.0 mm from the edge, the page is 297 mm"),
        ("38x21, 5x13", "given twice; a size has mm behind it"),
        ("38x21 mm", "columns x rows is missing"),
        ("", "the size of a sticker is missing"),
        ("38x21 mm, 38x20 mm, 2x2", "given twice"),
        ("0x0 mm, 2x2", "cannot be"),
        ("3x2 mm, 50x90", "cannot be"),
        ("30x20 mm, 2x2, page 9999x9999", "cannot be"),
        ("1e9x2 mm, 2x2", "is no piece of a grid"),
    ],
)
def test_grid_that_cannot_be_is_told_with_the_way_out(text, told):
    with pytest.raises(UnusableInput) as caught:
        parse_grid(text)
    assert told in str(caught.value)
    assert all(problem.fix for problem in caught.value.problems)


def test_both_directions_that_do_not_fit_are_told_at_once():
    with pytest.raises(UnusableInput) as caught:
        parse_grid("50x50 mm, 9x9, margins 5/5")
    assert len(caught.value.problems) == 2


def test_stickers_too_small_for_code_or_text_are_told():
    with pytest.raises(UnusableInput, match="QR code"):
        sticker_pages(numbered(1), parse_grid("15x9 mm, 4x4"), title="t")
    long = [Sticker("A", ("a very long name of a part that nobody can read",))]
    with pytest.raises(UnusableInput, match=r"letters of \d\.\d pt"):
        sticker_pages(long, DEFAULT_GRID, title="t")
    with pytest.raises(UnusableInput, match="cannot be put into a QR code"):
        sticker_pages([Sticker("x" * 4000, ("x",))], DEFAULT_GRID, title="t")
    with pytest.raises(UnusableInput, match="65 places"):
        sticker_pages(numbered(1), DEFAULT_GRID, title="t", first=66)


def test_sizes_named_by_the_message_do_fit():
    with pytest.raises(UnusableInput) as caught:
        sticker_pages(numbered(1), parse_grid("10x9 mm, 4x4"), title="t")
    words = caught.value.problems[0].fix.replace(",", "").split()
    width, height = float(words[words.index("wide") - 2]), float(words[words.index("high") - 2])
    short = [Sticker("A1-T0001", ("A1",))]
    assert sticker_pages(short, parse_grid(f"{width + 0.05}x{height + 0.05} mm, 2x2"), title="t")


@settings(max_examples=200, deadline=None)
@given(
    width=st.floats(5, 120), height=st.floats(5, 120), across=st.integers(1, 12), down=st.integers(1, 20),
    gap=st.floats(0, 5),
)  # fmt: skip
def test_every_grid_that_is_let_through_lies_on_its_page(width, height, across, down, gap):
    try:
        grid = parse_grid(f"{width:.2f}x{height:.2f} mm, {across}x{down}, gaps {gap:.1f}/{gap:.1f}")
    except UnusableInput:
        return
    for i in (0, grid.per_page - 1):
        x, y = grid.place(i)
        assert -1e-9 <= x <= grid.page_width - grid.width + 0.051
        assert -1e-9 <= y <= grid.page_height - grid.height + 0.051


@given(st.text(max_size=60))
def test_any_text_as_grid_is_read_or_told(text):
    try:
        found = parse_grid(text)
    except UnusableInput:
        return
    assert isinstance(found, Grid)


def test_a_grid_made_in_code_is_checked_too():
    with pytest.raises(UnusableInput, match="do not fit"):
        check_grid(Grid(100.0, 20.0, 3, 3, 5.0, 5.0))
