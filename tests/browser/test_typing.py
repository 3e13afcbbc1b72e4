"""Typing readings in with a real keyboard: focus after each line, scans that do not wait, fields in their order."""

from __future__ import annotations

import re

import pytest

from tests.browser.served import served
from tests.browser.tools import WAIT

ASK = "C_BE [nF] @ VEB=0 V\nC_CB [pF] @ VCB=10 V, f=1 MHz\nhFE @ IC=1 A, VCE=5 V"


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """A page of its own: types that other tests brought would change the answers."""
    with served(str(tmp_path_factory.mktemp("typing") / "book.db")) as found:
        yield found


def begin(tab, address: str, lot: str) -> None:
    tab.goto(f"{address}/typing")
    tab.get_by_label(re.compile("Name of the bag")).fill(lot)
    tab.get_by_label(re.compile("Type marked on the parts")).fill("2SC5200")
    tab.get_by_text("Other readings, number of parts").click()
    tab.get_by_label(re.compile("Readings to ask for")).fill(ASK)
    tab.get_by_role("button", name="Begin").click()
    tab.locator("#line").wait_for()


def focus(tab, name: str) -> None:
    """The field of a name gets the focus by itself; a browser sets it a moment after the page stands."""
    tab.locator(f"input[name={name}]:focus").wait_for(timeout=WAIT)


def test_twenty_parts_by_keyboard_alone_and_scans_that_do_not_wait_become_a_result(watched):
    tab = watched.tab
    begin(tab, watched.address, "HAND")
    for n in range(1, 6):
        focus(tab, "line")
        tab.keyboard.type(f"{1.9 + 0.01 * n:.2f} {190 - n} {95 + n % 3}\n")
        tab.get_by_text(f"kept HAND-T{n:04d}").wait_for(timeout=WAIT)
    tab.keyboard.type("".join(f"{1.9 + 0.01 * n:.2f} {190 - n} {90 + n % 7}\n" for n in range(6, 21)))
    tab.get_by_text("kept HAND-T0020").wait_for(timeout=WAIT)
    assert tab.get_by_role("heading", name="In so far: 20 parts").is_visible()
    tab.keyboard.type("1.8")  # the answer comes while a line is being typed, and leaves it alone
    tab.locator(".first-words", has_text="times likelier").wait_for(timeout=WAIT)
    assert tab.locator("#line").input_value() == "1.8"
    tab.locator("#line").fill("188 1.95 97")
    tab.keyboard.type("\n1.91 190 96\n")
    tab.get_by_text("exchanged they fit").wait_for(timeout=WAIT)
    tab.locator("main").get_by_text("1.91 190 96").first.wait_for(timeout=WAIT)  # never sent past a question
    tab.locator("#line").fill("drop")
    tab.keyboard.press("Enter")
    tab.get_by_text("The line is forgotten").wait_for(timeout=WAIT)
    tab.locator("#line").fill("end")
    tab.keyboard.press("Enter")
    tab.get_by_role("heading", name="Which parts to fit").wait_for(timeout=WAIT)
    assert "Lot HAND, 20 parts marked 2SC5200" in tab.inner_text("main")


def test_fields_of_a_part_are_gone_through_by_enter_or_tab(watched):
    tab = watched.tab
    begin(tab, watched.address, "TAB")
    tab.get_by_role("link", name="A field for each reading").click()
    for n, key in ((1, "Enter"), (2, "Tab")):
        for i, figure in enumerate(("1.9", "190", "95")):
            focus(tab, f"cell{i}")
            tab.keyboard.type(figure)
            tab.keyboard.press(key if i < 2 else "Enter")
        if n == 2:
            tab.get_by_text("Was its line typed twice?").wait_for(timeout=WAIT)
        else:
            tab.get_by_text("kept TAB-T0001").wait_for(timeout=WAIT)
