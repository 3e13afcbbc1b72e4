"""How many parts of a lot to test."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from partscreen.errors import Problem, UnusableInput, not_writable
from partscreen.whole_files import write_whole
from partscreen.workflow.after.plan_history import history_of_book, read_history
from partscreen.workflow.after.plan_options import CannotBe, Checked, PlanOptions, flag

if TYPE_CHECKING:
    from partscreen.lots.attribute_plans import Severity
    from partscreen.lots.plan_answer import Frame
    from partscreen.lots.sequential import Outcome
    from partscreen.results.plan import PlanResult, Question

_LEVELS = ("I", "II", "III", "S-1", "S-2", "S-3", "S-4")
_SEVERITIES = ("normal", "tightened", "reduced")


def make_plan(options: PlanOptions) -> PlanResult:
    """Answer the one question that the options ask.

    Raises
    ------
    CannotBe
        Options that contradict each other or numbers that cannot be, all of them at once.
    UnusableInput
        What was asked is out of reach, or the file of past lots cannot be used.
    """
    from partscreen.lots.plan_answer import FoundMoreThanTested
    from partscreen.lots.zero_acceptance import OutOfReach

    checked = Checked(options)
    question = checked.question()
    frame = _frame(checked)
    ask = _ASKED[question](checked, frame)
    _checked_draw(checked, frame, question)
    checked.done()
    try:
        return _with_drawn(ask(), options)
    except FoundMoreThanTested as error:
        raise CannotBe([_too_many(error.found, error.tested)]) from error
    except OutOfReach as error:
        fix = "ask for less, test a larger lot, or use readings that miss fewer bad parts"
        raise UnusableInput([Problem("OUT_OF_REACH", str(error), fix, "out of reach")]) from error


def _checked_draw(checked: Checked, frame: Frame, question: Question) -> None:
    options = checked.options
    if options.seed is not None and not options.draw:
        checked.slip("seed", "says nothing without --draw", "add --draw, or leave it out")
    elif options.seed is not None and options.seed < 0:
        checked.slip("seed", f"{options.seed} cannot be", "give a whole number from 0 on")
    if options.draw and frame.lot_size is None:
        checked.slip("draw", "draws from a lot of known size", "give --lot-size")
    if options.draw and question == "sequential":
        checked.slip("draw", "the number of parts is not known before", "draw with --sample, or read them as they lie")


def _with_drawn(result: PlanResult, options: PlanOptions) -> PlanResult:
    """With the numbers of the pieces to test, where they are to be drawn."""
    from partscreen.lots.draw import draw_pieces, new_seed
    from partscreen.results.plan import DrawnPieces

    if not options.draw or result.lot_size is None or not result.sample_size:
        return result
    seed = new_seed() if options.seed is None else options.seed
    pieces = draw_pieces(result.lot_size, result.sample_size, seed)
    return result.model_copy(update={"drawn": DrawnPieces(seed=seed, pieces=pieces)})


def plan_exit_code(error: UnusableInput) -> int:
    """2 for a matter of usage, 3 for input that cannot be used."""
    return 2 if isinstance(error, CannotBe) else 3


def plan_lines(result: PlanResult) -> list[str]:
    """The answer in plain lines, the sentence first."""
    from partscreen.report.plan_text import lines

    return lines(result)


def write_plan_figure(result: PlanResult, path: Path) -> None:
    """Draw the operating curve as an SVG file.

    Raises
    ------
    UnusableInput
        There is no curve, or the file cannot be written.
    """
    from partscreen.report.plan_figure import curve_svg

    text = curve_svg(result)
    if text is None:
        what, fix = "this answer has no operating curve: no sample decides", "leave --figure out"
        raise UnusableInput([Problem("NO_CURVE", what, fix, str(path))])
    try:
        write_whole(path, text)
    except OSError as error:
        raise not_writable(error, path) from error


_Ask = Callable[[], "PlanResult"]


def _frame(checked: Checked) -> Frame:
    from partscreen import __version__
    from partscreen.lots.plan_answer import PRIOR_SHARE, Frame
    from partscreen.lots.zero_acceptance import CONFIDENCE

    options = checked.options
    lot_size = checked.count("lot_size", 0, 1) or None
    settings = {name: str(v) if isinstance(v, Path) else v for name, v in options.given().items()}
    return Frame(
        version=__version__, settings=settings, lot_size=lot_size, readings=checked.readings(),
        confidence=checked.share("confidence", CONFIDENCE), prior_share=checked.share("prior_share", PRIOR_SHARE),
        found=options.found, stop_at_first=options.stop_at_first,
    )  # fmt: skip


def _too_many(found: int, tested: int) -> Problem:
    what = f"{found} found, but the sample has {tested}"
    return Problem("NOT_AN_OPTION_VALUE", what, "give the number of bad parts in the sample", flag("found"))


def _checked_found(checked: Checked, most: int | None) -> None:
    found = checked.options.found
    if found is not None and (found < 0 or (most is not None and found > most)):
        checked.problems.append(_too_many(found, most or 0))


def _size(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.plan_answer import answer_size
    from partscreen.lots.zero_acceptance import TOLERABLE

    tolerable = checked.share("tolerable", TOLERABLE)
    c = checked.count("allow", 0, 0, None if frame.lot_size is None else frame.lot_size - 1, ", below the lot size")
    _stops(checked, c)
    _checked_found(checked, frame.lot_size)
    return lambda: answer_size(frame, tolerable, c)


def _given(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.plan_answer import answer_given
    from partscreen.lots.zero_acceptance import TOLERABLE

    tolerable = checked.share("tolerable", TOLERABLE)
    n = checked.count("sample", 1, 1, frame.lot_size, ", the lot size")
    c = checked.count("allow", 0, 0, n - 1, ", below the sample")
    _stops(checked, c)
    _checked_found(checked, n)
    return lambda: answer_given(frame, n, c, tolerable)


def _stops(checked: Checked, c: int) -> None:
    if checked.options.stop_at_first and c:
        checked.slip("stop_at_first", f"contradicts --allow {c}", "leave one of them out")


def _risks(checked: Checked) -> tuple[float, float, float, float]:
    good, bad = checked.share("good", 0.01, zero=True), checked.share("bad", 0.1)
    producer, consumer = checked.share("producer_risk", 0.05), checked.share("consumer_risk", 0.10)
    if good >= bad:
        checked.slip("good", f"{good:g} is not below --bad {bad:g}", "the good share must be the smaller one")
    if producer + consumer >= 1.0:
        checked.slip("producer_risk", "both risks together are 1 or more", "5% and 10% are usual")
    return good, bad, producer, consumer


def _two_point(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.plan_answer import answer_two_point

    good, bad, producer, consumer = _risks(checked)
    _checked_found(checked, frame.lot_size)
    return lambda: answer_two_point(frame, good, bad, producer, consumer)


def _sequential(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.plan_more import answer_sequential

    good, bad, producer, consumer = _risks(checked)
    if good == 0.0 and frame.readings.against_if_good == 0.0:
        checked.slip("good", "0 leaves no room: one bad part would end every lot", "write a small share, as 1%")
    so_far = _outcomes(checked)
    if frame.lot_size is not None and len(so_far) > frame.lot_size:
        checked.slip("so_far", f"{len(so_far)} parts, the lot has {frame.lot_size}", "one letter a part tested")
    return lambda: answer_sequential(frame, good, bad, producer, consumer, so_far)


_LETTERS: dict[str, Outcome] = {"p": "pass", "f": "fail", "h": "held"}


def _outcomes(checked: Checked) -> tuple[Outcome, ...]:
    text = "".join((checked.options.so_far or "").lower().replace(",", " ").split())
    strange = sorted(set(text) - set(_LETTERS))
    if strange:
        fix = "one letter a part in the order tested: p passed, f failed, h held"
        checked.slip("so_far", f"{', '.join(map(repr, strange))} not known", fix)
        return ()
    return tuple(_LETTERS[letter] for letter in text)


def _table(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.plan_answer import answer_table

    options = checked.options
    aql = checked.aql()
    level = checked.word("level", _LEVELS, "II")
    severity = checked.word("severity", _SEVERITIES, "normal")
    past_known = options.history is not None or options.history_of is not None
    if past_known and options.severity is not None:
        checked.slip("severity", "follows from the past lots", "leave it out, or the past lots")
    if options.history is not None and options.history_of is not None:
        checked.slip("history_of", "the past lots are given twice", "take the file or the bench book, not both")
    if options.book is not None and options.history_of is None:
        checked.slip("book", "says nothing without --history-of", "name the supplier with --history-of")
    if options.allow_reduced and not past_known:
        checked.slip(
            "allow_reduced", "says nothing without --history or --history-of", "give past lots, or --severity reduced"
        )
    if frame.lot_size == 1:
        checked.slip("lot_size", "the tables begin at 2 parts", "test the one part")
    _checked_found(checked, frame.lot_size)

    def ask() -> PlanResult:
        past = read_history(options.history) if options.history is not None else ()
        if options.history_of is not None:
            past = history_of_book(options.history_of, options.book)
        start: Severity = "tightened" if severity == "tightened" else "reduced" if severity == "reduced" else "normal"
        try:
            return answer_table(
                frame, aql, level=level, severity=start, past=past, reduced=options.allow_reduced
            )  # fmt: skip
        except ValueError as error:
            fix = "the number of bad parts in the sample, not in the lot"
            raise UnusableInput([Problem("NOT_A_COUNT", str(error), fix, str(options.history or ""))]) from error

    return ask


def _cost(checked: Checked, frame: Frame) -> _Ask:
    from partscreen.lots.cost_outcomes import Prices, Reading
    from partscreen.lots.plan_more import answer_cost
    from partscreen.lots.readings_power import PERFECT, ReadingsPower

    options = checked.options
    amounts = [checked.cost(name) for name in ("price", "minute_value", "harm")]
    refund, return_cost = checked.share("refund", 0.0, zero=True, one=True), checked.cost("return_cost")
    minutes, destroy_minutes = checked.cost("minutes"), checked.cost("destroy_minutes")
    destroy_power = checked.share("destroy_power", 1.0, one=True)
    held_minutes = checked.cost("held_minutes") if options.held_minutes is not None else None
    if held_minutes is not None and not (frame.readings.held_if_good or frame.readings.held_if_bad):
        checked.slip("held_minutes", "no part is held", "say how many with --held, or leave it out")
    if options.destroy_power is not None and options.destroy_minutes is None:
        checked.slip("destroy_minutes", "is missing beside --destroy-power", "give its minutes a part")
    if options.destroy_minutes is not None and options.stop_at_first:
        checked.slip("stop_at_first", "is not worked out for destroyed samples", "leave one of them out")
    prices = Prices(price=amounts[0], minute_value=amounts[1], harm=amounts[2], refund=refund, return_cost=return_cost)
    lost = None
    if options.destroy_minutes is not None:
        lost = Reading(PERFECT if destroy_power == 1.0 else ReadingsPower(destroy_power), destroy_minutes, True)
    return lambda: answer_cost(frame, prices, Reading(frame.readings, minutes, held_minutes=held_minutes), lost)


_ASKED: dict[Question, Callable[[Checked, Frame], _Ask]] = {
    "size": _size,
    "given": _given,
    "two_point": _two_point,
    "sequential": _sequential,
    "table": _table,
    "cost": _cost,
}
