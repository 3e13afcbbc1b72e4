"""What one run of the page is told, and its limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path

from partscreen.errors import Problem, UnusableInput

MIB = 1 << 20
LARGEST_FILE = 64 * MIB  # bytes; a bag of a thousand parts with a hundred readings each takes 5 MB of text
LARGEST_POST = 128 * MIB  # bytes of one request, all files together (assumption: an hour's work of a bench is less)
MOST_FILES = 60  # of one request (assumption)
MOST_FIELDS = 4000  # of one form: the column map of a file with very many columns
MOST_TRAYS = 20  # kept at once; the oldest goes first
LARGEST_DESK = 1024 * MIB  # bytes of all files kept; the oldest tray goes first
DEFAULT_PORT = 8571  # assumption: a number that few programs use
_ANY = ("0.0.0.0", "::", "")


@dataclass(frozen=True, slots=True)
class PageSettings:
    """Where the page listens and what it may use.

    `token`: asked of every visitor; None only on a loopback address. `names`: further names a Host header may hold.
    `book`: bench book, None for the default one. `folder`: where kits, own types and typed readings stay between runs,
    None for the user's data folder.
    """

    address: str = "127.0.0.1"
    port: int = DEFAULT_PORT
    token: str | None = None
    names: tuple[str, ...] = ()
    book: str | None = None
    folder: Path | None = None
    hosts: frozenset[str] = field(init=False, default=frozenset())

    def __post_init__(self) -> None:
        told = {self.address.strip("[]").lower(), *(name.strip("[]").lower() for name in self.names)} - set(_ANY)
        object.__setattr__(
            self, "hosts", frozenset(told | ({"127.0.0.1", "localhost", "::1"} if self.loopback else set()))
        )

    @property
    def loopback(self) -> bool:
        """Whether nobody but this machine can reach the page."""
        return is_loopback(self.address)

    def checked(self) -> PageSettings:
        """These settings, if they can be.

        Raises
        ------
        UnusableInput
            No such port; another machine could come in without a token; or no Host header could be right.
        """
        problems = []
        if not 0 <= self.port <= 65535:
            problems.append(
                Problem("PAGE_PORT", f"{self.port} is no port", "give 1 to 65535, or 0 for any free one", "--port")
            )
        if not self.loopback and not self.token:
            problems.append(
                Problem("PAGE_TOKEN", "an address others can reach needs a token", "leave --address out", "--address")
            )
        if not self.hosts:
            fix = "say by which name or address others open it: --name 192.168.1.20"
            problems.append(Problem("PAGE_NAME", f"{self.address} stands for every address", fix, "--address"))
        if problems:
            raise UnusableInput(problems)
        return self


def is_loopback(address: str) -> bool:
    """Whether an address is this machine's own."""
    if address.lower() == "localhost":
        return True
    try:
        return ip_address(address.strip("[]")).is_loopback
    except ValueError:
        return False
