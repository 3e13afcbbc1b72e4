"""Pages that come of forms: each visit fills one in as a person would and says which addresses it came to."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from pathlib import Path

from tests.browser.crawl import UNFOLD, Crawl
from tests.browser.steps import arrive, bring
from tests.docs.bag import FOLDER

BAG = FOLDER / "bag.csv"
KIT_EXAMPLE = FOLDER.parent / "kit_two_wire_5a.toml"
TYPE_EXAMPLE = FOLDER.parent / "own_type.toml"


def path_of(crawl: Crawl) -> str:
    """Where the tab is, without the address of the page."""
    return str(crawl.seen.tab.url).removeprefix(crawl.seen.address)


def press(crawl: Crawl, button: str, heading: str) -> str:
    """Send a form by its button, wait for the page of this heading and look at it; its path."""
    tab = crawl.seen.tab
    tab.evaluate(UNFOLD)
    tab.get_by_role("button", name=button, exact=True).first.click()
    arrive(tab, heading)
    crawl.shown()
    return path_of(crawl)


def wrong_kind(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """A file that is not read here: the page of problems."""
    tab = crawl.seen.tab
    tab.goto(crawl.seen.address)
    tab.set_input_files("#files", [{"name": "song.mp3", "mimeType": "audio/mpeg", "buffer": b"la"}])
    crawl.told("problems", tab.get_by_role("button", name="Read the files").click)
    return ()


def stopped_work(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """Work seen while it goes on, and stopped."""
    tab = crawl.seen.tab
    files = [demo / name for name in ("A1.csv", "B2.csv", "C1.txt", "C2.csv", "A2.csv")]
    bring(tab, crawl.seen.address, files, lots=demo / "lots.csv", kit=demo / "kit.toml")
    tab.get_by_role("button", name="Judge the parts").click()
    stop = tab.get_by_role("button", name="Stop the work")
    stop.wait_for()
    crawl.told("stopped", stop.click)
    assert "stopped" in tab.inner_text("h1")
    return ()


def work_goes_on(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """The page of work that has not ended; it is told so until it was looked at, however quick the work is."""
    tab = crawl.seen.tab
    bring(tab, crawl.seen.address, [demo / "A1.csv"], lots=demo / "lots.csv", kit=demo / "kit.toml")
    with_progress = "**/progress"
    tab.route(with_progress, lambda route: route.fulfill(json={"ended": False, "what": "", "done": 0, "total": 0}))
    tab.get_by_role("button", name="Judge the parts").click()
    tab.get_by_role("button", name="Stop the work").wait_for()
    crawl.keep("working", tab.content())
    crawl.look("working")
    tab.unroute(with_progress)
    return ()


def columns_by_hand(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """A bag of which the type is not told, and its columns put right by hand."""
    tab = crawl.seen.tab
    bring(tab, crawl.seen.address, [BAG])
    path = path_of(crawl)
    tab.get_by_role("link", name="Put the columns right by hand").click()
    tab.get_by_role("button", name="Read the files with this map").click()
    tab.get_by_role("link", name="keep it for the next files").wait_for()
    return (path, f"{path}/columns.toml", f"{path}/progress")


def report(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """The report of the demo, drawn."""
    crawl.seen.tab.goto(f"{crawl.seen.address}{tray}/report")
    arrive(crawl.seen.tab, "The report is ready")
    return (f"{tray}/report", f"{tray}/report.html")


def parts_of_each_kind(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """One part of each disposition and status in the result."""
    result = crawl.seen.context.request.get(f"{crawl.seen.address}{tray}/result.json").json()
    found: dict[tuple[str, str], str] = {}
    for i, lot in enumerate(result["lots"], 1):
        for k, part in enumerate(lot["parts"], 1):
            found.setdefault((part["disposition"], part["status"]), f"{tray}/lot/{i}/part/{k}")
    assert len(found) >= 5  # accepted, held, rejected, open, reversed
    return found.values()


def stage(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """The checks of an output stage, from its file."""
    tab = crawl.seen.tab
    tab.goto(f"{crawl.seen.address}/stage")
    tab.get_by_text("I have a file of the stage").click()
    tab.set_input_files("#stage", str(demo / "stage.toml"))
    tab.get_by_role("button", name="Check the stage").click()
    tab.get_by_role("heading", name="The checks").wait_for()
    assert tab.locator("figure svg").count() >= 2
    return (path_of(crawl),)


def typing(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """A lot typed in: a line kept, a line asked about; and a bag chosen from a lot sheet."""
    tab = crawl.seen.tab
    tab.goto(f"{crawl.seen.address}/typing")
    tab.locator("main [name=lot]").first.fill("H1")
    tab.locator("main [name=type]").first.fill("2SC5200")
    tab.evaluate(UNFOLD)
    tab.locator("main [name=ask]").fill("C_BE [nF] @ VEB=0 V\nC_CB [pF] @ VCB=10 V, f=1 MHz")
    path = press(crawl, "Begin", "Lot H1, marked 2SC5200")
    tab.get_by_label("H1-T0001").fill("1.9 190")
    tab.get_by_role("button", name="Keep").click()
    tab.get_by_label("H1-T0002").fill("1900 190")
    tab.get_by_role("button", name="Keep").click()
    tab.get_by_role("button", name="Forget the line").wait_for()
    crawl.shown()
    tab.goto(f"{crawl.seen.address}/typing")
    tab.set_input_files("#sheet", str(demo / "lots.csv"))
    crawl.told("lot sheet", tab.get_by_role("button", name="Choose the bag").click)
    return (path, f"{path}?form=fields", f"{path}/answer")


def own_files(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """Instruments and types brought as files, and the first question of a new one of each."""
    tab = crawl.seen.tab
    reached = []
    for where, example in (("/kits", KIT_EXAMPLE), ("/own-types", TYPE_EXAMPLE)):
        tab.goto(crawl.seen.address + where)
        tab.set_input_files("#file", str(example))
        tab.get_by_role("button", name="Bring it").click()
        tab.wait_for_url(re.compile(where + "/"))
        reached.append(path_of(crawl))
        tab.goto(crawl.seen.address + where)
        tab.locator("#title").fill("bench two" if where == "/kits" else "MJ15003")
        tab.get_by_role("button", name="Begin the questions").click()
        tab.wait_for_url(re.compile("/ask$"))
        reached += [path_of(crawl), where]
    return reached


def papers(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """A table of the result as a paper, an empty sheet, and figures to take along."""
    tab = crawl.seen.tab
    tab.goto(f"{crawl.seen.address}/papers/{tray.rpartition('/')[2]}")
    table = press(crawl, "Make the table", "ready")
    tab.goto(f"{crawl.seen.address}/sheet")
    tab.locator("main [name=type]").first.fill("2SC5200")
    tab.locator("main [name=lot]").first.fill("S1")
    tab.locator("main [name=count]").first.fill("4")
    sheet = press(crawl, "Make sheet and stickers", "ready")
    tab.goto(f"{crawl.seen.address}/suppliers/figures")
    arrive(tab, "ready")
    crawl.shown()
    return (table, sheet, f"/errand/{table.rpartition('/')[2]}/progress")


def matching(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """Parts of the demo's result that go together."""
    tab = crawl.seen.tab
    crawl.open(f"{crawl.seen.address}{tray}/match")
    tab.get_by_role("button", name="Match", exact=True).click()
    tab.get_by_role("heading", name="The pairs").wait_for()
    return (path_of(crawl),)


