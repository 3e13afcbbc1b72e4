"""The page docs/quality.md, written from what is kept in benchmarks/kept. What nobody measured is told as such."""

from __future__ import annotations

import json
from collections import Counter
from typing import Any

from benchmarks.keep import COMMANDS, KEPT, ROOT, Kept, kept, said
from benchmarks.quality.points import POINTS, Counted, Covered, Mutated, Point, Printed, Versions
from benchmarks.suite import LEAST, SLOW, per_cent
from benchmarks.versions import FOLDERS, counted

HEAD = """# Quality, measured

Written by `python -m benchmarks.quality` from what measuring commands kept in `benchmarks/kept`; a test holds the page
to it. Every figure has its command, its day and the load of the machine: the mean number of programs that wanted to
run, on {processors} processors. A load above the number of processors makes seconds on the clock longer than on a quiet
machine; processor seconds suffer less. Simulated and invented readings only. "not measured": nobody has run the command
since the figure was asked for. How to measure again: `make quality`.
"""
NOT = "not measured"
LEAST_KILLED = 0.85  # of mutants, as asked


def quality_page() -> str:
    """The text of the page as it should read today."""
    suite = _read("suite.json")
    text = [HEAD.format(processors=_processors())]
    for place, point in enumerate(POINTS, 1):
        text.append(_point(place, point, suite))
    return "\n".join([*text, _suite(suite)])


def _point(place: int, point: Point, suite: dict[str, Any]) -> str:
    parts = [f"## {place}. {point.title}", f"Asked: {point.asked}"]
    for measure in point.measures:
        if isinstance(measure, Printed):
            parts.append(_printed(measure))
        elif isinstance(measure, Counted):
            parts.append(_tested(measure, suite))
        elif isinstance(measure, Mutated):
            parts.append(_mutated(measure))
        elif isinstance(measure, Versions):
            parts.append(_versions(measure))
        else:
            parts.append(_covered(measure))
    keepers = ", ".join(f"`{one}`" for one in point.keepers) or "nothing yet"
    links = ", ".join(f"[{one.removesuffix('.md')}]({one})" for one in point.more)
    more = f" More, and what falls short: {links}." if links else ""
    return "\n\n".join([*parts, f"Kept by: {keepers}.{more}"]) + "\n"


def _printed(measure: Printed) -> str:
    found = kept(measure.name)
    command = said(COMMANDS[measure.name])
    if found is None:
        return f"**{measure.what}** (`{command}`): {NOT}."
    return f"**{measure.what}** (`{found.command}`, {_when(found)}):\n\n" + "\n".join(_bullets(found.lines))


def _bullets(lines: tuple[str, ...]) -> list[str]:
    """Lines as they were printed; columns made with spaces are drawn together."""
    return [f"- {' '.join(line.split())}" for line in lines]


def _when(found: Kept) -> str:
    return f"{found.began}, load {found.load[0]:g} to {found.load[1]:g}"


def _tested(measure: Counted, suite: dict[str, Any]) -> str:
    counts, days, loads, missing = Counter[str](), set[str](), list[float](), []
    for name in measure.of:
        told = suite.get(name.split("/")[1])
        files = {path: one for path, one in told["files"].items() if path.startswith(name)} if told else {}
        if told is None or not files:
            missing.append(name)
            continue
        days.add(told["began"].partition(" ")[0])
        loads += told["load"]
        for one in files.values():
            counts.update(one)
    folders = " ".join(sorted({name.split("/")[1] for name in measure.of}))
    head = f"**{measure.what}** ({', '.join(f'`{one}`' for one in measure.of)}; `python -m benchmarks.suite {folders}`"
    if len(missing) == len(measure.of):
        return f"{head}): {NOT}."
    short = f" {', '.join(f'`{one}`' for one in missing)}: {NOT}." if missing else ""
    when = f"{' and '.join(sorted(days))}, load {min(loads):g} to {max(loads):g}"
    return f"{head}, {when}): {_counts(counts)}.{short}"


def _counts(counts: Counter[str]) -> str:
    return f"{counts['passed']} passed, {counts['failed']} failed, {counts['skipped']} skipped"


def _versions(measure: Versions) -> str:
    found = _read(f"{measure.target}.json")
    if not found:
        return f"**{measure.what}** (`make {measure.target}`): {NOT}."
    folders = found["folders"]
    days = " and ".join(sorted({told["began"].partition(" ")[0] for told in folders.values()}))
    loads = [value for told in folders.values() for value in told["load"]]
    head = f"**{measure.what}** (`make {measure.target}`, {days}, load {min(loads):g} to {max(loads):g}, Python "
    missing = [folder for folder in FOLDERS if folder not in folders]
    short = f" Of these folders {NOT}: {', '.join(missing)}." if missing else ""
    lying = ", ".join(f"{name} {lies}" for name, lies in found["libraries"].items())
    return f"{head}{found['python']}): {_counts(counted(folders))}.{short} With {lying}."


