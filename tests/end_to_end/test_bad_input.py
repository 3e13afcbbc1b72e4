"""Bad input gives one clear error naming file, row and column and the way out; the good parts of the same run
are still judged.
"""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from partscreen.cli.app import app

GOOD = "part,ic_a,vce_v,vbe_v,hfe\n" + "".join(
    f"T{p:04d},{ic},5,{vbe + 0.002 * p:.4f},{hfe + p}\n"
    for p in range(1, 4)
    for ic, vbe, hfe in [
        (0.05, 0.560, 95),
        (0.1, 0.580, 97),
        (0.2, 0.600, 98),
        (0.5, 0.630, 97),
        (1.0, 0.660, 95),
        (2.0, 0.700, 88),
    ]
)


def run(tmp_path, files: dict[str, bytes | str], *options: str):
    paths = []
    for name, content in files.items():
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        paths.append(str(path))
    result = tmp_path / "result.json"
    ran = CliRunner().invoke(app, ["screen", *paths, "--type", "2SC5200", "--json", str(result), *options])
    return ran, json.loads(result.read_text()) if result.exists() else None


def good_parts(result):
    lots = [lot for lot in result["lots"] if lot["lot"] == "good"]
    assert len(lots) == 1
    return [p for p in lots[0]["parts"] if p["disposition"] in ("accept", "hold", "reject")]


BAD = {
    "empty": (b"", "empty"),
    "header_only": ("part,ic_a,vce_v,vbe_v,hfe\n", "no row"),
    "binary": (bytes(range(256)) * 40, "not text"),
    "long_line": ("part,ic_a,vce_v,vbe_v,hfe\n" + "9" * 3_000_000 + "\n", "line"),
    "wrong_delimiter": ("part^ic_a^vce_v^vbe_v^hfe\nT1^0.1^5^0.6^90\nT1^0.2^5^0.62^90\n", "column"),
}


@pytest.mark.parametrize("kind", BAD)
def test_unusable_file_is_named_with_a_way_out_and_the_good_file_is_still_judged(tmp_path, kind):
    content, word = BAD[kind]
    ran, result = run(tmp_path, {"good.csv": GOOD, f"{kind}.csv": content})
    assert ran.exit_code == 3, ran.output
    assert len(good_parts(result)) == 3
    bad = next(i for i in result["inputs"] if i["file"].endswith(f"{kind}.csv"))
    assert bad["problems"]
    assert all(p["fix"] for p in bad["problems"])
    assert word in " ".join(p["what"] for p in bad["problems"]).lower()
    assert f"{kind}.csv" in ran.stderr


@pytest.mark.parametrize(
    ("cell", "column"),
    [
        ("nan", "hfe"),
        ("inf", "hfe"),
        ("-95", "hfe"),
        ("0,435", "hfe"),
        ("banana", "vbe_v"),
        ("660", "vbe_v"),
        ("1500", "ic_a"),
    ],
)
def test_bad_cell_is_named_by_row_and_column_and_the_rest_is_judged(tmp_path, cell, column):
    header = GOOD.splitlines()[0].split(",")
    lines = GOOD.splitlines()
    cells = lines[4].split(",")
    cells[header.index(column)] = f'"{cell}"'
    lines[4] = ",".join(cells)
    ran, result = run(tmp_path, {"good.csv": "\n".join(lines) + "\n"})
    assert ran.exit_code == 3, ran.output
    told = [(p["row"], p["column"], p["fix"]) for i in result["inputs"] for p in i["problems"]]
    noted = [q for lot in result["lots"] for p in lot["parts"] for q in p["quality"]]
    assert any(row == 5 and fix for row, _, fix in told) or noted
    assert len(good_parts(result)) == 3


def test_duplicate_part_is_unusable_and_the_others_are_judged(tmp_path):
    ran, result = run(tmp_path, {"good.csv": GOOD + "".join(line + "\n" for line in GOOD.splitlines()[1:7])})
    assert ran.exit_code == 3, ran.output
    parts = {p["part"]: p for p in result["lots"][0]["parts"]}
    assert parts["T0001"]["status"] == "unusable"
    assert parts["T0001"]["disposition"] is None
    assert parts["T0002"]["disposition"] is not None


def test_part_in_two_lots_is_refused_with_both_lots_named(tmp_path):
    rows = ["lot,part,ic_a,vce_v,vbe_v,hfe"]
    rows += ["A1," + line for line in GOOD.splitlines()[1:]]
    rows += ["B2," + line for line in GOOD.splitlines()[1:7]]
    ran, result = run(tmp_path, {"two.csv": "\n".join(rows) + "\n"})
    assert ran.exit_code == 3, ran.output
    assert "A1" in ran.stderr
    assert "B2" in ran.stderr
    statuses = {(lot["lot"], p["part"]): p["status"] for lot in result["lots"] for p in lot["parts"]}
    assert statuses[("A1", "T0001")] == statuses[("B2", "T0001")] == "unusable"
    assert statuses[("A1", "T0002")] != "unusable"


def test_column_map_naming_an_absent_column_says_which_and_what_there_is(tmp_path):
    colmap = tmp_path / "map.toml"
    colmap.write_text(
        'format = "long"\n[columns]\npart = "part"\nic = { column = "collector", unit = "A" }\nhfe = "hfe"\n'
    )
    ran, _ = run(tmp_path, {"good.csv": GOOD}, "--columns", str(colmap))
    assert ran.exit_code == 3, ran.output
    assert "collector" in ran.stderr
    assert "ic_a" in ran.stderr


def test_unknown_type_is_held_within_its_lot_with_close_names(tmp_path):
    path = tmp_path / "bag.csv"
    path.write_text(GOOD)
    result_path = tmp_path / "r.json"
    ran = CliRunner().invoke(app, ["screen", str(path), "--type", "2SC5201", "--json", str(result_path)])
    result = json.loads(result_path.read_text())
    assert ran.exit_code == 5, ran.output
    assert result["lots"][0]["judgement"] == "no_reference"
    assert {p["disposition"] for p in result["lots"][0]["parts"]} == {"hold"}
    assert "2SC5200" in ran.output


def test_missing_file_is_named_and_the_rest_is_judged(tmp_path):
    path = tmp_path / "good.csv"
    path.write_text(GOOD)
    result_path = tmp_path / "r.json"
    ran = CliRunner().invoke(
        app, ["screen", str(path), str(tmp_path / "absent.csv"), "--type", "2SC5200", "--json", str(result_path)]
    )
    assert ran.exit_code == 3, ran.output
    assert "absent.csv" in ran.stderr
    assert len(good_parts(json.loads(result_path.read_text()))) == 3
