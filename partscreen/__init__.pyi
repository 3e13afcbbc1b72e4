"""The public names as type checkers see them; at run time they are loaded on first use."""

from partscreen.errors import PartscreenError as PartscreenError
from partscreen.errors import Problem as Problem
from partscreen.errors import UnknownType as UnknownType
from partscreen.errors import UnusableInput as UnusableInput
from partscreen.readings.import_files import read_files as read_files
from partscreen.reference import Library as Library
from partscreen.reference import ReferenceType as ReferenceType
from partscreen.results import LotResult as LotResult
from partscreen.results import PartResult as PartResult
from partscreen.results import Screening as Screening
from partscreen.workflow import ScreenOptions as ScreenOptions
from partscreen.workflow import run_demo as run_demo
from partscreen.workflow import screen_files as screen_files

__version__: str
__all__ = [
    "Library",
    "LotResult",
    "PartResult",
    "PartscreenError",
    "Problem",
    "ReferenceType",
    "ScreenOptions",
    "Screening",
    "UnknownType",
    "UnusableInput",
    "__version__",
    "read_files",
    "run_demo",
    "screen_files",
]
