"""Which tests should notice a mutant: those that run its line, quick files first; then the others of these files."""

from __future__ import annotations

import json
from collections import defaultdict

from tests.mutants.operators import Mutant
from tests.mutants.rooms import BUILD, GROUPS, NEAREST, room_of

MOST_SECONDS = 20.0  # processor time of the tests of one mutant, by their recorded times


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
        """Node ids in the order to run."""
        contexts = self._contexts(mutant)
        direct: dict[str, list[str]] = defaultdict(list)
        shared: dict[str, list[str]] = defaultdict(list)
        for context in contexts:
            if context.startswith("file:"):
                file = context.removeprefix("file:")
                shared[file] = [*self.by_file[file]]
            else:
                direct[context.partition("::")[0]].append(context)
        for file in direct:
            shared[file] = [*self.by_file[file]]
        first = NEAREST[room_of(mutant.module)]
        chosen: list[str] = []
        taken = 0.0
        for group in (direct, shared):
            for file in sorted(group, key=lambda file: (file not in first, self._cost(file, group[file]))):
                for name in sorted(set(group[file]) - set(chosen), key=lambda name: (self.seconds[name], name)):
                    if taken + self.seconds[name] > MOST_SECONDS:
                        break
                    taken += self.seconds[name]
                    chosen.append(name)
        return tuple(chosen)

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
