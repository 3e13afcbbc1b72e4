"""The book as tables: columns with type and meaning, rows as plain values. SI units; kelvin."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from partscreen.book import export_rows as rows
from partscreen.book.export_rows import Row
from partscreen.book.facts import Fact, Facts
from partscreen.book.names import Names


@dataclass(frozen=True, slots=True)
class Column:
    """A column: name, Table Schema type, meaning."""

    name: str
    type: str
    words: str


@dataclass(frozen=True, slots=True)
class TableForm:
    """A table: which kinds of entries fill it and how one entry becomes rows. `named`: has no lot (left out of a
    selection)."""

    name: str
    words: str
    kind: str
    columns: tuple[Column, ...]
    rows: Callable[[Fact, Names], Iterator[Row]]
    of_lots: bool = True


def _columns(text: str) -> tuple[Column, ...]:
    """Columns from lines `name type meaning`."""
    return tuple(Column(*line.split(None, 2)) for line in text.splitlines() if line.strip())


_ENTRY = """
entry integer number of the entry that holds today
recorded_at datetime when it was written (UTC)
older integer how many earlier entries it puts right
"""
_LOT = (
    _ENTRY
    + """
supplier string who sold the lot
lot string name of the lot
type string type the lot is marked with
"""
)
_PART = (
    _LOT
    + """
