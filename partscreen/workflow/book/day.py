"""What waits at the bench today, and what is overdue."""

from __future__ import annotations

from datetime import date

from partscreen.results.bench import DayList
from partscreen.workflow.book.common import opened

WITHIN = 365
"""Days a good check of the instruments holds (a habit, no rule; common practice, no source)."""

AFTER = 30
"""Days after which a fitted part of which nothing was told is overdue (assumption: a month of use shows most slips)."""


def day_list(within: int = WITHIN, after: int = AFTER, where: str | None = None) -> DayList:
    """Held parts with their next measurement, lots that are not decided, overdue kits, open jobs and the like.

    Parameters
    ----------
    within : days a good check of the instruments holds
    after : days after which the outcome of a fitted part should be told

    Raises
    ------
    UnusableInput
        There is no book.
    """
    from partscreen.book import day
    from partscreen.book.job_shown import job_lines
    from partscreen.book.notes import last_good_checks
    from partscreen.book.show import head_fields
    from partscreen.workflow.book.keeping import overdue_kits

    today = date.today()
    with opened(where) as (_, facts):
        bench = day.Bench(facts, today)
        jobs = job_lines(facts, bench.fitted, today=today, after=after)
        return DayList(
            **head_fields(facts),
            within_days=within,
            after_days=after,
            held=day.held_lots(bench),
            lots=day.lots_waiting(bench),
            kits=overdue_kits(facts, within, today),
            jobs=[one for one in jobs if one.silent],
            read_again=day.to_read_again(bench),
            overrides=day.voices_wanted(bench),
            judge_again=day.to_judge_again(bench),
            aside=day.set_aside(bench),
            control_moved=day.control_moved(bench, last_good_checks(facts)),
        )
