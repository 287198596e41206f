"""How an optimum was found, and what it can show for itself."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields
from typing import Any

from optdescent.results.notebook import solver_html
from optdescent.units import FOOT

_NOT_KNOWN = {
    "wrong_signs": None,
    "stationarity": math.nan,
    "regularisation_cost": math.nan,
    "lacking_curvature": math.nan,
}
"""What files written before it was known do not hold."""
_BAND = re.compile(r"tailwind from (\d+) to (\d+) ft")


@dataclass(frozen=True)
class EventRecord:
    """One event of an optimum.

    Its name, distance to go [m], geopotential altitude above sea level [m], calibrated airspeed [m/s], time [s].
    """

    name: str
    distance_to_go: float
    altitude: float
    calibrated_airspeed: float
    time: float


@dataclass(frozen=True)
class Slope:
    """How an optimum answers to one quantity, per SI unit of it; `unit` is the suffix of the unit it is shown in.

    `cost` and `fuel` [kg]; `idle_distance`: where thrust goes to idle, distance to go [m].
    """

    quantity: str
    unit: str
    cost: float
    fuel: float
    idle_distance: float

    @property
    def heights(self) -> tuple[float, float] | None:
        """Heights above sea level [m] between which a tailwind is meant; None of any other quantity."""
        found = _BAND.fullmatch(self.quantity)
        return None if found is None else (FOOT * float(found[1]), FOOT * float(found[2]))


@dataclass(frozen=True)
class SolverRecord:
    """How an optimum was found; every difference of the re-flight is the largest along the flight [m, m/s, kg].

    `optimality`, `constraint_violation` and `local_error` are scaled [-]; `cost_error` is the cost that the residuals
    between the points explain [kg]; `lacking_curvature` is what the curvature lacks for a minimum nearby, scaled [-]: 0
    at one, 1e-3 to 1e5 at a saddle; `hamiltonian_drift` is a fraction of its size [-] over the phases in which it must
    be constant; `wrong_signs` counts the points at which a control sits at a limit that its switching function points
    away from, `stationarity` is the largest switching function between limits [-]. `regularisation` is what was charged
    to make controls unique and smooth [kg], `regularisation_cost` the fuel, and time at its price, that a sixteenth of
    the charge would save [kg]; `chatter` names the controls that swing; `orders` are the orders of events that were
    tried, in words.
    """

    status: str
    iterations: int
    optimality: float
    constraint_violation: float
    local_error: float
    cost_error: float
    lacking_curvature: float
    reflight_altitude: float
    reflight_speed: float
    reflight_fuel: float
    hamiltonian_drift: float
    wrong_signs: int | None
    stationarity: float
    regularisation: float
    regularisation_cost: float
    chatter: tuple[str, ...]
    orders: tuple[str, ...]
    events: tuple[EventRecord, ...]
    sensitivity: tuple[Slope, ...]

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return solver_html(self)

    @classmethod
    def from_plain(cls, data: dict[str, Any]) -> SolverRecord:
        """Record from nested dictionaries, as stored in a file [SI]."""
        known: dict[str, Any] = {**_NOT_KNOWN, **data}
        plain = {field.name: known[field.name] for field in fields(cls)}
        plain["chatter"], plain["orders"] = tuple(data["chatter"]), tuple(data["orders"])
        plain["events"] = tuple(EventRecord(**event) for event in data["events"])
        plain["sensitivity"] = tuple(Slope(**slope) for slope in data["sensitivity"])
        return cls(**plain)
