"""Are these parts what their markings say?"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from partscreen import __version__
from partscreen.errors import Problem
from partscreen.workflow.judge.learned import populations_of
from partscreen.workflow.judge.lot_actions import with_actions
from partscreen.workflow.options import Outcome, Progress, ScreenOptions, silent
from partscreen.workflow.own.kit import kit_notice
from partscreen.workflow.papers.read_as import kit_used, with_what_was_read
from partscreen.workflow.settings import kelvin, load_library, polarity_of

if TYPE_CHECKING:
    from partscreen.readings.import_files import Amend
    from partscreen.readings.instruments.kit import Kit
    from partscreen.readings.instruments.uncertainty import SessionUncertainty
    from partscreen.readings.tables import Batch
    from partscreen.reference import Library
    from partscreen.report.data import ReportData
    from partscreen.results import ControlSeen, InputFile, LotResult, Reason, Screening
    from partscreen.screening.fitting import SessionErrors
    from partscreen.screening.lot.setup import PopulationFor


def screen_files(
    files: Sequence[Path | str],
    options: ScreenOptions | None = None,
    *,
    progress: Progress | None = None,
    figures: bool = True,
    population_for: PopulationFor | None = None,
    amend: Amend | None = None,
) -> Outcome:
    """Judge every part of the files brought: import, checks, corrections, fit, limits, disposition.

    Parameters
    ----------
    files : paths of delimited text or XLSX
    options : ScreenOptions
    progress : callable(what, done, total), optional
    figures : also collect what the report draws
    population_for : gives the prior of a type's parts; None: the library's, with every source it has
    amend : puts cells right that were typed wrongly, before they are understood

    Raises
    ------
    UnusableInput
        A setting (kit, lot in words, temperature, reference file) cannot be used. Content of files never raises:
        problems stand in the result, and the good parts go on.
    """
    return judge_prepared(
        prepare_files(files, options, progress=progress, amend=amend),
        progress=progress,
        figures=figures,
        population_for=population_for,
    )


@dataclass(frozen=True, slots=True)
class Prepared:
    """Files read, checked and corrected: what is judged, and what the result tells of it.

    contradictory : reasons by part. with_control : before control pieces were taken out. shared : errors of sessions.
    """

    chosen: ScreenOptions
    library: Library
    kit: Kit | None
    batch: Batch
    contradictory: dict[int, Reason]
    with_control: Batch
    shared: SessionUncertainty
    notices: tuple[str, ...]

    @property
    def temperature(self) -> float | None:
        """Case temperature where the files state none. [K]"""
        return kelvin(self.chosen.temperature_c)

    def told(self, lots: list[LotResult], spreads: str | None) -> Screening:
        """The result around the lots."""
        from partscreen.results import Screening

        return Screening(
            version=__version__,
            settings={**_settings(self.chosen, self.kit), "spreads": spreads},
            inputs=[*self.batch.inputs, *_settings_with_problems(self.batch)],
            not_judged=list(self.batch.not_judged),
            lots=lots,
            kit=kit_used(self.kit),
        )


def prepare_files(
    files: Sequence[Path | str],
    options: ScreenOptions | None = None,
    *,
    progress: Progress | None = None,
    amend: Amend | None = None,
) -> Prepared:
    """All that comes before the judgement; arguments and errors as of `screen_files`."""
    from partscreen.readings.import_files import import_files
    from partscreen.readings.instruments.control_piece import follow_control_piece
    from partscreen.readings.instruments.corrections import correct
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.readings.instruments.uncertainty import apply_kit, session_uncertainty
    from partscreen.readings.quality.checks import check_quality
    from partscreen.readings.rows.lot_sheet import parse_lot_option
    from partscreen.screening.contradictions import set_aside
    from partscreen.screening.lot.left_out import leave_out, leave_out_too_large

    chosen = options or ScreenOptions()
    tell = progress or silent
    library = load_library(chosen.references)
    kit = load_kit(chosen.kit) if chosen.kit else None
    temperature = kelvin(chosen.temperature_c)
    lots = [parse_lot_option(text) for text in chosen.lot_texts]
    tell("reading files", 0, len(files))
    batch = import_files(
        files,
        column_map=chosen.columns,
        lot_sheet=chosen.lots,
        type_name=chosen.type_name,
        default_lots=lots,
        amend=amend,
    )
    tell("reading files", len(files), len(files))
    batch = leave_out_too_large(leave_out(batch, library))
    batch = apply_kit(batch, kit, temperature=temperature)
    batch, corrections = correct(batch, kit)
    batch = check_quality(batch, kit, lambda lot: polarity_of(library, lot.type))
    batch, contradictory = set_aside(batch)
    with_control = batch
    batch = follow_control_piece(batch)
    return Prepared(
        chosen,
        library,
        kit,
        batch,
        contradictory,
        with_control,
        session_uncertainty(batch, kit, temperature=temperature),
        (*batch.notices, *(note.sentence for note in corrections), *kit_notice(kit)),
    )


def judge_prepared(
    ready: Prepared,
    *,
    progress: Progress | None = None,
    figures: bool = True,
    population_for: PopulationFor | None = None,
) -> Outcome:
    """Judge all lots at once; arguments as of `screen_files`."""
    learned: str | None = None
    if population_for is None:
        population_for, learned = populations_of(ready.chosen, ready.batch.lots, progress)
    results = judge_lots(ready, population_for, progress=progress)
    screening = ready.told(results, learned)
    batch = ready.batch
    return Outcome(
        screening,
        exit_code(screening, batch.problems),
        _report_data(batch, results, ready.library, ready.notices, ready.with_control) if figures else None,
        ready.notices,
        batch,
        ready.kit,
    )


def judge_lots(
    ready: Prepared,
    population_for: PopulationFor,
    *,
    progress: Progress | None = None,
    only: Collection[int] | None = None,
    errors: Mapping[tuple[str, str | None], SessionErrors] | None = None,
    control: Mapping[int, ControlSeen] | None = None,
) -> list[LotResult]:
    """Results of the lots, in their order.

    Parameters
    ----------
    only : numbers of the lots that are judged, the others teach; None: all
    errors : of sessions, by type and gain group, where they were found from more parts than are here
    control : control pieces by session where they are no longer in the batch
    """
    from partscreen.screening.contradictions import hold_contradictions
    from partscreen.screening.lot.sub_lots import with_mixed_marked, with_sub_lots
    from partscreen.screening.screen import screen_batch

    chosen, batch = ready.chosen, ready.batch
    results = screen_batch(
        with_mixed_marked(batch),
        ready.library,
        risk=chosen.risk,
        reach=chosen.reach,
        prior_share=chosen.prior_share,
        cost=chosen.cost,
        kit=ready.kit,
        temperature=ready.temperature,
        session_uncertainty=ready.shared,
        population_for=population_for,
        progress=progress,
        only=only,
        errors=errors,
    )
    results = with_sub_lots(results, batch, chosen.prior_share)
    results = hold_contradictions(batch, results, ready.contradictory)
    results = with_actions(results, batch.lots, chosen)
    return with_what_was_read(results, batch, ready.with_control, control=control)


def check_part(
    type_name: str, readings: Sequence[str], options: ScreenOptions | None = None
) -> tuple[Outcome, tuple[str, ...]]:
    """A first answer about one part from readings such as "C_CB=118 pF @ VCB=10 V": one lot of one part, and words.

    Raises
    ------
    UnusableInput
        A reading or a setting cannot be used; every problem of every reading at once.
    """
    from partscreen.readings.instruments.kit import load_kit
    from partscreen.results import Screening
    from partscreen.screening.single import check_readings

    chosen = options or ScreenOptions()
    library, kit = load_library(chosen.references), load_kit(chosen.kit) if chosen.kit else None
    found = check_readings(
        type_name, readings, library, kit, temperature=kelvin(chosen.temperature_c), risk=chosen.risk,
        reach=chosen.reach, prior_share=chosen.prior_share,
    )  # fmt: skip
    settings = {**_settings(chosen, kit), "type": type_name}
    screening = Screening(
        version=__version__,
        settings=settings,
        inputs=list(found.batch.inputs),
        lots=with_what_was_read(found.lots, found.batch, found.batch),
        kit=kit_used(kit),
    )
    return Outcome(screening, exit_code(screening, found.batch.problems)), found.words


def exit_code(screening: Screening, problems: Sequence[Problem] = ()) -> int:
    """0 all accepted; 3 something could not be used; 4 something rejected; 5 something held, nothing rejected."""
    left_out = any(row.code != "NOT_COVERED" for row in screening.not_judged)
    codes = {code for lot in screening.lots for code in codes_of_lot(lot)}
    return code_of_run(codes, nothing_lost=not (problems or left_out))


def codes_of_lot(lot: LotResult) -> set[int]:
    """Exit codes that the parts of a lot ask for, 0 among them where one was accepted."""
    asked = {None: 3, "reject": 4, "hold": 5, "accept": 0}
    spoilt = any(note.code in _SLIPS for part in lot.parts for note in part.quality)
    return {asked[part.disposition] for part in lot.parts} | ({3} if spoilt else set())


def code_of_run(codes: set[int], *, nothing_lost: bool) -> int:
    """The exit code of all lots together."""
    if not codes or not nothing_lost:
        return 3
    return next(code for code in (3, 4, 5, 0) if code in codes)


_SLIPS = frozenset({"IMPOSSIBLE_SIZE"})  # a reading that was typed or scaled wrongly could not be used


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


def _report_data(
    batch: Batch, lots: Sequence[LotResult], library: Library, notices: tuple[str, ...], with_control: Batch
) -> ReportData:
    from partscreen.report.collect import lot_data
    from partscreen.report.data import ReportData

    return ReportData(lots=lot_data(batch, lots, library, with_control), notices=notices, not_tested=_NOT_TESTED)


_NOT_TESTED = ("Nothing here has stressed a part at its rated voltage, power or temperature unless a reading says so.",)
