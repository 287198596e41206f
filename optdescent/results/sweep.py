"""What a sweep's dataset looks like: its columns, how a case ended, and the files."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, IntEnum
from pathlib import Path
from typing import Any, cast

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from xarray.backends import BackendArray
from xarray.core.indexing import ExplicitIndexer, IndexingSupport, LazilyIndexedArray, explicit_indexing_adapter

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import write_netcdf
from optdescent.results.provenance import Provenance, fingerprint
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
    """A quantity of every case: its column, what it holds, dimensions beyond those of the cases.

    ``meanings`` are those of a flag's values from 0 on, ``none`` that of -1, which stands where there is no answer. A
    column whose unit is not the same throughout has none: it is told by a label of its dimension.
    """

    column: Column
    content: Content = Content.NUMBER
    dims: tuple[str, ...] = ()
    meanings: tuple[str, ...] = ()
    none: str = "no_answer"

    @property
    def name(self) -> str:
        """Name in the dataset."""
        return self.column.name

    def attributes(self) -> dict[str, Any]:
        """Attributes of the variable, as the CF conventions name them [-]."""
        found: dict[str, Any] = {"long_name": self.column.long_name}
        if self.content is Content.FLAG:
            found |= {
                "flag_values": list(range(-1, len(self.meanings))),
                "flag_meanings": " ".join((self.none, *self.meanings)),
            }
        elif self.content is not Content.TEXT and self.column.unit:
            found |= {"units": self.column.unit, CHARTED: self.column.charted}
        return found


CHARTED = "charted"
"""Attribute of a number: suffix of the unit that charts show it in."""
STATUS = SweepColumn(
    Column("status", "", "how the case ended", ""),
    Content.FLAG,
    meanings=tuple(status.name.lower() for status in Status if status >= 0),
    none=Status.NOT_COMPUTED.name.lower(),
)
REASON = SweepColumn(Column("reason", "", "why a case has no answer", ""), Content.TEXT)


@dataclass(frozen=True, repr=False)
class Swept:
    """A finished sweep: its dataset as `read_sweep` has it, and where it is from."""

    dataset: xr.Dataset
    provenance: Provenance

    @classmethod
    def from_zarr(cls, path: str | Path) -> Swept:
        """Sweep of a store [SI; the varied quantities in the units of their names].

        Raises
        ------
        InputFault
            There is no sweep, or it does not say where it is from.
        """
        dataset = read_sweep(path)
        given: dict[str, Any] = {str(key): value for key, value in dataset.attrs.items()}
        try:
            text = str(given["study"])
            command = str(given.get("command", ""))
            provenance = Provenance(str(given["title"]), text, fingerprint(text), of="study", command=command)
        except KeyError as error:
            told = f"does not say where it is from ({error})"
            raise InputFault([Fault(str(path), "", told, "a sweep written by this package")]) from error
        return cls(dataset, provenance)

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the varied quantities, in the order of the study."""
        return tuple(json.loads(self.dataset.attrs["axes"]))

    @property
    def is_grid(self) -> bool:
        """Whether every level of each axis is met with every level of the others [-]."""
        return all(axis in self.dataset.dims for axis in self.axes)

    def __repr__(self) -> str:
        return f"Swept({self.provenance.title!r}, {', '.join(self.axes)})"


def read_sweep(path: str | Path) -> xr.Dataset:
    """Dataset of a sweep, read as it is used [SI; the varied quantities in the units of their names].

    Raises
    ------
    InputFault
        There is no sweep.

    Notes
    -----
    Texts are objects, Python's own strings: numpy's strings of variable length, as which they are stored, know nothing
    that is missing, so that a selection by `where` fails.
    """
    try:
        # xarray leaves part of the annotation of its function open
        read = cast(Callable[..., xr.Dataset], xr.open_zarr)
        dataset = read(path, chunks=None)
    except (OSError, ValueError, KeyError) as error:
        given = f"cannot be read ({str(error).splitlines()[0]})"
        raise InputFault([Fault(str(path), "", given, "a sweep written by this package")]) from error
    if "status" not in dataset or "study" not in dataset.attrs:
        raise InputFault([Fault(str(path), "", "does not hold a sweep", "a sweep written by this package")])
    texts = {name: _as_objects(dataset[name]) for name in dataset.variables if dataset[name].dtype.kind == "T"}
    return _with_typed_flags(dataset.assign(texts))


def _with_typed_flags(dataset: xr.Dataset) -> xr.Dataset:
    """Flag values as numbers of the type of their variable, as the CF conventions ask; Zarr's JSON has no types."""
    found = dataset.copy()
    for own in found.data_vars.values():
        if "flag_values" in own.attrs:
            own.attrs["flag_values"] = np.array(own.attrs["flag_values"], dtype=own.dtype)
    return found


def _as_objects(stored: xr.DataArray) -> xr.Variable:
    return xr.Variable(stored.dims, LazilyIndexedArray(_Texts(stored.variable)), stored.attrs, encoding=stored.encoding)


class _Texts(BackendArray):
    """Stored texts, made Python's own when they are read."""

    def __init__(self, stored: xr.Variable) -> None:
        self._stored = stored
        self.shape, self.dtype = stored.shape, np.dtype(object)

    def __getitem__(self, key: ExplicitIndexer) -> NDArray[np.object_]:
        return explicit_indexing_adapter(key, self.shape, IndexingSupport.OUTER, self._read)

    def _read(self, key: tuple[Any, ...]) -> NDArray[np.object_]:
        return np.asarray(self._stored[key].to_numpy()).astype(object)


def export_sweep(dataset: xr.Dataset, path: Path) -> None:
    """Write a sweep as one netCDF-4 file, in one step.

    Raises
    ------
    InputFault
        The file cannot be written.
    """
    write_netcdf(path, _with_typed_flags(dataset))
