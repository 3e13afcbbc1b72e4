"""Bags whose bad share is drawn from the stated prior: what calibration is measured on."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from benchmarks.honesty.bags import Bag, make_bag
from benchmarks.honesty.cases import SITTINGS
from benchmarks.honesty.pools import KITS, LOT
from benchmarks.honesty.study import Study

# Mixture of what a bad part is, in lots that are mostly sound (assumption; the engine has weights of its own).
KINDS = {
    "area 0.5": 0.12, "area 0.6": 0.12, "area 0.7": 0.12, "area 0.8": 0.12, "leak": 0.14, "gain": 0.12, "bond": 0.06,
    "other": 0.20,
}  # fmt: skip
CONCENTRATION = 1.0  # of the Beta prior of a bag's bad share: bags are clean or bad


def prior_bags(study: Study, world_name: str, share: float, repeats: int = 2, *, known: int = 2) -> Iterator[Bag]:
    """Bags of 40, bad share from Beta(k share, k (1 - share)); where more than half are bad they are of one kind."""
    world = study.world(world_name)
    parts = study.pool(world)
    for sitting in SITTINGS:
        for repeat in range(repeats):
            rng = np.random.default_rng([71, int(1000 * share), repeat, *world.name.encode(), *sitting.encode()])
            bad_share = rng.beta(CONCENTRATION * share, CONCENTRATION * (1.0 - share))
            n_bad = int(rng.binomial(LOT, bad_share))
            rows = np.concatenate((_sound(parts, sitting, LOT - n_bad, rng), _bad(parts, sitting, n_bad, rng)))
            label = f"prior {share:g} {world.name} {sitting} {repeat}"
            yield make_bag(world, parts, label, rows, [parts.rows("K honest", 0, known)], KITS.index(1.0), rng)


def _sound(parts, sitting: str, n: int, rng: np.random.Generator) -> np.ndarray:  # type: ignore[no-untyped-def,type-arg]
    return rng.permutation(parts.rows(f"{sitting} honest"))[:n]


def _bad(parts, sitting: str, n: int, rng: np.random.Generator) -> np.ndarray:  # type: ignore[no-untyped-def,type-arg]
    if n > LOT // 2:
        kind = "small" if n > 24 or rng.random() < 0.6 else "other"
        return rng.permutation(parts.rows(f"{sitting} {kind}"))[:n]
    names = list(KINDS)
    kinds = rng.choice(names, n, p=np.array(list(KINDS.values())) / sum(KINDS.values()))
    out: list[int] = []
    for kind in names:
        # A kind's pool may hold fewer: the rest come from the 24 parts of another type.
        wanted = int((kinds == kind).sum())
        found = rng.permutation(parts.rows(f"{sitting} {kind}"))
        found = found[~np.isin(found, out)]
        out += found[:wanted].tolist()
    rest = rng.permutation(np.concatenate([parts.rows(f"{sitting} {kind}") for kind in ("other", "small")]))
    out += rest[~np.isin(rest, out)][: n - len(out)].tolist()
    return np.array(out, dtype=np.int64)
