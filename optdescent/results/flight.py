"""Flight: all that came out, one dataset schema whatever produced it (optimum, rule or recording)."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import read_netcdf, write_netcdf
from optdescent.results.marks import Marks
from optdescent.results.notebook import flight_html
from optdescent.results.provenance import Provenance
from optdescent.results.reading import Reading
from optdescent.results.schema import COLUMNS, SOLVED_COLUMNS
from optdescent.results.solver import SolverRecord


class Kind(Enum):
    """What produced a flight."""

    OPTIMUM = "optimum"
    RULE = "rule"
    RECORDING = "recording"


@dataclass(frozen=True)
class Breach:
    """One limit or demand that a flight did not keep: what, where [m to go], worst by how much, in a sentence."""

    demand: str
    distance_to_go: float
    amount: float
    sentence: str


@dataclass(frozen=True)
class Action:
    """One thing that a crew did: where [m to go], when [s], what, and why."""

    distance_to_go: float
    time: float
    what: str
    reason: str


@dataclass(frozen=True)
class GateReport:
    """The flight at a height above the threshold [m]: speeds and sink rate [m/s], devices, and what is not stable."""

    height: float
    reached: bool
    calibrated_airspeed: float
    reference_speed: float
    sink: float
    off_path: float
    flaps: float
    gear: float
    thrust_fraction: float
    reasons: tuple[str, ...]

    @property
    def stable(self) -> bool:
        """Whether the flight is stable there."""
        return self.reached and not self.reasons


@dataclass(frozen=True)
class Summary:
    """The numbers of a flight that tables show [SI].

    `top_of_descent` is the distance to go [m] where the descent began; thrust above idle and speed brake are counted
    after it, over distance [m] and fuel [kg]. `gate` is the one that decides; what further gates ask for and the flight
    does not have stands among the breaches.
    """

    fuel: float
    time: float
    top_of_descent: float
    thrust_distance: float
    thrust_fuel: float
    brake_distance: float
    gate: GateReport
    breaches: tuple[Breach, ...]
    more_gates: tuple[GateReport, ...] = ()

    @property
    def keeps_every_limit(self) -> bool:
        """Whether no limit or demand was broken."""
        return not self.breaches


@dataclass(frozen=True, repr=False)
class Flight:
    """One flight: a dataset over `point`, a summary, and where it is from.

    Of a flown rule also what was done and why; of a recording how it was read.
    """

    dataset: xr.Dataset
    summary: Summary
    kind: Kind
    name: str
    provenance: Provenance
    marks: Marks
    solver: SolverRecord | None = None
    actions: tuple[Action, ...] = ()
    reading: Reading | None = None

    def column(self, name: str) -> NDArray[np.float64]:
        """Values (point,) of a column [SI, see `results.schema`]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float)

    def at_distance(self, name: str, to_go: ArrayLike) -> NDArray[np.float64]:
        """Values of a column [SI] at distances to go [m], straight between known points; NaN if none is known."""
        values = self.column(name)
        known = np.isfinite(values)
        if not known.any():
            return np.full(np.shape(to_go), np.nan)
        own = -self.column("distance_to_go")[known]
        return np.asarray(np.interp(-np.asarray(to_go, dtype=float), own, values[known]), dtype=float)

    def to_netcdf(self, path: str | Path) -> None:
        """Write the flight as netCDF-4, in one step.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        write_netcdf(Path(path), self.stored())

    def stored(self) -> xr.Dataset:
        """The flight as one dataset [SI]: what is not over `point` stands in its attributes."""
        return self.dataset.assign_attrs(self.provenance.attributes()).assign_attrs(
            kind=self.kind.value,
            rule=self.name if self.kind is Kind.RULE else "",
            name=self.name,
            solver=json.dumps(asdict(self.solver)) if self.solver else "",
            summary=json.dumps(asdict(self.summary)),
            marks=json.dumps(asdict(self.marks)),
            actions=json.dumps([asdict(action) for action in self.actions]),
            reading=json.dumps(self.reading.plain()) if self.reading else "",
        )

    @classmethod
    def from_netcdf(cls, path: str | Path) -> Flight:
        """Flight of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a flight.
        """
        try:
            return cls.of_stored(read_netcdf(path))
        except (OSError, KeyError, TypeError, ValueError) as error:
            given = f"does not hold a flight ({error})"
            raise InputFault([Fault(str(path), "", given, "a flight written by this package")]) from error

    @classmethod
    def of_stored(cls, dataset: xr.Dataset) -> Flight:
        """Flight of a dataset that `stored` made [SI].

        Raises
        ------
        KeyError, TypeError, ValueError
            The dataset does not hold a flight.
        """
        attributes: dict[str, Any] = {str(key): value for key, value in dataset.attrs.items()}
        solver = json.loads(attributes["solver"]) if attributes["solver"] else None
        reading = json.loads(attributes["reading"]) if attributes.get("reading") else None
        return cls(
            dataset=dataset.drop_attrs(deep=False),
            summary=_summary(json.loads(attributes["summary"])),
            kind=Kind(attributes["kind"]),
            name=attributes["name"],
            provenance=Provenance.of_attributes(attributes),
            marks=Marks.from_plain(json.loads(attributes["marks"])),
            solver=SolverRecord.from_plain(solver) if solver else None,
            actions=tuple(Action(**action) for action in json.loads(attributes.get("actions", "[]"))),
            reading=Reading.from_plain(reading) if reading else None,
        )

    def __repr__(self) -> str:
        summary = self.summary
        return f"Flight({self.kind.value} {self.name!r}, fuel {summary.fuel:.0f} kg, stable {summary.gate.stable})"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return flight_html(self)


def _summary(data: dict[str, Any]) -> Summary:
    breaches = tuple(Breach(**breach) for breach in data["breaches"])
    made = ("gate", "breaches", "more_gates")
    plain = {field.name: data[field.name] for field in fields(Summary) if field.name not in made}
    more = tuple(gate_of_plain(gate) for gate in data.get("more_gates", ()))
    return Summary(**plain, gate=gate_of_plain(data["gate"]), breaches=breaches, more_gates=more)


def gate_of_plain(data: dict[str, Any]) -> GateReport:
    """A gate report from the plain dictionary that `dataclasses.asdict` and JSON make of it [SI]."""
    gate: dict[str, Any] = {**data, "reasons": tuple(data["reasons"])}
    return GateReport(**gate)


def flight_dataset(columns: dict[str, NDArray[np.float64]], steps: tuple[str, ...]) -> xr.Dataset:
    """Dataset over `point` from columns (point,) [SI]; names, units and long names from the schema.

    All of `COLUMNS` are needed; those of `SOLVED_COLUMNS` come with an optimum.

    Raises
    ------
    ValueError
        A column that the schema does not declare, or one that it declares and is absent.
    """
    wrong = (set(columns) ^ set(COLUMNS)) - set(SOLVED_COLUMNS)
    if wrong:
        raise ValueError(f"columns differ from the schema: {sorted(wrong)}")
    arrays: dict[str, xr.DataArray] = {}
    for name, values in columns.items():
        column = COLUMNS[name] if name in COLUMNS else SOLVED_COLUMNS[name]
        attributes: dict[str, Any] = {"units": column.unit, "long_name": column.long_name}
        data: NDArray[Any] = values
        if name == "configuration":
            unknown = np.isnan(values)
            data = np.rint(np.where(unknown, -1.0, values)).astype(np.int8)
            meanings = [step.replace(" ", "_") for step in steps]
            first = 0
            if bool(unknown.any()):
                first, meanings = -1, ["not_known", *meanings]
            attributes |= {
                "flag_values": np.arange(first, len(steps), dtype=np.int8),
                "flag_meanings": " ".join(meanings),
            }
            del attributes["units"]
        arrays[name] = xr.DataArray(data, dims=("point",), attrs=attributes)
    distance = arrays.pop("distance_to_go")
    return xr.Dataset(arrays, coords={"distance_to_go": distance})
