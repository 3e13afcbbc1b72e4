"""What must hold of the whole chain, whatever the data: order, sign, independence of parts, and a strict result."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from partscreen.results import Screening
from partscreen.workflow import ScreenOptions, screen_files

HEADER = "lot,part,ic [A],ib [A],vce [V],vbe [V],vce(sat) [V],case temp [degC]"
TYPE = {"N": "2SC5200", "P": "2SA1943"}


def bag(seed: int, *, sign: float = 1.0, lots: int = 2, parts: int = 5) -> list[str]:
    """Rows of invented parts: gain falling over current, VBE rising, a VCE(sat) at a forced gain of ten."""
    rng = np.random.default_rng(seed)
    rows = []
    for lot in range(lots):
        for part in range(parts):
            top = 110.0 * np.exp(rng.normal(0.0, 0.08))
            for ic in (0.05, 0.2, 0.5, 1.0, 2.0, 4.0, 6.0):
                gain = top / (1.0 + (ic / 8.0) ** 1.5) * np.exp(rng.normal(0.0, 0.005))
                vbe = 0.62 + 0.0257 * np.log(ic / 0.05) + 0.02 * ic + rng.normal(0.0, 5e-4)
                figures = [f"{sign * v:.7g}" for v in (ic, ic / gain, 5.0, vbe)]
                rows.append(f"L{lot},{lot}{part},{','.join(figures)},,25.0")
            rows.append(
                f"L{lot},{lot}{part},{sign * 4.0:g},{sign * 0.4:g},,,{sign * (0.2 + 0.02 * rng.random()):.4g},25.0"
            )
    return rows


def write(path: Path, rows: list[str]) -> Path:
    path.write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
    return path


def result(files: list[Path], type_name: str = "2SC5200", **options: Any) -> dict[str, Any]:
    outcome = screen_files(files, ScreenOptions(type_name=type_name, **options), figures=False)
    found: dict[str, Any] = json.loads(outcome.json_text(), parse_constant=refuse)
    return found


def refuse(word: str) -> float:
    raise AssertionError(f"{word} is no JSON")


def by_part(found: dict[str, Any]) -> dict[str, Any]:
    return {f"{lot['lot']}/{p['part']}": p for lot in found["lots"] for p in lot["parts"]}


def assert_alike(one: Any, two: Any, where: str = "", near: float = 1e-5) -> None:
    """Equal, figures within rounding of the fit (1e-5 of the value, or `near` of it)."""
    if isinstance(one, dict):
        assert one.keys() == two.keys(), where
        for key in one:
            if key not in ("covariance", "run"):  # numbers of runs follow the order of files
                assert_alike(one[key], two[key], f"{where}.{key}", near)
    elif isinstance(one, list):
        assert len(one) == len(two), where
        for i, (a, b) in enumerate(zip(one, two, strict=True)):
            assert_alike(a, b, f"{where}[{i}]", near)
    elif isinstance(one, float) and isinstance(two, float):
        assert one == pytest.approx(two, rel=near, abs=near / 100), where
    else:
        assert one == two, where


def test_order_of_files_changes_nothing(tmp_path: Path) -> None:
    rows = bag(1)
    first = write(tmp_path / "one.csv", [r for r in rows if r.startswith("L0")])
    second = write(tmp_path / "two.csv", [r for r in rows if r.startswith("L1")])
    assert_alike(by_part(result([first, second])), by_part(result([second, first])))


def test_order_of_rows_changes_nothing(tmp_path: Path) -> None:
    rows = bag(2)
    shuffled = [rows[i] for i in np.random.default_rng(3).permutation(len(rows))]
    one = result([write(tmp_path / "bag.csv", rows)])
    assert_alike(by_part(one), by_part(result([write(tmp_path / "bag.csv", shuffled)])))


def test_signed_pnp_readings_judge_as_their_magnitudes(tmp_path: Path) -> None:
    signed = result([write(tmp_path / "bag.csv", bag(4, sign=-1.0))], TYPE["P"])
    plain = result([write(tmp_path / "bag.csv", bag(4))], TYPE["P"])
    assert_alike(by_part(signed), by_part(plain))
    assert all(p["status"] == "judged" for p in by_part(signed).values())


# Each part as bad as files get, in a lot of its own: text for a current, a dead part, gain of a thousandth.
BAD = {
    "text": ["Z,bad,oops,0.01,5,0.6,,25", "Z,bad,1.0,x,5,0.6,,25"],
    "dead": [f"Z,bad,{ic},{ic},5,0.0001,,25" for ic in (0.05, 0.5, 1.0, 2.0)],
    "tiny gain": [f"Z,bad,{ic},{ic * 2000},5,0.7,,25" for ic in (0.05, 0.5, 1.0, 2.0)],
    "hot": [f"Z,bad,{ic},{ic / 90},5,0.6,,900" for ic in (0.05, 0.5, 1.0, 2.0)],
    "empty": ["Z,bad,,,,,,"],
    "infinite": ["Z,bad,inf,0.01,5,0.6,,25", "Z,bad,1,nan,5,0.6,,25", "Z,bad,-1,0.01,5,0.6,,25"],
}


@pytest.mark.parametrize("kind", BAD)
def test_one_bad_part_never_changes_the_result_of_a_part_in_another_lot(kind: str, tmp_path: Path) -> None:
    rows = bag(5)
    alone = by_part(result([write(tmp_path / "bag.csv", rows)]))
    beside = by_part(result([write(tmp_path / "bag.csv", rows + BAD[kind])]))
    # What a sitting shares (gain and temperature error) is learned from every usable reading of it, and the readings of
    # "hot" stay usable without their temperature: they may move another part's figures within its rounding.
    near = 0.02 if kind == "hot" else 1e-5
    assert_alike(alone, {name: beside[name] for name in alone}, near=near)


@pytest.mark.parametrize("kind", BAD)
def test_result_is_strict_json_of_the_published_form(kind: str, tmp_path: Path) -> None:
    found = result([write(tmp_path / "bag.csv", bag(6, lots=1) + BAD[kind])])
    assert found["schema"] == "partscreen.screening/1"
    assert Screening.model_validate(found).model_dump(by_alias=True, mode="json") == found
