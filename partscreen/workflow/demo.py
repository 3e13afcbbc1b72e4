"""The whole job on the invented scenario: from the bags to the power-up cards."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.workflow.judge.screening import screen_files
from partscreen.workflow.judge.writing import write_outcome
from partscreen.workflow.options import Outcome, Progress, ScreenOptions

if TYPE_CHECKING:
    from partscreen.matching.options import MatchOptions
    from partscreen.results import Screening
    from partscreen.simulate.scenario import DemoFiles
    from partscreen.stage.model import Stage

SETS = 2
"""Two output stages in bridge are one channel."""
FITTING_FILES = {
    "match.json": "which parts go together",
    "pairs.pdf": "the same on paper, with places and expected readings",
    "stage.html": "the checks of the output stage, with the first set of parts",
    "card.pdf": "the power-up cards, one for each set",
}
"""What the demo writes beside the report, and what it is."""


def copy_demo(folder: Path) -> DemoFiles:
    """The files of the invented scenario, copied into a folder; where each lies: readings, lots, kit, stage."""
    from partscreen.simulate.scenario import copy_demo_files

    return copy_demo_files(folder)


def run_demo(out: Path, *, progress: Progress | None = None) -> tuple[Outcome, Path]:
    """The whole job on the invented scenario; gives outcome and report.

    In `out`: `files`, the report, result and table of the screening, and the `FITTING_FILES` of its accepted parts.
    """
    from partscreen.simulate.scenario import copy_demo_files

    files = copy_demo_files(out / "files")
    outcome = screen_files(files.readings, ScreenOptions(lots=files.lots, kit=files.kit), progress=progress)
    write_outcome(outcome, out=out, title="Demonstration: the bags of a small workshop", invented=True)
    fit_parts(outcome.screening, files.stage, out, SETS)
    return outcome, out / "report.html"


def fit_parts(screening: Screening, stage_file: Path, out: Path, sets: int) -> None:
    """Match the accepted parts for a stage, check the stage with the first set in it, and write what the bench needs.

    Known-good lots are left where they are.

    Raises
    ------
    UnusableInput
        The stage cannot be used, no set can be made of the parts, or the place cannot be written to.
    """
    from partscreen.report.papers.card import card_pdf
    from partscreen.report.papers.pairs import InStage, pairs_pdf
    from partscreen.stage.devices import known_parts
    from partscreen.stage.judge import judge_stage
    from partscreen.stage.power_up import fitted_stage, power_up
    from partscreen.stage.power_up_split import drops_of
    from partscreen.stage.read import load_stage
    from partscreen.workflow.after.matching import match_screenings, write_matching
    from partscreen.workflow.after.stage import write_stage
    from partscreen.workflow.papers.power_up import fittings_of
    from partscreen.workflow.settings import load_library
    from partscreen.workflow.typed.sheet import write_all

    stage, library = load_stage(stage_file), load_library()
    matching = match_screenings([("result.json", screening)], _options(screening, stage, sets))
    write_matching(matching, out / "match.json")
    parts = known_parts([screening], library)[0]
    fittings = fittings_of(matching, stage)
    named = {name for fitting in fittings for name in (*fitting.npn, *fitting.pnp)}
    taken = [part for part in parts if f"{part.lot}/{part.name}" in named]
    checked = [judge_stage(fitted_stage(stage, fitting), library, taken) for fitting in fittings]
    write_stage(checked[0], out)
    cards = [
        power_up(stage, library, taken, fitting=fitting, judged=result)
        for fitting, result in zip(fittings, checked, strict=True)
    ]
    expected = [drops_of(found, result) for found, result in zip(matching.sets, checked, strict=True)]
    drops = {key: drop for one in expected for key, drop in one.drops.items()}
    papers = {
        out / "pairs.pdf": pairs_pdf(matching, InStage(stage.stage.name, drops, expected[0].basis)),
        out / "card.pdf": card_pdf(cards),
    }
    write_all(papers, overwrite=True)


def _options(screening: Screening, stage: Stage, sets: int) -> MatchOptions:
    """How to match for a stage: its currents, and the lots of its types that are not known-good."""
    from partscreen.matching.options import MatchOptions

    types = (stage.stage.npn, stage.stage.pnp)
    return MatchOptions(
        kind="sets",
        k=stage.stage.devices_per_rail,
        best=sets,
        lots=tuple(
            lot.lot
            for lot in screening.lots
            if lot.type in types and not lot.known_good and any(p.disposition == "accept" for p in lot.parts)
        ),
        power=stage.load.rated_power,
        load=stage.load.resistance,
        idle=stage.idle_current,
        per_rail=stage.stage.devices_per_rail,
        emitter_resistor=stage.emitter_ohms,
    )
