"""The pages are true: commands run and answer as shown, code runs, examples are valid files, links lead somewhere."""

from __future__ import annotations

import csv
import re
import tomllib
from contextlib import chdir, redirect_stdout
from io import StringIO

import pytest

from partscreen.readings.columns.column_map import column_map_from
from partscreen.readings.import_files import import_files
from partscreen.readings.instruments.kit import Kit
from partscreen.readings.rows.lot_sheet import load_lot_sheet
from partscreen.reference.validate import build
from partscreen.stage.model import Stage
from tests.docs import bag, picture
from tests.docs.pages import PAGES, ROOT, Block, blocks, commands, prepare, refreshed, run, same, stated_exit_codes

REFRESH = "if the change is meant: python -m tests.docs.refresh"


def page_name(path):
    return str(path.relative_to(ROOT))


def all_blocks(*kinds):
    found = []
    for path in PAGES:
        of_page = [b for b in blocks(path.read_text(encoding="utf-8")) if b.kind in kinds]
        found += [pytest.param(b, id=f"{page_name(path)}-{i}") for i, b in enumerate(of_page, 1)]
    return found


WITH_COMMANDS = [p for p in PAGES if any(b.kind in ("console", "sh") for b in blocks(p.read_text(encoding="utf-8")))]


@pytest.fixture(scope="module", params=WITH_COMMANDS, ids=page_name)
def page(request, tmp_path_factory):
    """A page as it is and as it would be written today (its commands run once, in a folder of their own)."""
    folder = tmp_path_factory.mktemp("page")
    prepare(folder)
    text = request.param.read_text(encoding="utf-8")
    return blocks(text), blocks(refreshed(text, folder)), folder


def test_commands_answer_as_the_page_shows(page):
    shown, now, _ = page
    for old, new in zip(shown, now, strict=True):
        assert same(old.body, new.body), f"shown:\n{old.body}\nnow:\n{new.body}\n{REFRESH}"


def test_exit_codes_are_as_the_page_shows(page):
    shown, now, folder = page

    def codes(found):
        return [re.findall(r"^\$ echo \$\?\n(\d+)$", b.body, re.MULTILINE) for b in found]

    assert codes(shown) == codes(now)
    for block in shown:
        if block.kind == "sh":
            ran = [run(line, folder).exit_code for line in commands(block.body)]
            assert ran == stated_exit_codes(block.body)


@pytest.mark.parametrize("block", all_blocks("python"))
def test_python_block_runs_from_a_checkout(block: Block, tmp_path):
    prepare(tmp_path)
    with chdir(tmp_path), redirect_stdout(StringIO()) as printed:
        exec(compile(block.body, "<page>", "exec"), {"__name__": "page"})
    assert printed.getvalue().strip(), "a block that prints nothing shows nothing"


@pytest.mark.parametrize("block", all_blocks("toml"))
def test_toml_block_is_a_file_the_program_takes(block: Block):
    data = tomllib.loads(block.body)
    if "columns" in data:
        assert column_map_from(data, "map.toml").entries
    elif "stage" in data:
        assert Stage.model_validate(data).stage.devices_per_rail
    elif "instruments" in data:
        assert Kit.model_validate(data).instruments
    else:
        found, problems = build(data, "type.toml")
        assert found is not None
        assert not problems


@pytest.mark.parametrize("block", all_blocks("csv"))
def test_csv_block_is_a_file_the_program_takes(block: Block, tmp_path):
    body = block.body.removesuffix("...\n")
    rows = list(csv.reader(body.splitlines()))
    assert len({len(row) for row in rows}) == 1
    path = tmp_path / "block.csv"
    path.write_text(body, encoding="utf-8")
    if "supplier" in rows[0]:
        sheet = load_lot_sheet(path)
        assert not sheet.problems
        assert not sheet.notices
        assert len(sheet.lots) == len(rows) - 1
    else:
        batch = import_files([path], type_name="2SC5200")
        assert not batch.problems
        assert batch.n_parts


@pytest.mark.parametrize("path", PAGES, ids=page_name)
def test_links_of_the_page_lead_somewhere(path):
    text = path.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        if re.match(r"[a-z]+://|mailto:", target):
            continue
        name, _, anchor = target.partition("#")
        other = (path.parent / name).resolve() if name else path
        assert other.exists(), f"{page_name(path)}: {target}"
        if anchor:
            headings = re.findall(r"^#+ (.+)$", other.read_text(encoding="utf-8"), re.MULTILINE)
            anchors = [re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in headings]
            assert anchor in anchors, f"{page_name(path)}: {target}; headings: {anchors}"


def test_make_targets_of_the_readme_exist():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    named = set(re.findall(r"^    make ([a-z]+)", readme, re.MULTILINE))
    assert named == {"demo", "test"}
    for target in named:
        assert re.search(rf"^{target}:", makefile, re.MULTILINE), target


