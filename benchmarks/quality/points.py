"""The nine points of quality: what is asked, which measurements answer, and what keeps each."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Printed:
    """What a measuring command printed; kept in benchmarks/kept/NAME.json."""

    what: str
    name: str


@dataclass(frozen=True, slots=True)
class Counted:
    """Tests that passed, failed and were skipped, of folders or files of tests/; from the run kept in suite.json."""

    what: str
    of: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Covered:
    """Lines run in the computing rooms; kept in coverage.json."""

    what: str


@dataclass(frozen=True, slots=True)
class Mutated:
    """Mutants killed; kept in tests/mutants/figures.json."""

    what: str


@dataclass(frozen=True, slots=True)
class Versions:
    """Tests of the rooms with other versions of the libraries; `target` of the Makefile, kept in its .json."""

    what: str
    target: str


@dataclass(frozen=True, slots=True)
class Point:
    """One point. `keepers`: tests `file::name`, test folders, benchmarks or targets of the Makefile."""

    title: str
    asked: str
    measures: tuple[Printed | Counted | Covered | Mutated | Versions, ...]
    keepers: tuple[str, ...]
    more: tuple[str, ...] = ()  # pages of docs that tell more, what falls short among it


SEARCHED = {
    "text": "delimited text",
    "workbook": "spreadsheet workbooks",
    "json": "JSON",
    "toml": "TOML",
    "reading_string": "typed readings",
    "archive": "copies and exports of a book",
}

POINTS: tuple[Point, ...] = (
    Point(
        "Volume",
        "100,000 parts (22 sweep rows each), file in to JSON out: under 120 s and 3 GiB on 2 quiet cores; time grows "
        "with an exponent of at most 1.05. Speed beside other ways. A report of 100 parts below 10 MB.",
        (
            Printed("Time, memory and growth", "volume"),
            Printed("Beside other ways", "volume_ratios"),
            Printed("Whole job, smaller", "whole_job"),
            Printed("Report of 100 parts", "report_size"),
            Printed("Answers of the page", "page_speed"),
            Printed("The page as a program", "page_jobs"),
            Printed("Bench book", "book_volume"),
        ),
        (
            "tests/end_to_end/test_volume.py::test_memory_grows_by_the_readings_and_not_by_the_results",
            "benchmarks/volume.py",
            "benchmarks/volume_ratios.py",
            "benchmarks/page_speed.py",
            "tests/browser/test_report_size.py::test_the_report_of_100_simulated_parts_that_are_all_drawn_is_small_and_prints",
        ),
        ("volume.md",),
    ),
    Point(
        "Hostile and broken files",
        "No input makes a reader raise, eat memory or run on; each is told of. Found faults stay as tests.",
        (
            *(Printed(f"Coverage-guided search: {what}", f"fuzz_{door}") for door, what in SEARCHED.items()),
            Counted("Every reader, any input (hypothesis)", ("tests/properties",)),
            Counted("Limits of memory and time", ("tests/hostile",)),
            Counted("What a search found once, and its seeds", ("tests/fuzz",)),
        ),
        (
            "make fuzz",
            "tests/fuzz/test_found.py::test_an_input_that_broke_a_door_once_is_told_of",
            "tests/hostile/test_limits.py::test_a_hostile_file_is_told_of_within_its_memory_and_time",
            "tests/properties",
        ),
    ),
    Point(
        "Metamorphic tests of the judgement",
        "Seven ways to tell the same or less: order, units, signs, larger uncertainty, copies, a contradiction, a "
        "reading taken away.",
        (Counted("Tests", ("tests/metamorphic",)),),
        ("tests/metamorphic",),
    ),
    Point(
        "Mutation testing",
        "At least 85 % of mutants of limits, evidence, disposition, sampling and the book's chain are killed; "
        "survivors are listed with reasons.",
        (Mutated("Mutants"),),
        (
            "tests/mutants/run.py",
            "tests/mutants/survivors.tsv",
        ),
    ),
    Point(
        "Repeatability",
        "The same inputs give the same bytes; results of an older version open; a reference result of each demo lot.",
        (
            Counted("Same bytes in other surroundings, frozen answers", ("tests/repeatability",)),
            Counted("Frozen results of the demo lots", ("tests/end_to_end/test_frozen_results.py",)),
        ),
        (
            "tests/repeatability/test_same_bytes.py::test_hash_seed_threads_language_and_clock_zone_change_no_byte",
            "tests/repeatability/test_same_bytes.py::test_every_python_on_this_machine_writes_the_same_bytes",
            "tests/repeatability/test_frozen_answers.py::test_a_frozen_answer_opens_with_nothing_lost",
        ),
    ),
    Point(
        "Packaging",
        "Wheel and sdist in an empty environment; `partscreen demo` outside the checkout; oldest and newest versions "
        "of what it needs; licences; typed; public functions checked for drift.",
        (
            Counted(
                "Tests",
                (
                    "tests/end_to_end/test_packaging.py",
                    "tests/end_to_end/test_on_windows.py",
                    "tests/house/test_dependencies.py",
                ),
            ),
            Versions("Oldest versions allowed", "minimum"),
            Versions("Newest versions", "newest"),
        ),
        (
            "make minimum",
            "make newest",
            "tests/end_to_end/test_packaging.py",
            "tests/house/test_dependencies.py::test_oldest_versions_are_the_lower_bounds",
            "tests/house/test_dependencies.py::test_page_of_licences_names_every_package_and_none_that_is_gone",
            "tests/end_to_end/test_on_windows.py",
            "tests/docs/test_written.py::test_page_that_is_written_from_the_source_is_up_to_date",
        ),
        ("licences.md",),
    ),
    Point(
        "Security",
        "Dependencies held against an advisory service; nothing in a file is run; headers of the page; secrets are not "
        "logged; a threat model.",
        (
            Printed("Advisories", "audit"),
            Counted(
                "No code from data, writing, the audit itself",
                (
                    "tests/house/test_no_code_from_data.py",
                    "tests/house/test_writing.py",
                    "tests/house/test_audit.py",
                ),
            ),
            Counted("Secrets of a book's address", ("tests/end_to_end/test_book_secrets.py",)),
            Counted("Doors of the page", ("tests/page/test_guard.py", "tests/page/test_uploads.py")),
        ),
        (
            "tests/house/test_audit.py::test_all_locked_versions_are_asked_about",
            "tests/house/test_no_code_from_data.py::test_no_source_runs_what_comes_in_with_data",
            "tests/house/test_writing.py::test_files_are_written_in_the_listed_places_only",
            "tests/end_to_end/test_book_secrets.py",
            "tests/page/test_guard.py",
            "tests/docs/test_threats.py",
        ),
        ("threats.md",),
    ),
    Point(
        "Simple",
        "At least 90 % of the lines of each computing room are run by its tests; files under 400 lines; rooms import "
        "one way; one check command.",
        (
            Covered("Lines run"),
            Printed("Size of the house", "tree"),
            Counted("House rules", ("tests/house",)),
        ),
        (
            "make coverage",
            "tests/house/test_house.py::test_source_file_stays_under_400_lines",
            "tests/house/test_house.py::test_rooms_import_one_way",
        ),
    ),
    Point(
        "Own face",
        "Words that must not stand here do not; every page, code and command is explained in our own words.",
        (Counted("Words, pages, codes and commands", ("tests/house", "tests/docs", "tests/cli")),),
        (
            "tests/house/test_house.py::test_words_that_must_not_stand_in_the_repository",
            "tests/docs/test_written.py::test_every_code_the_source_can_give_out_is_explained",
        ),
    ),
)
