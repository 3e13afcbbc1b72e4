"""One function per user question; the only place where rooms meet."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen import __version__
from partscreen.errors import Problem, UnknownType, UnusableInput

if TYPE_CHECKING:
    from partscreen.readings.kit import Kit
    from partscreen.readings.tables import Batch
    from partscreen.reference import Library
    from partscreen.report.data import ReportData
    from partscreen.results import InputFile, LotResult, Screening
    from partscreen.screening.lot_setup import PopulationFor

Progress = Callable[[str, int, int], None]


def _silent(what: str, done: int, total: int) -> None:
    return None


@dataclass(frozen=True, slots=True)
class ScreenOptions:
    """What the user set for one run of `screen`.

    `risk`: consumer's risk at a limit (0.02: ANSI/NCSL Z540.3). `prior_share` of unfit parts (assumption 0.1).
    `reach`: die area ratio an accept must be able to show (assumption 0.6). `cost` of a bad part in parts thrown away
    (assumption 10). `temperature_c`: case temperature where files state none. [degC]
    """

    lots: Path | None = None
    lot_texts: tuple[str, ...] = ()
    type_name: str | None = None
    columns: Path | None = None
    kit: Path | None = None
    references: tuple[Path, ...] = ()
    risk: float = 0.02
    prior_share: float = 0.1
    reach: float = 0.6
    cost: float = 10.0
    temperature_c: float | None = None
    brief: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """A screening, what its report needs besides, and the exit code of the command."""

    screening: Screening
    exit_code: int
    report: ReportData | None = None
    notices: tuple[str, ...] = field(default=())

    def json_text(self, *, brief: bool = False) -> str:
        """The result as JSON (`partscreen.screening/1`); `brief` leaves out covariances and curves."""
        leave_out: Any = None
        if brief:
            leave_out = {"lots": {"__all__": {"parts": {"__all__": {"fit": {"covariance"}, "curves": True}}}}}
        return self.screening.model_dump_json(by_alias=True, exclude=leave_out)


def screen_files(
    files: Sequence[Path | str],
    options: ScreenOptions | None = None,
    *,
    progress: Progress | None = None,
    figures: bool = True,
    population_for: PopulationFor | None = None,
) -> Outcome:
    """Judge every part of the files brought: import, checks, corrections, fit, limits, disposition.

    Parameters
    ----------
    files : paths of delimited text or XLSX
    options : ScreenOptions
    progress : callable(what, done, total), optional
    figures : also collect what the report draws
    population_for : gives the prior of a type's parts; None: the library's, with every source it has

    Raises
    ------
    UnusableInput
        A setting (kit, lot in words, temperature, reference file) cannot be used. Content of files never raises:
        problems stand in the result, and the good parts go on.
    """
    from partscreen.readings.control_piece import follow_control_piece
    from partscreen.readings.corrections import correct
    from partscreen.readings.import_files import import_files
    from partscreen.readings.kit import load_kit
    from partscreen.readings.lot_sheet import parse_lot_option
    from partscreen.readings.quality import check_quality
    from partscreen.readings.uncertainty import apply_kit, session_uncertainty
    from partscreen.reference.population import population_for as library_population
    from partscreen.results import Screening
    from partscreen.screening.contradictions import hold_contradictions, set_aside
    from partscreen.screening.screen import screen_batch

    chosen = options or ScreenOptions()
    tell = progress or _silent
    library = _library(chosen.references)
    kit = load_kit(chosen.kit) if chosen.kit else None
    temperature = _kelvin(chosen.temperature_c)
    lots = [parse_lot_option(text) for text in chosen.lot_texts]
    tell("reading files", 0, len(files))
    batch = import_files(
        files, column_map=chosen.columns, lot_sheet=chosen.lots, type_name=chosen.type_name, default_lots=lots
    )
    tell("reading files", len(files), len(files))
    batch = apply_kit(batch, kit, temperature=temperature)
    batch, corrections = correct(batch, kit)
    batch = check_quality(batch, kit, lambda lot: _polarity(library, lot.type))
    batch, contradictory = set_aside(batch)
    batch = follow_control_piece(batch)
    shared = session_uncertainty(batch, kit, temperature=temperature)
    results = screen_batch(
        batch,
        library,
        risk=chosen.risk,
        reach=chosen.reach,
        prior_share=chosen.prior_share,
        cost=chosen.cost,
        kit=kit,
        temperature=temperature,
        session_uncertainty=shared,
        population_for=population_for or library_population,
        progress=progress,
    )
    results = hold_contradictions(batch, results, contradictory)
    screening = Screening(
        version=__version__,
        settings=_settings(chosen, kit),
        inputs=[*batch.inputs, *_settings_with_problems(batch)],
        not_judged=list(batch.not_judged),
        lots=results,
    )
    notices = (*batch.notices, *(note.sentence for note in corrections))
    return Outcome(
        screening,
        exit_code(screening, batch.problems),
        _report_data(batch, results, library, notices) if figures else None,
        notices,
    )


def check_part(
    type_name: str, readings: Sequence[str], options: ScreenOptions | None = None
) -> tuple[Outcome, tuple[str, ...]]:
    """A first answer about one part from readings such as "C_CB=118 pF @ VCB=10 V": one lot of one part, and words.

    Raises
    ------
    UnusableInput
        A reading or a setting cannot be used; every problem of every reading at once.
    """
    from partscreen.readings.kit import load_kit
    from partscreen.results import Screening
    from partscreen.screening.single import check_readings

    chosen = options or ScreenOptions()
    library, kit = _library(chosen.references), load_kit(chosen.kit) if chosen.kit else None
    found = check_readings(
        type_name, readings, library, kit, temperature=_kelvin(chosen.temperature_c), risk=chosen.risk,
        reach=chosen.reach, prior_share=chosen.prior_share,
    )  # fmt: skip
    settings = {**_settings(chosen, kit), "type": type_name}
    screening = Screening(version=__version__, settings=settings, inputs=list(found.batch.inputs), lots=found.lots)
    return Outcome(screening, exit_code(screening, found.batch.problems)), found.words


def exit_code(screening: Screening, problems: Sequence[Problem] = ()) -> int:
    """0 all accepted; 3 something could not be used; 4 something rejected; 5 something held, nothing rejected."""
    parts = [part for lot in screening.lots for part in lot.parts]
    spoilt = any(note.code in _SLIPS for part in parts for note in part.quality)
    if problems or spoilt or not parts or screening.not_judged or any(part.disposition is None for part in parts):
        return 3
    if any(part.disposition == "reject" for part in parts):
        return 4
    return 5 if any(part.disposition == "hold" for part in parts) else 0


_SLIPS = frozenset({"IMPOSSIBLE_SIZE"})  # a reading that was typed or scaled wrongly could not be used


def write_outcome(
    outcome: Outcome,
    *,
    out: Path | None = None,
    json_out: Path | str | None = None,
    table: Path | None = None,
    title: str = "Screening of power transistors",
    invented: bool = False,
    brief: bool = False,
) -> list[Path]:
    """Write what was asked for: `out` gets report.html, result.json and parts.csv; returns the paths written.

    Raises
    ------
    UnusableInput
        A place cannot be written to.
    """
    from partscreen.report.html import render_report
    from partscreen.report.table import write_table

    written: list[Path] = []
    try:
        if out is not None:
            out.mkdir(parents=True, exist_ok=True)
            if outcome.report is not None:
                page = render_report(outcome.screening, outcome.report, title=title, invented=invented)
                written.append(_write(out / "report.html", page))
            written.append(_write(out / "result.json", outcome.json_text(brief=brief)))
            write_table(outcome.screening, out / "parts.csv")
            written.append(out / "parts.csv")
        if json_out is not None:
            written.append(_write(Path(json_out), outcome.json_text(brief=brief)))
        if table is not None:
            write_table(outcome.screening, table)
            written.append(table)
    except OSError as error:
        fix = "name a folder that exists and may be written to"
        raise UnusableInput(
            [Problem("NOT_WRITABLE", f"cannot write: {error.strerror or error}", fix, str(error.filename or ""))]
        ) from error
    return written


def run_demo(out: Path, *, progress: Progress | None = None) -> tuple[Outcome, Path]:
    """The whole job on the invented scenario: files, result and report in `out`; gives outcome and report."""
    from partscreen.simulate.scenario import copy_demo_files

    files = copy_demo_files(out / "files")
    outcome = screen_files(files.readings, ScreenOptions(lots=files.lots, kit=files.kit), progress=progress)
    write_outcome(outcome, out=out, title="Demonstration: the bags of a small workshop", invented=True)
    return outcome, out / "report.html"


def explain_files(
    files: Sequence[Path],
    *,
    columns: Path | None = None,
    lots: Path | None = None,
    save_columns: Path | None = None,
    as_json: bool = False,
) -> tuple[str, tuple[Problem, ...]]:
    """How files were understood, as text or JSON, and every problem found."""
    from partscreen.readings.answer import answer

    return answer(files, columns=columns, lots=lots, save_columns=save_columns, as_json=as_json)


def tell_types(
    name: str | None = None, *, validate: Path | None = None, references: Sequence[Path] = (), as_json: bool = False
) -> tuple[str, tuple[Problem, ...]]:
    """What the library knows: all types, one type in full, or whether a reference file holds."""
    from partscreen.reference.answer import answer

    return answer(name, validate, tuple(references), as_json=as_json)


def _write(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def _library(references: Sequence[Path]) -> Library:
    from partscreen.reference import Library

    return Library.load(extra_files=tuple(references))


def _polarity(library: Library, name: str | None) -> str | None:
    if not name:
        return None
    try:
        return str(library.find(name).type.device.polarity)
    except UnknownType:
        return None


def _kelvin(celsius: float | None) -> float | None:
    from partscreen.quantities import ZERO_CELSIUS

    if celsius is None:
        return None
    if not -70.0 <= celsius <= 220.0:
        fix = "give the case temperature in degrees Celsius, say --temperature 25"
        raise UnusableInput(
            [Problem("TEMPERATURE", f"{celsius:g} degC is no case temperature of a transistor on a bench", fix)]
        )
    return celsius + ZERO_CELSIUS


def _settings(chosen: ScreenOptions, kit: Kit | None) -> dict[str, Any]:
    return {
        "risk": chosen.risk,
        "prior_share": chosen.prior_share,
        "reach": chosen.reach,
        "cost": chosen.cost,
        "temperature_c": chosen.temperature_c,
        "kit": kit.name if kit else None,
        "type": chosen.type_name,
        "references": [path.name for path in chosen.references],
        "column_map": chosen.columns.name if chosen.columns else None,
        "lot_sheet": chosen.lots.name if chosen.lots else None,
    }


def _settings_with_problems(batch: Batch) -> list[InputFile]:
    """Lot sheet, column map and the like, where something is wrong with them: no readings, but told of."""
    from partscreen.results import InputFile, InputProblem

    told = {item.file for item in batch.inputs}
    found: dict[str, list[InputProblem]] = {}
    for problem in batch.problems:
        if problem.file not in told:
            entry = InputProblem(
                code=problem.code,
                row=problem.row or None,
                column=problem.column or None,
                what=problem.what,
                fix=problem.fix,
            )
            found.setdefault(problem.file or "settings", []).append(entry)
    return [InputFile(file=name, problems=problems) for name, problems in found.items()]


def _report_data(batch: Batch, lots: Sequence[LotResult], library: Library, notices: tuple[str, ...]) -> ReportData:
    from partscreen.report.collect import lot_data
    from partscreen.report.data import ReportData

    return ReportData(lots=lot_data(batch, lots, library), notices=notices, not_tested=_NOT_TESTED)


_NOT_TESTED = ("Nothing here has stressed a part at its rated voltage, power or temperature unless a reading says so.",)
