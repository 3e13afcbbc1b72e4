"""What a type should be: its data sheets by edition, with limits, curves, safe area, marking and sources."""

from partscreen.reference.library import Library
from partscreen.reference.limits import Limit, limits
from partscreen.reference.models import ReferenceType
from partscreen.reference.prints import Resolution

__all__ = ["Library", "Limit", "ReferenceType", "Resolution", "limits"]