part string number of the part in its lot
"""
)
_SIGNED = """
by string who
on date day
"""


TABLES: tuple[TableForm, ...] = (
    TableForm("lots", "Lots as their lot sheets tell them.", "lot", _columns(_LOT + """
        maker string maker, where the sheet names one
        gain_group string gain group
        known_good boolean parts trusted from elsewhere
        count integer parts in the bag
        told string what the sheet also says"""), rows.lots),
    TableForm("screenings", "Judgements of lots; the newest of a lot holds.", "screening", _columns(_LOT + """
        judgement string use, test_all, return, undecided or no_reference
        parts integer parts judged
        known_good boolean parts trusted from elsewhere
        share_unfit number share of unfit parts
        share_low number its 95 % interval, low end
        share_high number its 95 % interval, high end
        program string version of partscreen
        library string hash of the reference library
        reference string hash of the reference file of the type
        kit string instruments
        rescreened boolean old readings judged again"""), rows.screenings),
    TableForm("parts", "Judgements of parts; the newest of a part holds.", "part", _columns(_PART + """
        status string judged, dead, wrong_polarity or unusable
        disposition string accept, hold or reject, by the readings
        code string code of the first reason
        sentence string the first reason
        evidence number ln P(readings, substituted or unfit) - ln P(readings, as marked)
        probability_unfit number probability of being unfit, given the lot
        area_ratio number die area against the type's
        area_low number its 95 % interval, low end
        area_high number its 95 % interval, high end
        reach number largest area ratio the readings would have shown
        program string version of partscreen
        library string hash of the reference library"""), rows.parts),
    TableForm("fits", "Device parameters of the parts, in the coordinates of the fit.", "part", _columns(_PART + """
        parameter string name of the parameter
        theta number its value in the fit's coordinates
        std number its posterior standard deviation
        prior_share number posterior over prior standard deviation; near 1: not seen"""), rows.fits),
    TableForm("readings", "Sweep readings as judged, one row a point.", "part", _columns(_PART + """
        sweep string gain, saturation, output or gummel
        run integer number of the sweep
        session string sitting
        ic number collector current [A]
        ib number base current [A]
        vce number collector-emitter voltage [V]
        vbe number base-emitter voltage [V]
        hfe number DC current gain
        case_temp number case temperature [K]
        ambient number air temperature [K]
        time number time since the start of the session [s]
        ic_std number standard uncertainty of ic [A]
        hfe_std number standard uncertainty of hfe
        vbe_std number standard uncertainty of vbe [V]
        vce_std number standard uncertainty of vce [V]
        pulsed boolean read with short pulses
        control boolean reading of the control piece
        use boolean false: kept and shown, not judged
        row integer row in the file
        file string file it was read from"""), rows.readings),
    TableForm("spot_readings", "Single readings as judged.", "part", _columns(_PART + """
        quantity string what was read
        value number SI unit of the quantity
        std number its standard uncertainty
        conditions string conditions, SI units
        session string sitting
        control boolean reading of the control piece
        use boolean false: kept and shown, not judged
        row integer row in the file
        file string file it was read from"""), rows.spots),
    TableForm("fitted", "Parts soldered in.", "fitted", _columns(_PART + """
        job string reference of the job
        channel string channel
        position string position in the circuit""" + _SIGNED), rows.fitted),
    TableForm("bias", "Bias readings at sign-off.", "bias", _columns(_PART + """
        job string reference of the job
        position string position in the circuit
        volts number voltage across the emitter resistor [V]
        resistor number emitter resistor [ohm]
        ambient number air temperature [K]
        minutes number minutes since power-up""" + _SIGNED), rows.bias),
    TableForm("outcomes", "What became of parts and lots.", "outcome", _columns(_PART + """
        job string reference of the job
        what string passed_soak, failed_first_power_up, failed_after, returned, refunded or taken_out
        days integer days in service when it failed
        cause string part, stage or not_known
        note string what else""" + _SIGNED), rows.outcomes),
    TableForm("overrides", "Parts a person decided otherwise.", "override", _columns(_PART + """
        disposition string accept, hold or reject, by the person
        original string by the readings
        judged integer entry of the judgement
        reason string why""" + _SIGNED), rows.overrides),
    TableForm("approvals", "A second person's word on overrides.", "approval", _columns(_PART + """
        override integer entry of the override
        agrees boolean whether the second person agrees
        note string what else""" + _SIGNED), rows.approvals),
    TableForm("quarantine", "Parts and lots set aside or released.", "quarantine", _columns(_PART + """
        place string where
        released boolean true: no longer set aside
        reason string why""" + _SIGNED), rows.quarantine),
    TableForm("matches", "Parts that go together.", "match", _columns(_PART + """
        set string name of the set
        position string place in the set
        beside string the other parts of the set, as lot/part"""), rows.matches),
    TableForm("stress", "What may have changed a part.", "stress", _columns(_PART + """
        what string avalanche_base_emitter, breakdown or dwell
        current number [A]
        volts number [V]
        seconds number [s]
        survived boolean whether the part still worked
        note string what else""" + _SIGNED), rows.stress),
    TableForm("retests", "Pulled parts against their own first curve.", "retest", _columns(_PART + """
        first integer entry of the first judgement
        verdict string what the comparison found
        sentence string the same in words""" + _SIGNED), rows.retests),
    TableForm("observations", "What was seen.", "observation", _columns(_PART + """
        job string reference of the job
        text string what was seen
        photos integer how many photos the book keeps of it""" + _SIGNED), rows.observations),
    TableForm("kit_checks", "Checks of the instruments.", "kit_check", _columns(_ENTRY + """
        kit string instruments
        good boolean whether they read right
        note string what else""" + _SIGNED), rows.kit_checks, of_lots=False),
    TableForm("corrections", "What was put right.", "correction", _columns(_ENTRY + """
        supersedes integer entry that was put right
        of_kind string its kind
        file string of a corrected reading: its file
        row integer its row
        was string what stood there
        now string what it is to read
        reason string why""" + _SIGNED), rows.corrections, of_lots=False),
)  # fmt: skip


def table_rows(facts: Facts, form: TableForm, names: Names, **keys: Any) -> list[Row]:
    """The rows of one table for lots with these keys (`ANY`: all); every column is there, unknown is None."""
    blank: Row = dict.fromkeys(column.name for column in form.columns)
    if form.kind == "correction":
        from partscreen.book.facts import fact_of

        found = [fact_of(entry) for entry in facts.book.entries(kind="correction")]
    else:
        found = facts.find(form.kind, **keys)
    return [{**blank, **row} for fact in found for row in form.rows(fact, names)]