def _covered(measure: Covered) -> str:
    found = _read("coverage.json")
    if not found:
        return f"**{measure.what}** (`make coverage`): {NOT}."
    lines = [
        f"**{measure.what}** (`make coverage`, {found['began']}, load {found['load'][0]:g}; tests of "
        f"{', '.join(found['folders'])}; what child processes run is not counted):\n",
        "| room | lines | run | per cent | files below 90 % |",
        "|---|---|---|---|---|",
    ]
    for name, room in found["rooms"].items():
        low = "; ".join(f"{path.partition('/')[2]} {value:g}" for path, value in room["files_below"].items()) or "none"
        short = f" (short of {LEAST:g})" if per_cent(room) < LEAST else ""
        lines.append(f"| {name} | {room['lines']:,} | {room['run']:,} | {per_cent(room):.1f}{short} | {low} |")
    return "\n".join(lines)


def _mutated(measure: Mutated) -> str:
    path = ROOT / "tests" / "mutants" / "figures.json"
    if not path.exists():
        return f"**{measure.what}** (`python -m tests.mutants.run`): {NOT}."
    found = json.loads(path.read_text(encoding="utf-8"))
    of = "all" if found["whole"] else f"{found['tried']:,}"
    lines = [f"**{measure.what}** (`{found['command']}`; a share does not hang on the load).\n"]
    for sample in found["fresh"][:1]:
        lines += [
            f"{_share(sample)} of a random sample of {sample['tried']:,} mutants that no test had been written for "
            f"(seed {sample['seed']}, {sample['date']}; rooms weigh by their mutants). Of those that survived, "
            f"{sample['equivalent']} are equivalent: they change nothing that could be noticed. Each mutant is given "
            "some seconds of the tests that run its line, the quick ones first: what only longer tests notice has "
            "survived.\n",
            "| room | mutants | tried | killed | per cent | 95 % interval |",
            "|---|---|---|---|---|---|",
            *(_room(name, room) for name, room in sample["rooms"].items()),
            "",
        ]
    for older in found["fresh"][1:]:
        lines.append(f"Before: {_share(older)} of {older['tried']:,} (seed {older['seed']}, {older['date']}).\n")
    killed = f"{found['killed']:,} of the {of} tried of {found['mutants']:,} mutants"
    lines.append(
        f"In all, with the tests written for those that survived: {killed} are killed now ({found['date']}). "
        "Survivors with their reasons: `tests/mutants/survivors.tsv`."
    )
    return "\n".join(lines)


def _share(figures: dict[str, Any]) -> str:
    low, high = figures["interval_95"]
    share = figures["share_killed"]
    short = f", short of {100 * LEAST_KILLED:g}" if share < LEAST_KILLED else ""
    return f"{100 * share:.1f} % killed{short} (95 % interval {100 * low:.1f} to {100 * high:.1f})"


def _room(name: str, room: dict[str, Any]) -> str:
    low, high = room["interval_95"]
    share = 100 * room["killed"] / room["tried"]
    counts = f"{room['mutants']:,} | {room['tried']:,} | {room['killed']:,}"
    return f"| {name} | {counts} | {share:.1f} | {100 * low:.1f} to {100 * high:.1f} |"


def _suite(suite: dict[str, Any]) -> str:
    head = (
        "## The whole suite\n\nAsked: continuous integration under 45 minutes on 2 quiet cores. "
        "`python -m benchmarks.suite`, a folder at a time:"
    )
    if not suite:
        return f"{head} {NOT}.\n"
    lines = [
        f"{head}\n",
        "| folder | passed | failed | skipped | processor seconds | seconds | load | when |",
        "|---|---|---|---|---|---|---|---|",
    ]
    every = Counter[str]()
    for folder, told in suite.items():
        counts = Counter[str]()
        for one in told["files"].values():
            counts.update(one)
        every.update(counts)
        note = ", lines counted" if told["coverage_on"] else ""
        lines.append(
            f"| {folder} | {counts['passed']} | {counts['failed']} | {counts['skipped']} | {told['processor']:.0f} | "
            f"{told['wall']:.0f} | {told['load'][0]:g} to {told['load'][1]:g} | {told['began']}{note} |"
        )
    used = sum(told["processor"] for told in suite.values())
    lines += [
        "",
        f"Together: {_counts(every)}, {used / 60:.0f} processor minutes. Counting lines makes tests slower. "
        "Folders that are not in the table were not measured.",
        "",
        f"Tests above {SLOW:g} processor seconds (a fixture shared by many counts for the first of them):\n",
    ]
    slow = sorted(((s, test) for told in suite.values() for test, s in told["slow"].items()), reverse=True)
    lines += [f"- {seconds:.0f} s: `{test.removeprefix('tests/')}`" for seconds, test in slow] or ["- none"]
    return "\n".join(lines) + "\n"


def _processors() -> int:
    found = [one for path in sorted(KEPT.glob("*.json")) if (one := _read(path.name).get("processors"))]
    return max(found, default=2)


def _read(name: str) -> dict[str, Any]:
    path = KEPT / name
    return dict(json.loads(path.read_text(encoding="utf-8"))) if path.exists() else {}
