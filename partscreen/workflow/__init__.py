"""One function per user question; the only place where rooms meet. Names are loaded on first use.

`_NAMES` is the one table of what can be asked. `__init__.pyi`, for checkers and editors, is written from it
by `python -m tests.docs.refresh --written`.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_NAMES: dict[str, tuple[str, ...]] = {
    "after.matching": (
        "match_and_draw",
        "match_results",
        "match_screenings",
        "matched_figures",
        "reopen_match",
        "write_match_figures",
        "write_match_table",
        "write_matching",
    ),
    "after.plan": ("make_plan",),
    "after.plan_options": ("PlanOptions",),
    "after.stage": (
        "check_stage",
        "replace_type",
        "write_stage",
    ),
    "after.trust": (
        "TrustOptions",
        "weigh_suppliers",
    ),
    "book.common": (
        "Asked",
        "Signed",
    ),
    "book.correct": (
        "correct_entry",
        "correct_reading",
    ),
    "book.day": ("day_list",),
    "book.entries": (
        "record_approval",
        "record_bias",
        "record_fitted",
        "record_kit_check",
        "record_observation",
        "record_outcome",
        "record_override",
        "record_quarantine",
        "record_stress",
    ),
    "book.export": ("export_book",),
    "book.keeping": (
        "backup_book",
        "book_place",
        "erase_photo",
        "kits_due",
        "restore_book",
        "show_book",
        "verify_book",
        "where_is",
    ),
    "book.look": (
        "entry_in_book",
        "fetch_file",
        "find_in_book",
        "job_in_book",
        "list_jobs",
        "show_in_full",
        "supplier_in_book",
    ),
    "book.matched": ("record_matches",),
    "book.record": (
        "keep_screening",
        "record_screening",
    ),
    "book.rescreen": ("rescreen",),
    "book.retest": ("remeasure",),
    "codes": ("tell_codes",),
    "demo": (
        "copy_demo",
        "run_demo",
    ),
    "figures": (
        "draw_figures",
        "figures_of",
    ),
    "files.column_maps": (
        "forget_columns",
        "map_text",
        "remember_columns",
        "saved_column_maps",
        "section_of",
        "write_maps",
    ),
    "files.lookup": (
        "explain_files",
        "saved_columns",
        "tell_types",
    ),
    "files.understand": (
        "Columns",
        "Understood",
        "column_roles",
        "cut_file",
        "understand_files",
        "write_lots",
    ),
    "judge.goods_in": (
        "with_book_facts",
        "write_stock_table",
    ),
    "judge.learned": ("learn_from_book",),
    "judge.screening": (
        "check_part",
        "exit_code",
        "judge_prepared",
        "prepare_files",
        "screen_files",
    ),
    "judge.watching": ("watch_folder",),
    "judge.writing": ("write_outcome",),
    "options": (
        "Outcome",
        "Progress",
        "ScreenOptions",
    ),
    "own.files": (
        "drop_own_file",
        "keep_own_file",
        "own_file",
        "own_folder",
        "own_kits",
        "own_types",
        "references_to_use",
        "usable_types",
    ),
    "own.kit": (
        "new_kit",
        "tell_kit",
    ),
    "own.new_type": ("describe_type",),
    "own.questions": (
        "ask_on",
        "begin_questions",
        "drop_questions",
        "questions_begun",
        "write_asked",
    ),
    "papers.of_results": (
        "PaperOptions",
        "paper_labels",
        "paper_lot",
        "paper_record",
        "paper_refund",
        "paper_stock",
    ),
    "papers.power_up": (
        "CardOptions",
        "paper_card",
        "paper_pairs",
    ),
    "saved": ("load_screening",),
    "typed.answers": ("answer_typed",),
    "typed.live_sitting": ("LotTold",),
    "typed.opening": (
        "TypeInOptions",
        "open_sitting",
    ),
    "typed.sheet": (
        "SheetOptions",
        "write_sheet",
    ),
    "typed.sittings": (
        "begin_sitting",
        "drop_sitting",
        "files_of_sitting",
        "kept_sittings",
        "lots_to_type",
        "resume_sitting",
    ),
    "typed.type_in": ("type_readings",),
    "volume.run": ("stream_screening",),
}
_HOME = {name: module for module, names in _NAMES.items() for name in names}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"partscreen.workflow.{_HOME[name]}"), name)
    raise AttributeError(f"module 'partscreen.workflow' has no attribute {name!r}")
