"""The judgement against other ways on the same simulated lots: a loop of scipy over the parts, and scikit-learn's
outlier models on the raw readings. Speed in processor seconds, and how many of the bad parts each finds.

Run: python -m benchmarks.volume_ratios [LOTS]. Lots of 200 parts, every second one with a smaller die in one part of
ten. The models of scikit-learn see ln hFE, VBE and VCE(sat) at the currents read, standardised by the lot; they flag
as many parts as this program rejects or holds, so that what they find is compared at one rate of flags.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt

from benchmarks.fit_speed import measure
from benchmarks.volume_bag import TYPE, lot_frame
from partscreen.workflow import ScreenOptions, screen_files

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
N_PARTS = 200


def lots_of(n_lots: int) -> list[tuple[int, Floats, Bools]]:
    """Number, raw readings (n, 36) and which parts are bad; every second lot has bad ones."""
    out = []
    for i in range(n_lots):
        number = 5 * (i // 2) + i % 2
        frame, bad = lot_frame(number, N_PARTS)
        of = [group for _, group in frame.groupby("part", sort=False)]
        rows = [
            np.concatenate((np.log(g["hfe"].to_numpy()[:14]), g["vbe_v"].to_numpy()[:14], g["vce_v"].to_numpy()[14:]))
            for g in of
        ]
        out.append((number, np.array(rows), np.array(bad)))
    return out


def by_scikit_learn(readings: Floats, flags: int, model: Callable[[], object]) -> Bools:
    """The `flags` parts that a model finds strangest."""
    from sklearn.preprocessing import RobustScaler

    x = RobustScaler().fit_transform(np.where(np.isfinite(readings), readings, np.nanmedian(readings, axis=0)))
    one = model()
    score = one.fit(x).score_samples(x)  # type: ignore[attr-defined]
    out = np.zeros(x.shape[0], dtype=np.bool_)
    out[np.argsort(score)[:flags]] = True
    return out


def main() -> None:
    """Print the table."""
    from sklearn.covariance import EllipticEnvelope
    from sklearn.ensemble import IsolationForest

    n_lots = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    lots = lots_of(n_lots)
    bad = np.concatenate([b for _, _, b in lots])
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lots.csv"
        with path.open("wb") as sink:
            for i, (number, _, _) in enumerate(lots):
                lot_frame(number, N_PARTS)[0].to_csv(sink, header=i == 0, index=False, float_format="%.6g")
        begin = time.process_time()
        found = screen_files([path], ScreenOptions(type_name=TYPE), figures=False).screening
        ours = time.process_time() - begin
    parts = [part for lot in found.lots for part in lot.parts]
    flagged = np.array([part.disposition != "accept" for part in parts])
    rejected = np.array([part.disposition == "reject" for part in parts])
    print(
        f"partscreen, {bad.size} parts: {ours:.1f} processor seconds, {1e3 * ours / bad.size:.1f} ms a part; of "
        f"{bad.sum()} bad parts {rejected[bad].sum()} rejected and {(flagged & ~rejected)[bad].sum()} held; of "
        f"{(~bad).sum()} sound ones {rejected[~bad].sum()} rejected and {(flagged & ~rejected)[~bad].sum()} held"
    )
    models: dict[str, Callable[[], object]] = {
        "IsolationForest": lambda: IsolationForest(random_state=1),
        "EllipticEnvelope": lambda: EllipticEnvelope(random_state=1, support_fraction=0.9),
    }
    for name, model in models.items():
        begin = time.process_time()
        theirs = np.concatenate(
            [
                by_scikit_learn(x, int(flagged[i * N_PARTS : (i + 1) * N_PARTS].sum()), model)
                for i, (_, x, _) in enumerate(lots)
            ]
        )
        took = time.process_time() - begin
        print(
            f"scikit-learn {name} on raw readings, told how many to flag in each lot: {took:.2f} processor seconds "
            f"(ratio {ours / took:.0f}); {theirs[bad].sum()} of {bad.sum()} bad parts found, {theirs[~bad].sum()} of "
            f"{(~bad).sum()} sound ones flagged"
        )
    rates = measure(1_000, 20)
    print(
        f"device fit against a loop of scipy.optimize.least_squares over the parts: {rates['ratio_analytic']:.1f} x as "
        f"many parts a second (its derivatives analytic), {rates['ratio_2_point']:.1f} x (by differences)"
    )


if __name__ == "__main__":
    main()
