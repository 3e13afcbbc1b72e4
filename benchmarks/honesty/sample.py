"""A small fixed sample of simulated lots, committed, so that ordinary test runs need no circuit simulator.

    python -m benchmarks.honesty --write-sample

Simulated by ngspice: two library types with drawn truths, two published cards; readings of the 0.2 A and the 1 A
kit only.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import numpy as np

from benchmarks.honesty.pools import KITS, Pool
from benchmarks.honesty.study import Study, whole_study
from benchmarks.honesty.worlds import World, library
from partscreen.reference.models import ReferenceType

SAMPLE = Path(__file__).with_name("sample.npz")
NAMES = ("2SC3281 #0", "2SA1943 #0", "card BDW51C", "card 2SB1155")
KEPT = (0.2, 1.0)  # [A]
_PLACES = [KITS.index(top) for top in KEPT]
_BY_KIT = ("hfe", "vbe", "sat")


def write_sample() -> None:
    """Take the sample out of the whole study."""
    study = whole_study()
    out: dict[str, np.ndarray] = {}  # type: ignore[type-arg]
    about = []
    for i, world in enumerate(w for w in study.worlds if w.name in NAMES):
        pool = study.pool(world)
        for name in Pool.__dataclass_fields__:
            values = getattr(pool, name)
            if name in _BY_KIT:
                values = values[:, _PLACES]
            out[f"{i}/{name}"] = values if values.dtype.kind == "U" else values.astype(np.float32)
        about.append(
            {
                "name": world.name, "kind": world.kind, "polarity": world.polarity, "ic_rated": world.ic_rated,
                "card": world.card,
                "hfe_limits": [[x if np.isfinite(x) else None for x in row] for row in world.hfe_limits],
                "reference": None if world.kind == "prior" else json.loads(world.reference.model_dump_json()),
            }
        )  # fmt: skip
    np.savez_compressed(SAMPLE, about=np.array(json.dumps(about)), **out)


class SampleStudy(Study):
    """A study whose parts come from the committed file."""

    def pool(self, world: World) -> Pool:
        """Its parts; kits other than those of `KEPT` are not in the sample."""
        place = [w.name for w in self.worlds].index(world.name)
        with np.load(SAMPLE) as held:
            values = {name: held[f"{place}/{name}"] for name in Pool.__dataclass_fields__}
        for name, array in values.items():
            if array.dtype == np.float32:
                values[name] = array.astype(float)
        for name in _BY_KIT:
            whole = np.full((values[name].shape[0], len(KITS), values[name].shape[2]), np.nan)
            whole[:, _PLACES] = values[name]
            values[name] = whole
        return Pool(**values)


@lru_cache(maxsize=1)
def small_study() -> SampleStudy:
    """The committed sample."""
    with np.load(SAMPLE) as held:
        about = json.loads(str(held["about"]))
    by_name = {of.name: of for of in library()}
    worlds = []
    for entry in about:
        given = entry.pop("reference")
        reference = ReferenceType.model_validate(given) if given else by_name[entry["name"].removesuffix(" #0")]
        rows = tuple(tuple(np.inf if x is None else x for x in row) for row in entry.pop("hfe_limits"))
        worlds.append(World(**entry, reference=reference, hfe_limits=rows))
    return SampleStudy(tuple(worlds), {})
