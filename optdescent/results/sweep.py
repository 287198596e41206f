"""What a sweep's dataset looks like: its columns, how a case ended, and the files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, IntEnum
from pathlib import Path
from typing import Any, cast

import xarray as xr

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import write_netcdf
from optdescent.results.schema import Column


class Status(IntEnum):
    """How a case ended, as it is stored."""

    NOT_COMPUTED = -1
    SOLVED = 0
    INFEASIBLE = 1
    NOT_CONVERGED = 2
    BAD_INPUT = 3
    FAILED = 4

    @property
    def sentence(self) -> str:
        """What it says of a case."""
        return _SENTENCES[self]


_SENTENCES = {
    Status.NOT_COMPUTED: "not computed yet",
    Status.SOLVED: "answered",
    Status.INFEASIBLE: "the demands cannot be met",
    Status.NOT_CONVERGED: "neither an optimum nor a conflict of demands was found",
    Status.BAD_INPUT: "the levels together make no valid scenario",
    Status.FAILED: "an error of the program itself",
}


class Content(Enum):
    """What a column holds: value is the type it is stored as."""

    NUMBER = "f8"
    COUNT = "i4"
    FLAG = "i1"
    TEXT = "str"

    @property
    def missing(self) -> float | int | str:
        """What stands where a case has no answer [SI]."""
        return {Content.NUMBER: float("nan"), Content.COUNT: -1, Content.FLAG: -1, Content.TEXT: ""}[self]


@dataclass(frozen=True)
class SweepColumn:
    """A quantity of every case: its column, what it holds, dimensions beyond those of the cases, meanings of flags."""

    column: Column
    content: Content = Content.NUMBER
    dims: tuple[str, ...] = ()
    meanings: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Name in the dataset."""
        return self.column.name

    def attributes(self) -> dict[str, Any]:
        """Attributes of the variable, as the CF conventions name them [-]."""
        found: dict[str, Any] = {"long_name": self.column.long_name}
        if self.content is Content.FLAG:
            first = -1 if self.name == "status" else 0
            found |= {
                "flag_values": list(range(first, first + len(self.meanings))),
                "flag_meanings": " ".join(self.meanings),
            }
        elif self.content is not Content.TEXT:
            found["units"] = self.column.unit
        return found


STATUS = SweepColumn(
    Column("status", "", "how the case ended", ""),
    Content.FLAG,
    meanings=tuple(status.name.lower() for status in Status),
)
REASON = SweepColumn(Column("reason", "", "why a case has no answer", ""), Content.TEXT)


def read_sweep(path: str | Path) -> xr.Dataset:
    """Dataset of a sweep, read as it is used [SI; the varied quantities in the units of their names].

    Raises
    ------
    InputFault
        There is no sweep.
    """
    try:
        # xarray leaves part of the annotation of its function open
        read = cast(Callable[..., xr.Dataset], xr.open_zarr)
        dataset = read(path)
    except (OSError, ValueError, KeyError) as error:
        given = f"cannot be read ({str(error).splitlines()[0]})"
        raise InputFault([Fault(str(path), "", given, "a sweep written by this package")]) from error
    if "status" not in dataset or "study" not in dataset.attrs:
        raise InputFault([Fault(str(path), "", "does not hold a sweep", "a sweep written by this package")])
    return dataset


def export_sweep(dataset: xr.Dataset, path: Path) -> None:
    """Write a sweep as one netCDF-4 file, in one step.

    Raises
    ------
    InputFault
        The file cannot be written.
    """
    write_netcdf(path, dataset)
