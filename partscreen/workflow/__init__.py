"""One function per user question; the only place where rooms meet. Names are loaded on first use."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from partscreen.workflow.book import (
        backup_book,
        erase_photo,
        kits_due,
        restore_book,
        show_book,
        verify_book,
        where_is,
    )
    from partscreen.workflow.book_common import Asked, Signed
    from partscreen.workflow.book_correct import correct_entry, correct_reading
    from partscreen.workflow.book_day import day_list
    from partscreen.workflow.book_entries import (
        record_approval,
        record_bias,
        record_fitted,
        record_kit_check,
        record_observation,
        record_outcome,
        record_override,
        record_quarantine,
        record_stress,
    )
    from partscreen.workflow.book_export import export_book
    from partscreen.workflow.book_look import (
        entry_in_book,
        fetch_file,
        find_in_book,
        job_in_book,
        list_jobs,
        show_in_full,
        supplier_in_book,
    )
    from partscreen.workflow.book_matched import record_matches
    from partscreen.workflow.book_record import keep_screening, record_screening
    from partscreen.workflow.book_rescreen import rescreen
    from partscreen.workflow.book_retest import remeasure
    from partscreen.workflow.codes import tell_codes
    from partscreen.workflow.demo import run_demo
    from partscreen.workflow.figures import figures_of, pack_figures, write_figures
    from partscreen.workflow.goods_in import with_book_facts, write_stock_table
    from partscreen.workflow.kit import new_kit, tell_kit
    from partscreen.workflow.learned import learn_from_book
    from partscreen.workflow.lookup import explain_files, saved_columns, tell_types
    from partscreen.workflow.matching import (
        match_and_draw,
        match_results,
        match_screenings,
        matched_figures,
        write_match_figures,
        write_match_table,
        write_matching,
    )
    from partscreen.workflow.new_type import describe_type
    from partscreen.workflow.options import Outcome, Progress, ScreenOptions
    from partscreen.workflow.own_files import keep_own_file, own_folder, own_kits, own_types, usable_types
    from partscreen.workflow.papers import (
        PaperOptions,
        paper_labels,
        paper_lot,
        paper_record,
        paper_refund,
        paper_stock,
    )
    from partscreen.workflow.plan import make_plan
    from partscreen.workflow.plan_options import PlanOptions
    from partscreen.workflow.power_up import CardOptions, paper_card, paper_pairs
    from partscreen.workflow.saved import load_screening
    from partscreen.workflow.screening import check_part, exit_code, screen_files
    from partscreen.workflow.sheet import SheetOptions, write_sheet
    from partscreen.workflow.sittings import (
        LotTold,
        begin_sitting,
        drop_sitting,
        files_of_sitting,
        kept_sittings,
        lots_to_type,
        resume_sitting,
    )
    from partscreen.workflow.stage import check_stage, replace_type, write_stage
    from partscreen.workflow.trust import TrustOptions, weigh_suppliers
    from partscreen.workflow.type_in import type_readings
    from partscreen.workflow.type_in_answers import answer_typed
    from partscreen.workflow.type_in_open import TypeInOptions, open_sitting
    from partscreen.workflow.understand import (
        Columns,
        Understood,
        column_roles,
        understand_files,
        write_columns,
        write_lots,
    )
    from partscreen.workflow.watching import watch_folder
    from partscreen.workflow.writing import write_outcome

_HOME = {
    "answer_typed": "type_in_answers",
    "LotTold": "sittings",
    "begin_sitting": "sittings",
    "drop_sitting": "sittings",
    "files_of_sitting": "sittings",
    "kept_sittings": "sittings",
    "lots_to_type": "sittings",
    "resume_sitting": "sittings",
    "keep_own_file": "own_files",
    "own_folder": "own_files",
    "own_kits": "own_files",
    "own_types": "own_files",
    "usable_types": "own_files",
    "TrustOptions": "trust",
    "weigh_suppliers": "trust",
    "backup_book": "book",
    "erase_photo": "book",
    "kits_due": "book",
    "restore_book": "book",
    "show_book": "book",
    "verify_book": "book",
    "where_is": "book",
    "Asked": "book_common",
    "Signed": "book_common",
    "day_list": "book_day",
    "entry_in_book": "book_look",
    "fetch_file": "book_look",
    "find_in_book": "book_look",
    "job_in_book": "book_look",
    "list_jobs": "book_look",
    "show_in_full": "book_look",
    "supplier_in_book": "book_look",
    "correct_entry": "book_correct",
    "correct_reading": "book_correct",
    "record_approval": "book_entries",
    "record_bias": "book_entries",
    "record_fitted": "book_entries",
    "record_kit_check": "book_entries",
    "record_observation": "book_entries",
    "record_outcome": "book_entries",
    "record_override": "book_entries",
    "record_quarantine": "book_entries",
    "record_stress": "book_entries",
    "export_book": "book_export",
    "record_matches": "book_matched",
    "keep_screening": "book_record",
    "record_screening": "book_record",
    "rescreen": "book_rescreen",
    "remeasure": "book_retest",
    "tell_codes": "codes",
    "run_demo": "demo",
    "new_kit": "kit",
    "describe_type": "new_type",
    "tell_kit": "kit",
    "learn_from_book": "learned",
    "figures_of": "figures",
    "pack_figures": "figures",
    "write_figures": "figures",
    "explain_files": "lookup",
    "saved_columns": "lookup",
    "tell_types": "lookup",
    "match_results": "matching",
    "match_screenings": "matching",
    "matched_figures": "matching",
    "match_and_draw": "matching",
    "write_match_figures": "matching",
    "write_match_table": "matching",
    "write_matching": "matching",
    "Outcome": "options",
    "Progress": "options",
    "ScreenOptions": "options",
    "PaperOptions": "papers",
    "paper_labels": "papers",
    "paper_lot": "papers",
    "paper_record": "papers",
    "paper_refund": "papers",
    "paper_stock": "papers",
    "make_plan": "plan",
    "PlanOptions": "plan_options",
    "CardOptions": "power_up",
    "paper_card": "power_up",
    "paper_pairs": "power_up",
    "check_part": "screening",
    "exit_code": "screening",
    "screen_files": "screening",
    "SheetOptions": "sheet",
    "write_sheet": "sheet",
    "check_stage": "stage",
    "load_screening": "saved",
    "replace_type": "stage",
    "write_stage": "stage",
    "TypeInOptions": "type_in_open",
    "open_sitting": "type_in_open",
    "type_readings": "type_in",
    "Columns": "understand",
    "Understood": "understand",
    "column_roles": "understand",
    "understand_files": "understand",
    "write_columns": "understand",
    "write_lots": "understand",
    "watch_folder": "watching",
    "with_book_facts": "goods_in",
    "write_outcome": "writing",
    "write_stock_table": "goods_in",
}

__all__ = [
    "Asked",
    "CardOptions",
    "Columns",
    "LotTold",
    "Outcome",
    "PaperOptions",
    "PlanOptions",
    "Progress",
    "ScreenOptions",
    "SheetOptions",
    "Signed",
    "TrustOptions",
    "TypeInOptions",
    "Understood",
    "answer_typed",
    "backup_book",
    "begin_sitting",
    "check_part",
    "check_stage",
    "column_roles",
    "correct_entry",
    "correct_reading",
    "day_list",
    "describe_type",
    "drop_sitting",
    "entry_in_book",
    "erase_photo",
    "exit_code",
    "explain_files",
    "export_book",
    "fetch_file",
    "figures_of",
    "files_of_sitting",
    "find_in_book",
    "job_in_book",
    "keep_own_file",
    "keep_screening",
    "kept_sittings",
    "kits_due",
    "learn_from_book",
    "list_jobs",
    "load_screening",
    "lots_to_type",
    "make_plan",
    "match_and_draw",
    "match_results",
    "match_screenings",
    "matched_figures",
    "new_kit",
    "open_sitting",
    "own_folder",
    "own_kits",
    "own_types",
    "pack_figures",
    "paper_card",
    "paper_labels",
    "paper_lot",
    "paper_pairs",
    "paper_record",
    "paper_refund",
    "paper_stock",
    "record_approval",
    "record_bias",
    "record_fitted",
    "record_kit_check",
    "record_matches",
    "record_observation",
    "record_outcome",
    "record_override",
    "record_quarantine",
    "record_screening",
    "record_stress",
    "remeasure",
    "replace_type",
    "rescreen",
    "restore_book",
    "resume_sitting",
    "run_demo",
    "saved_columns",
    "screen_files",
    "show_book",
    "show_in_full",
    "supplier_in_book",
    "tell_codes",
    "tell_kit",
    "tell_types",
    "type_readings",
    "understand_files",
    "usable_types",
    "verify_book",
    "watch_folder",
    "weigh_suppliers",
    "where_is",
    "with_book_facts",
    "write_columns",
    "write_figures",
    "write_lots",
    "write_match_figures",
    "write_match_table",
    "write_matching",
    "write_outcome",
    "write_sheet",
    "write_stage",
    "write_stock_table",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"partscreen.workflow.{_HOME[name]}"), name)
    raise AttributeError(f"module 'partscreen.workflow' has no attribute {name!r}")