def test_readme_names_fit_envelope_and_outlier_model_in_its_first_paragraph():
    first = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")[1]
    for words in ("fits", "envelope", "outlier model", "accept", "hold", "reject"):
        assert words in first


def options_of_commands():
    """Name of the command and option; commands of a group count under the group's name."""
    import typer

    from partscreen.cli.app import app

    def below(command):
        found = [option for p in command.params for option in (*p.opts, *p.secondary_opts)]
        return found + [option for one in getattr(command, "commands", {}).values() for option in below(one)]

    group = typer.main.get_command(app)
    return [(name, option) for name, command in group.commands.items() for option in below(command)]


def test_every_option_is_on_the_page_of_commands():
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    cut = {m[1]: m[2] for m in re.finditer(r"^## partscreen ([\w-]+)(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)}
    told = [(name, option) for name, option in options_of_commands() if option.startswith("--")]
    assert len(told) > 20
    missing = [f"{name} {option}" for name, option in told if f"`{option}" not in cut.get(name, "")]
    assert not missing


def test_every_option_on_the_page_of_commands_exists():
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    known = {option for _, option in options_of_commands()} | {"--help", "--version"}
    assert set(re.findall(r"`(?:partscreen )?(--[a-z-]+)", text)) <= known


def codes_in(folder: str, pattern: str) -> set[str]:
    found: set[str] = set()
    for path in (ROOT / "partscreen" / folder).rglob("*.py"):
        found |= set(re.findall(pattern, path.read_text(encoding="utf-8")))
    return found


def test_every_code_a_user_can_meet_is_explained():
    pages = "".join(p.read_text(encoding="utf-8") for p in PAGES)
    reasons = codes_in("screening", r'Reason\(\s*code="([A-Z_]{3,})"')
    notes = codes_in("readings", r'QualityNote\(\s*code="([A-Z_]{3,})"')
    problems = codes_in("readings", r'Problem\(\s*"([A-Z_]{3,})"') | codes_in(
        "readings", r'BadCell\([\w. ]+,\s*"([A-Z_]{3,})"'
    )
    findings = codes_in("readings", r'Finding\(\s*"([A-Z_]{3,})"')
    assert min(map(len, (reasons, notes, problems, findings))) >= 4
    missing = sorted(code for code in reasons | notes | problems | findings if f"`{code}`" not in pages)
    assert not missing


def test_worked_bag_is_made_again_byte_by_byte():
    for name, text in bag.files().items():
        assert (bag.FOLDER / name).read_bytes() == text.encode(), REFRESH


def test_picture_of_the_readme_is_small_labelled_and_a_picture():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "docs/pictures/report.png" in readme
    assert "**The readings are invented**" in readme
    data = picture.PICTURE.read_bytes()
    assert data.startswith(b"\x89PNG")
    assert 10_000 < len(data) < picture.LARGEST


@pytest.mark.parametrize("path", PAGES, ids=page_name)
def test_page_never_calls_a_part_by_words_that_only_a_maker_could_prove(path):
    text = path.read_text(encoding="utf-8")
    if path.name == "DEVELOPERS.md":  # the guide names the words it forbids
        return
    assert not re.search(r"\b(genuine|fake|counterfeit)\b", text, re.IGNORECASE)


def test_checked_pages_have_the_blocks_that_are_checked():
    kinds = [b.kind for p in PAGES for b in blocks(p.read_text(encoding="utf-8"))]
    for kind, least in (("console", 10), ("python", 3), ("toml", 3), ("csv", 4), ("sh", 1)):
        assert kinds.count(kind) >= least


def test_every_command_of_the_overview_exists():
    text = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    told = re.findall(r"^    partscreen ([\w-]+)", text, re.MULTILINE)
    assert sorted(set(told)) == sorted({name for name, _ in options_of_commands()})


def test_reason_codes_on_the_page_of_the_result_exist():
    text = (ROOT / "docs" / "result.md").read_text(encoding="utf-8").split("## Reason codes")[1].split("## ")[0]
    told = set(re.findall(r"`([A-Z_]{3,})`", text))
    source = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "partscreen").rglob("*.py"))
    assert len(told) > 15
    assert sorted(code for code in told if f'"{code}"' not in source) == []


def test_readme_says_what_is_not_there_yet_as_long_as_it_is_not():
    from partscreen.workflow import ScreenOptions, screen_files

    outcome = screen_files([bag.FOLDER / "bag.csv"], ScreenOptions(type_name="2SC5200"), figures=False)
    (lot,) = outcome.screening.lots
    judged = [part for part in lot.parts if part.status == "judged"]
    waiting = any(reason.code == "NOT_YET_WEIGHED" for part in judged for reason in part.reasons)
    without_outlier_model = all(part.outlier_distance is None for part in judged)
    said = "**Not there yet:**" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert said == (waiting or without_outlier_model)
