"""`partscreen book ...`: the bench book."""

from __future__ import annotations

import typer

from partscreen.cli import book_learn, book_look, book_read, book_write

app = typer.Typer(
    name="book",
    help="The bench book: what was judged, where it was fitted, what became of it.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
)

app.command("show")(book_read.show)
app.command("where")(book_read.where)
app.command("day")(book_look.day)
app.command("job")(book_look.job)
app.command("find")(book_look.find)
app.command("entry")(book_look.entry)
app.command("fetch")(book_look.fetch)
app.command("matched")(book_write.matched)
app.command("fitted")(book_write.fitted)
app.command("bias")(book_write.bias)
app.command("outcome")(book_write.outcome)
app.command("observe")(book_write.observe)
app.command("override")(book_write.override)
app.command("approve")(book_write.approve)
app.command("quarantine")(book_write.quarantine)
app.command("stress")(book_write.stress)
app.command("remeasure")(book_write.remeasure)
app.command("correct")(book_write.correct)
app.command("rescreen")(book_read.rescreen)
app.command("learn")(book_learn.learn)
app.command("kit-check")(book_write.kit_check)
app.command("overdue")(book_read.overdue)
app.command("erase-photo")(book_write.erase_photo)
app.command("verify")(book_read.verify)
app.command("backup")(book_read.backup)
app.command("restore")(book_read.restore)
app.command("export")(book_read.export)
