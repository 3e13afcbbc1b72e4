"""Results that pages go on with: those judged since the page was started, and saved ones brought as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from partscreen.errors import Problem, UnusableInput
from partscreen.page.desk import Tray
from partscreen.page.errands import Errand
from partscreen.page.render import desk_of, settings_of

JSON = (".json",)


@dataclass(frozen=True, slots=True)
class Source:
    """A result of `screen`. `back`: page it was shown on; `lots`: their names in the order of the result."""

    id: str
    name: str
    back: str
    lots: tuple[str, ...]
    tray: Tray | None = None
    file: Path | None = None

    async def written(self, folder: Path) -> Path:
        """The result as a JSON file in a folder."""
        if self.file is not None:
            return self.file
        assert self.tray is not None
        return await written(self.tray, folder)


def judged(request: Request) -> list[Tray]:
    """Files whose parts were judged since the page was started, the newest first."""
    trays = list(desk_of(request).trays.values())[::-1]
    return [tray for tray in trays if tray.screening is not None and tray.screening.state == "done"]


def lots_of(trays: Sequence[Tray]) -> dict[str, tuple[str, int]]:
    """The lots of judged trays by name, each with its type and how many parts were read; lots of one name together."""
    found: dict[str, tuple[set[str], int]] = {}
    for tray in trays:
        assert tray.screening is not None
        for lot in tray.screening.result.screening.lots:
            types, parts = found.get(lot.lot, (set(), 0))
            found[lot.lot] = (types | {lot.type or "type not stated"}, parts + lot.n_parts)
    return {name: (", ".join(sorted(types)), parts) for name, (types, parts) in sorted(found.items())}


async def written(tray: Tray, folder: Path) -> Path:
    """The result of a tray as JSON, under a name a person knows."""
    from partscreen.workflow import write_outcome

    assert tray.screening is not None
    place = folder / f"judged-{tray.id}"
    place.mkdir(exist_ok=True)
    path = place / f"{tray.files[0].stem if tray.files else 'result'}.json"
    await run_in_threadpool(write_outcome, tray.screening.result, json_out=path)
    return path


def source_of(request: Request, name: str) -> Source | None:
    """The judged tray or the brought result of a name; None: there is none, or it is not judged."""
    desk = desk_of(request)
    tray = desk.trays.get(name)
    if tray is not None and tray in judged(request):
        assert tray.screening is not None
        lots = tuple(lot.lot for lot in tray.screening.result.screening.lots)
        return Source(name, tray.names, f"/tray/{name}/result", lots, tray=tray)
    errand = desk.errands.find(name, "result")
    if errand is not None:
        file = errand.files["result"][0]
        return Source(name, file.name, "/papers", tuple(errand.given["lots"]), file=file)
    return None


async def references_of(request: Request, errand: Errand, problems: list[Problem]) -> tuple[Path, ...]:
    """Reference files to use: those an errand brought, then the user's own; kept with the errand.

    Files that cannot be used are added to `problems`.
    """
    from partscreen.workflow import own_types, references_to_use

    root = settings_of(request).folder
    try:
        stems = [one.stem for one in await run_in_threadpool(own_types, root)]
        found = await run_in_threadpool(references_to_use, errand.files.get("reference", []), stems, root)
    except UnusableInput as error:
        problems += error.problems
        found = ()
    errand.given["references"] = found
    return found


async def results_of(request: Request, errand: Errand) -> list[Path]:
    """The results a form chose: trays that were ticked, and files it brought; kept with the errand."""
    ticked = errand.typed.get("trays", "").split("\n")
    chosen: Sequence[Tray] = [tray for tray in judged(request) if tray.id in ticked]
    found = [await written(tray, errand.folder) for tray in chosen]
    found += errand.files.get("results", [])
    errand.given["results"] = found
    return found
