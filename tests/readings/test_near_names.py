"""A name that is misspelt is told with names near it; a file of nothing but slips is not looked up slip by slip."""

from __future__ import annotations

import difflib
from collections.abc import Callable
from pathlib import Path

import pytest

from partscreen.errors import NearNames, UnusableInput
from partscreen.readings.columns.column_map import load_column_map
from partscreen.readings.import_files import read_files
from partscreen.reference.library import read_type

OWN = (Path(__file__).resolve().parents[2] / "docs" / "examples" / "own_type.toml").read_text(encoding="utf-8")
MANY = 300
SPOTS = "part;quantity;value;unit;conditions\n"


def at(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def told(call: Callable[[Path], object], path: Path) -> str:
    with pytest.raises(UnusableInput) as caught:
        call(path)
    return "\n".join(map(str, caught.value.problems))


def quantities(folder: Path) -> str:
    rows = "".join(f"T{i};VCE(sta){i};4.8;nF;VEB=0 V\n" for i in range(MANY))
    return "\n".join(map(str, read_files([at(folder, "x.csv", SPOTS + rows)]).batch.problems))


def conditions(folder: Path) -> str:
    rows = "".join(f"T{i};C_BE;4.8;nF;VEBO{i}=0 V, f=1 MHz\n" for i in range(MANY))
    return "\n".join(map(str, read_files([at(folder, "x.csv", SPOTS + rows)]).batch.problems))


def lots(folder: Path) -> str:
    sheet = at(folder, "lots.csv", "lot,type,count\n" + "".join(f"bag{i:05d},2SC5200,3\n" for i in range(MANY)))
    rows = "lot;part;ic [A];hfe\n" + "".join(f"bug{i:05d};T1;1;9\n" for i in range(MANY))
    return "\n".join(read_files([at(folder, "x.csv", rows)], lot_sheet=sheet).batch.notices)


def roles(folder: Path) -> str:
    rows = "".join(f'vbee{i} = "x"\n' for i in range(MANY))
    return told(load_column_map, at(folder, "map.toml", "[columns]\n" + rows))


def keys(folder: Path) -> str:
    rows = "".join(f"polarty{i} = 1\n" for i in range(MANY))
    return told(read_type, at(folder, "type.toml", OWN.replace("[device]\n", "[device]\n" + rows, 1)))


def sources(folder: Path) -> str:
    form = '\n[[sources]]\nid="s{0:05d}"\ntitle="title"\npublisher="abc"\nrevision="1"\nbasis="stored copy"\n'
    row = '\n[[ratings]]\nsymbol="VCEO"\nvalue={1}\nunit="V"\nsource="z{0:05d}"\n'
    rows = "".join(form.format(i) + row.format(i, i + 1) for i in range(MANY))
    return told(read_type, at(folder, "type.toml", OWN + rows))


@pytest.mark.parametrize(
    ("slips", "hint"),
    [
        (quantities, "names near it: VCE(sat)"),
        (conditions, "known names near it: VEB"),
        (lots, "lot bug00000 does not stand in the lot sheet; close names: bag00000"),
        (roles, "names near it: vbe"),
        (keys, "did you mean 'polarity'?"),
        (sources, "did you mean 's00000'?"),
    ],
)
def test_a_file_of_slips_gets_its_hints_and_only_so_many_are_looked_up(slips, hint, tmp_path, monkeypatch):
    looked_up = []
    real = difflib.get_close_matches
    monkeypatch.setattr(difflib, "get_close_matches", lambda *of: looked_up.append(of[0]) or real(*of))
    said = slips(tmp_path)
    assert hint in said
    assert 1 <= len(looked_up) <= NearNames.MOST_SLIPS
    assert len(said) < 400 * MANY  # no message lists every name there is


def test_a_name_is_not_looked_up_among_very_many_and_a_text_is_no_name():
    near = NearNames()
    assert near.of("bag1", ["bag2"] * (NearNames.MOST_NAMES + 1)) == []
    assert near.of("b" * (NearNames.LONGEST + 1), ["b" * NearNames.LONGEST]) == []
    assert near.of("bag1", ["bag2"]) == ["bag2"]
