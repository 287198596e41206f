"""What is doubtful about a recording, gathered while it is read: nothing is dropped without a count and a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.recording.rows import rows_said
from optdescent.results.reading import Gap, LeftOut


@dataclass
class Doubts:
    """Faults, warnings, rows left out, gaps and filled points of one file; `counted` says how rows are numbered.

    `is_gone_around` says that the flight climbs away from its approach.
    """

    file: str
    counted: str
    faults: list[Fault] = field(default_factory=list[Fault])
    warnings: list[str] = field(default_factory=list[str])
    left_out: list[LeftOut] = field(default_factory=list[LeftOut])
    gaps: list[Gap] = field(default_factory=list[Gap])
    filled: list[tuple[str, int]] = field(default_factory=list[tuple[str, int]])
    is_gone_around: bool = False

    def fault(self, key: str, given: str, allowed: str) -> None:
        """Note a fault [-]."""
        self.faults.append(Fault(self.file, key, given, allowed))

    def warn(self, sentence: str) -> None:
        """Note a warning [-], once."""
        if sentence not in self.warnings:
            self.warnings.append(sentence)

    def leave_out(self, reason: str, rows: Sequence[int] | NDArray[np.intp]) -> None:
        """Note rows [-] that are not used."""
        if len(rows):
            self.left_out.append(LeftOut(reason, tuple(int(row) for row in rows)))

    def said(self, rows: Sequence[int] | NDArray[np.intp]) -> str:
        """Row numbers [-] in words."""
        return rows_said(rows, self.counted)

    def refuse(self) -> None:
        """Stop if there are faults.

        Raises
        ------
        InputFault
            Every fault noted so far.
        """
        if self.faults:
            raise InputFault(self.faults)