def plan_of_a_table(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """A sampling plan from the published table, which is asked by post."""
    tab = crawl.seen.tab
    tab.goto(f"{crawl.seen.address}/plan")
    tab.evaluate(UNFOLD)
    form = tab.locator("form", has=tab.get_by_role("button", name="Which plan?"))
    form.locator("[name=lot_size]").fill("200")
    form.get_by_role("button", name="Which plan?").click()
    tab.wait_for_url(re.compile("/plan/"))
    tab.locator("main:not(:has([data-progress]))").wait_for()
    return (path_of(crawl),)


def book(crawl: Crawl, demo: Path, tray: str) -> Iterable[str]:
    """Something seen is written into the bench book, and the book is looked over."""
    tab = crawl.seen.tab
    tab.goto(f"{crawl.seen.address}/book/do/observe?part=A1-02&lot=A1&supplier=Alder")
    tab.locator("textarea").first.fill("a chip at the edge of the case")
    tab.locator("main form[method=post] button.first").click()
    arrive(tab, "written")
    written = path_of(crawl)
    tab.goto(f"{crawl.seen.address}/book/keep")
    tab.get_by_role("button", name="Look", exact=True).click()
    tab.wait_for_url(lambda url: not url.endswith(("/book/keep", "/verify")))
    tab.locator("main:not(:has([data-progress]))").wait_for()
    return (written, path_of(crawl), "/book/entry/1")


VISITS: tuple[Callable[[Crawl, Path, str], Iterable[str]], ...] = (
    wrong_kind, stopped_work, work_goes_on, columns_by_hand, report, parts_of_each_kind, stage, typing, own_files,
    papers, matching, plan_of_a_table, book,
)  # fmt: skip
