"""What can be seen of a part without power, and how little each of it says.

Every weight is the natural logarithm of two frequencies: how often the answer is met on substituted parts over how
often on parts as marked. No counts have been published, so all frequencies are assumptions, chosen small; what is
published is that such signs exist on substituted parts, and which of them exist on the maker's own parts too (`also`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

BASIS = "assumption: no counts are published"

MOST = 2.0
"""Cap of the sum, natural log: below the 3 that a reject asks for, so that appearance alone never rejects."""

OUTLINES = "counterfeit semiconductors page of sound-au.com, rev. 25 May 2003: about 0.5 mm on every side"
OLD_PRINT = (
    "counterfeit semiconductors page of sound-au.com, rev. 13 Feb 2011: original parts dated after the stated end"
)
WIPED = "repair forum, June 2015: print rubs off, and a white coat covers the die, on certain original parts"
NOT_MAGNETIC = "Antenna (Brazil), article on substituted transistors, addendum: a substituted lot passed the magnet"
LATE_PRINT = (
    "Antenna (Brazil), article on a tester of power transistors, part II: print newer than the end of production"
)


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer: how often it is met on parts as marked (`sound`) and on substituted ones (`unfit`); what to say.

    `also`: why the maker's own parts may show it. `source`: where the sign is described. `hold`: stands in the way of
    an accept by itself.
    """

    sound: float
    unfit: float
    code: str = ""
    sentence: str = ""
    also: str = ""
    action: str = ""
    source: str = ""
    hold: bool = False

    @property
    def weight(self) -> float:
        """Natural log, above 0 speaks against the marking."""
        return math.log(self.unfit / self.sound)


@dataclass(frozen=True, slots=True)
class Look:
    """One thing to look at. Answers are mutually exclusive and numbered. `group`: of things with one cause the
    weightiest answer counts, not their sum."""

    group: str
    answers: tuple[Answer, ...]


_COMPARE = "Compare with a known part of the same maker and year."

OUTLINE = Answer(
    0.05, 0.20, "OUTLINE_DIFFERS", "The outline differs from the drawing",
    "makers changed outlines within one type number", "Measure body and pins and hold them against this maker's sheet.",
    OUTLINES,
)  # fmt: skip

LOOKS: dict[str, Look] = {
    "outline_seen": Look("outline", (Answer(0.95, 0.80), OUTLINE)),
    "body_thickness": Look(
        "outline",
        (
            Answer(0.95, 0.80),
            Answer(
                0.05, 0.20, "THICKNESS_DIFFERS", "The body is {value} thick, {reference} is expected",
                "makers changed outlines within one type number", "Measure again at three places, then a known part.",
                OUTLINES,
            ),
        ),
    ),
    "print_seen": Look(
        "print",
        (
            Answer(0.90, 0.70),
            Answer(
                0.10, 0.30, "PRINT_DIFFERS", "The print differs from that of a known part",
                "makers change fonts, logos and laser or ink over the years", _COMPARE,
            ),
        ),
    ),
    "code_year": Look(
        "date",
        (
            Answer(0.93, 0.83),
            Answer(
                0.04, 0.05, "DATE_NEAR_END",
                "The date code says {value}, production is said to have ended in {reference}",
                "original parts dated one year after a stated end are known", "Look for a second source of the end.",
                OLD_PRINT,
            ),
            Answer(
                0.03, 0.12, "DATE_TOO_LATE", "The date code says {value}, {reference}",
                "stated ends of production are not always right",
                "Look for a second source, and ask the seller for the maker's papers.", LATE_PRINT,
            ),
        ),
    ),
    "pins_seen": Look(
        "pins",
        (
            Answer(0.92, 0.78),
            Answer(
                0.08, 0.22, "PINS_DIFFER", "Form or plating of the pins differs from a known part",
                "old stock was tinned again, or the pins were formed for another holder",
                "Look for solder, scratches of a socket and cut ends: the part may be used.",
            ),
        ),
    ),
    "magnet_test": Look(
        "magnet",
        (
            Answer(0.97, 0.87),
            Answer(
                0.03, 0.13, "MAGNET_DIFFERS", "A magnet pulls otherwise than on a known part",
                "makers changed the metal of base and pins", _COMPARE, NOT_MAGNETIC,
            ),
        ),
    ),
    "wipe_test": Look(
        "wipe",
        (
            Answer(0.84, 0.62),
            Answer(
                0.15, 0.30, "PRINT_COMES_OFF", "The print comes off with the solvent",
                "the print of certain original parts comes off as well", "Wipe a known part of the same years.", WIPED,
            ),
            Answer(
                0.01, 0.08, "OTHER_PRINT_BELOW", "Another print came up below the first",
                "makers have printed over stock of their own", "Photograph it and write to the seller.", hold=True,
            ),
        ),
    ),
    "body_weight": Look(
        "weight",
        (
            Answer(0.96, 0.84),
            Answer(
                0.04, 0.16, "WEIGHT_DIFFERS", "The part weighs {value}, {reference} is expected",
                "pins of another length and a thicker base of other years weigh differently",
                "Weigh again, with a known part of the same pin length beside it.",
            ),
        ),
    ),
    "die_seen": Look(
        "die",
        (
            Answer(0.91, 0.60),
            Answer(
                0.05, 0.35, "DIE_LOOKS_OTHER", "The die of the opened piece looks other than that of a known part",
                "makers shrink and move their dies under one type number",
                "Read both die edges: they are weighed as a measurement.",
            ),
            Answer(
                0.04, 0.05, "DIE_COATED", "A coat covers the die of the opened piece",
                "white coating is known on original parts", "Read what can be seen of the edges.", WIPED,
            ),
        ),
    ),
}  # fmt: skip
