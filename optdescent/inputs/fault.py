"""Bad input: every fault of a file, each with its place, what was given and what is allowed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One fault of one input file: where it is, what was given, what is allowed."""

    file: str
    key: str
    given: str
    allowed: str

    def __str__(self) -> str:
        where = f"{self.file}: {self.key}" if self.key else self.file
        given = f" {self.given}" if self.given else ""
        return f"{where}:{given}; allowed: {self.allowed}" if self.allowed else f"{where}:{given}"


class InputFault(Exception):
    """Bad input (exit status 2): carries every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))

    def placed(self, file: str, key: str, given: str) -> list[Fault]:
        """Faults of a file that another file names [-]: one about the whole of it is told at the key that names it."""
        return [one if one.key else Fault(file, key, f"got {given!r}: {one.given}", one.allowed) for one in self.faults]
