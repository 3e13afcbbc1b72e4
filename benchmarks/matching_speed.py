"""How fast parts are matched, how near the best, and what it gains over pairing by hand on one reading.

Run: python -m benchmarks.matching_speed [SECONDS_TO_PROVE]. Simulated lots (invented) of 2SC5200 and 2SA1943; the
figures that choose carry reading noise (0.2 % of hFE, 0.4 mV of VBE), mismatch is told from the truth. Times are
processor time of one thread, so that other work on the machine does not count; the ratio is of one run.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np  # noqa: E402  (after the thread settings)
import numpy.typing as npt  # noqa: E402
from scipy.spatial.distance import cdist  # noqa: E402

from partscreen.device.predict import predict_gain  # noqa: E402
from partscreen.matching.distance import Tolerance  # noqa: E402
from partscreen.matching.line_groups import groups_on_line  # noqa: E402
from partscreen.matching.pairs import (  # noqa: E402
    Pairing,
    best_sum,
    most_within,
    pairing_of,
    smallest_worst,
    worst_then_sum,
)
from partscreen.matching.ranked import ranked_pairings  # noqa: E402
from partscreen.matching.search import search_sets  # noqa: E402
from partscreen.matching.set_problem import SetProblem, group_problem, rail_problem  # noqa: E402
from partscreen.matching.settle import settle_sets  # noqa: E402
from partscreen.matching.usage import working_currents  # noqa: E402
from partscreen.simulate.cards import type_card  # noqa: E402
from partscreen.simulate.parts import Kind, draw_lot  # noqa: E402

Floats = npt.NDArray[np.float64]

NPN, PNP = "2SC5200", "2SA1943"
TOLERANCE = Tolerance()


def greedy_on(values_a: Floats, values_b: Floats) -> Pairing:
    """What is done by hand: the two parts closest in one number go together, then the next two. For comparison."""
    gap = np.abs(values_a[:, None] - values_b[None, :])
    order = np.argsort(gap, axis=None, kind="stable")
    row_left, column_left = np.ones(gap.shape[0], bool), np.ones(gap.shape[1], bool)
    rows, columns = [], []
    for place in order.tolist():
        i, j = divmod(place, gap.shape[1])
        if row_left[i] and column_left[j]:
            row_left[i] = column_left[j] = False
            rows.append(i)
            columns.append(j)
            if len(rows) == min(gap.shape):
                break
    return pairing_of(gap, rows, columns)


def lot(type_number: str, n: int, seed: int) -> tuple[Floats, Floats, Floats]:
    """True points of a lot in units of the tolerances, the same as read, and hFE at 1 A as read."""
    usage = working_currents(power=100.0, load=8.0, signal="programme", crest=12.0, idle=0.05)
    assert usage is not None
    parts = draw_lot(type_card(type_number), [Kind.SOUND] * n, seed)
    ic = np.tile(np.append(usage.ic, 1.0), (n, 1))
    read = predict_gain(
        parts.theta, parts.constants[0], ic, np.full(ic.shape, 5.0), np.full(ic.shape, 298.15), jacobian=False
    )
    rng = np.random.default_rng([seed, 9])
    root = np.sqrt(usage.weight)

    def points(hfe: Floats, vbe: Floats) -> Floats:
        vbe = vbe - np.median(vbe, axis=0)  # what the types differ by as such
        return np.hstack([hfe[:, :-1] * root / TOLERANCE.ln_hfe, vbe[:, :-1] * root / TOLERANCE.vbe])

    hfe = read.ln_hfe + 0.002 * rng.standard_normal(ic.shape)
    vbe = read.vbe + 0.4e-3 * rng.standard_normal(ic.shape)
    return points(read.ln_hfe, read.vbe), points(hfe, vbe), hfe[:, -1]


def seconds(call: Callable[[], object]) -> float:
    """Processor seconds of one call, the best of three."""
    times = []
    for _ in range(3):
        begin = time.process_time()
        call()
        times.append(time.process_time() - begin)
    return min(times)


def pairing(n: int = 400) -> dict[str, float]:
    """Times of pairings of n + n parts, and of groups of four out of n."""
    (_, a, _), (_, b, _) = lot(NPN, n, 1), lot(PNP, n, 2)
    cost = cdist(a, b)
    within = cost <= 1.0
    vbe = a[:, a.shape[1] // 2 :].mean(axis=1)
    return {
        "pairs, smallest sum [s]": seconds(lambda: best_sum(cost)),
        "pairs, smallest worst [s]": seconds(lambda: smallest_worst(cost)),
        "pairs, worst then sum [s]": seconds(lambda: worst_then_sum(cost)),
        "pairs, most within tolerance [s]": seconds(lambda: most_within(cost, within)),
        "pairs, the 10 best ways [s]": seconds(lambda: ranked_pairings(cost, 10)),
        "groups of four by VBE [s]": seconds(lambda: groups_on_line(vbe, 4)),
    }


def against_pairing_by_hand(n: int = 400, lots: int = 8) -> dict[str, float]:
    """Mean mismatch over the working range when paired by hand on hFE at 1 A, over that of the smallest sum.

    Complementary pairs of n + n, and pairs of one polarity out of n, each for several lots: what the two lots of a pair
    differ by as such no pairing can mend, so that ratio is another for every two lots.
    """
    across, along = [], []
    for seed in range(10, 10 + lots):
        (true_a, a, gain_a), (true_b, b, gain_b) = lot(NPN, n, seed), lot(PNP, n, seed + 40)
        truth = cdist(true_a, true_b)
        ways = (greedy_on(gain_a, gain_b), best_sum(cdist(a, b)))
        by_hand, ours = (pairing_of(truth, way.rows, way.columns).total for way in ways)
        across.append(by_hand / ours)
        problem = group_problem(cdist(a, a), a[:, a.shape[1] // 2 :].mean(axis=1), 2)
        sets, neighbours = search_sets(problem), np.argsort(gain_a)[: n // 2 * 2].reshape(-1, 2)
        own = cdist(true_a, true_a)
        along.append(float(own[neighbours[:, 0], neighbours[:, 1]].sum() / own[sets[:, 0], sets[:, 1]].sum()))
    out = {}
    for name, ratios in (("NPN with PNP", across), ("one polarity", along)):
        out |= {
            f"{name}: ratio, median of {lots} lots": float(np.median(ratios)),
            f"{name}: ratio, smallest": min(ratios),
            f"{name}: ratio, largest": max(ratios),
        }
    return out


def channel_problem(n: int, seed: int) -> SetProblem:
    """Channel sets of 2 + 2 out of n + n."""
    (_, a, _), (_, b, _) = lot(NPN, n, seed), lot(PNP, n, seed + 100)
    half = a.shape[1] // 2
    return rail_problem(cdist(a, a), cdist(b, b), cdist(a, b), (a[:, half:].mean(axis=1), b[:, half:].mean(axis=1)), 2)


def channels(n: int, seed: int, prove: float) -> dict[str, float]:
    """Channel sets at once, within 2 % of a proven bound, within 0.5 %, and what `prove` seconds bring."""
    out: dict[str, float] = {}
    for name, limit, gap in (("at once", 0.0, 0.0), ("to 2 %", 10.0, 0.02), ("to 0.5 %", 60.0, 0.005),
                             ("to the end", prove, 0.0)):  # fmt: skip
        begin = time.process_time()
        found = settle_sets(channel_problem(n, seed), prove=limit, gap=gap)
        out[f"seed {seed}: {name} [s]"] = time.process_time() - begin
        out[f"seed {seed}: {name}, proven gap [%]"] = 100.0 * found.gap
    return out


if __name__ == "__main__":
    best_sum(np.eye(3))  # imports
    smallest_worst(np.eye(3))
    print("400 + 400 parts")
    for key, value in pairing().items():
        print(f"  {key:42s} {value:.4g}")
    print("mean mismatch by hand (closest hFE at 1 A) over ours")
    for key, value in against_pairing_by_hand().items():
        print(f"  {key:42s} {value:.4g}")
    print("channel sets of 2 + 2, 100 + 100 parts")
    for first in (5, 6, 7):
        for key, value in channels(100, first, float(sys.argv[1]) if len(sys.argv) > 1 else 60.0).items():
            print(f"  {key:42s} {value:.4g}")
