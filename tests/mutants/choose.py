"""Which tests should notice a mutant: those that run its line, quick ones first; then the others of their files."""

from __future__ import annotations

import json
from collections import defaultdict

from tests.mutants.operators import Mutant
from tests.mutants.rooms import BUILD, GROUPS, NEAREST, room_of

MOST_SECONDS = 12.0  # processor time of the tests of one mutant, by their recorded times
NEAR = 0.25  # a test that looks at the room closest counts as so much shorter


class Chooser:
    """What `record` saw."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self.lines: dict[str, dict[int, set[str]]] = defaultdict(lambda: defaultdict(set))
        for group in range(len(GROUPS)):
            if not (path := BUILD / f"lines-{group}.json").exists():
                continue
            seen = json.loads(path.read_text())
            self.seconds |= seen["seconds"]
            for module, lines in seen["lines"].items():
                for line, contexts in lines.items():
                    self.lines[module][int(line)] |= set(contexts)
        self.by_file: dict[str, list[str]] = defaultdict(list)
        for name in self.seconds:
            if not name.startswith("file:"):
                self.by_file[name.partition("::")[0]].append(name)

    def tests(self, mutant: Mutant) -> tuple[str, ...]:
        """Node ids in the order to run: as many as `MOST_SECONDS` hold, file by file since fixtures are shared."""
        contexts = self._contexts(mutant)
        files = {context.removeprefix("file:").partition("::")[0] for context in contexts}
        direct = {context for context in contexts if not context.startswith("file:")}
        direct |= {name for context in contexts - direct for name in self.by_file[context.removeprefix("file:")]}
        others = {name for file in files for name in self.by_file[file]} - direct
        first = NEAREST[room_of(mutant.module)]

        def length(name: str) -> tuple[float, str]:
            return self.seconds[name] * (NEAR if name.partition("::")[0] in first else 1.0), name

        chosen: dict[str, list[str]] = defaultdict(list)
        taken = 0.0
        for name in (*sorted(direct, key=length), *sorted(others, key=length)):
            file = name.partition("::")[0]
            cost = self.seconds[name] + (0.0 if file in chosen else self.seconds.get("file:" + file, 0.0))
            if taken + cost <= MOST_SECONDS:
                taken += cost
                chosen[file].append(name)
        order = sorted(chosen, key=lambda file: (file not in first, self._cost(file, chosen[file])))
        return tuple(name for file in order for name in chosen[file])

    def _cost(self, file: str, names: list[str]) -> float:
        return self.seconds.get("file:" + file, 0.0) + sum(self.seconds[name] for name in names)

    def _contexts(self, mutant: Mutant) -> set[str]:
        """Of the line, or of the nearest line above that ran: a statement may span several."""
        lines = self.lines[mutant.module]
        for line in range(mutant.line, 0, -1) if not mutant.on_import else ():
            if line in lines:
                if lines[line]:
                    return lines[line]
                break
        return set().union(*lines.values())  # runs on import: any test of the module may notice
