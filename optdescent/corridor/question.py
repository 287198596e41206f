"""The corridor asked of each case of a sweep: highest and lowest heights at given distances to go and speeds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from optdescent.corridor.corridor import corridor
from optdescent.corridor.devices import ONE_BY_ONE
from optdescent.corridor.edges import Grid, check_grid, edges_for
from optdescent.inputs import Declared, Fault, InputFault, Number, series
from optdescent.results.corridor import COORDINATES, CORRIDOR_COLUMNS, KEPT_COLUMNS
from optdescent.results.schema import Column
from optdescent.results.sweep import Content, Status, SweepColumn
from optdescent.scenario import Scenario
from optdescent.sweep.question import Answer, Asked, Case, Layout, Preparation

_DEVICES, _DISTANCE, _SPEED = "devices", "corridor_distance", "corridor_speed"
_NAMES = {_DISTANCE: "distance_to_go", _SPEED: "speed"}
"""Coordinates of a corridor's own dataset by their names in a sweep, where flights have distances of their own."""
_WITHOUT_DEVICES = ("lowest", "added_again", "raised", "lowest_with_thrust")
_COLUMNS = {
    name: SweepColumn(
        Column(f"corridor_{name}", own.unit, own.long_name, own.charted),
        dims=(_DISTANCE, _SPEED) if name in _WITHOUT_DEVICES else (_DEVICES, _DISTANCE, _SPEED),
    )
    for name, own in (CORRIDOR_COLUMNS | KEPT_COLUMNS).items()
}
_REASON = SweepColumn(Column("corridor_reason", "", "why a case has no corridor", ""), Content.TEXT)


class CorridorDeclaration(Declared):
    """Points at which the corridor of each case is asked for, every distance with every speed."""

    distances: tuple[Number, ...] = series("nm", 0.1, 500, "distances to go")
    speeds: tuple[Number, ...] = series("kt", 50, 500, "calibrated airspeeds")

    @property
    def grid(self) -> Grid:
        """Distances to go [m] and speeds [m/s], each once and in order."""
        return Grid(tuple(sorted(set(self.distances))), tuple(sorted(set(self.speeds))))

    @property
    def points(self) -> int:
        """Number of points [-]."""
        return len(self.grid.distances) * len(self.grid.speeds)


_KEYS = {"distance": ".distances_nm", "speed": ".speeds_kt", "grid": ""}
"""Keys of the declaration by what a fault of a grid is of."""


def grid_faults(grid: Grid, scenarios: Iterable[Scenario], name: str) -> list[Fault]:
    """What of a grid [SI] one of some scenarios cannot have, each told once; `name` is the study's file."""
    met: dict[tuple[str, str], Fault] = {}
    for scenario in scenarios:
        try:
            check_grid(scenario, grid)
        except InputFault as fault:
            for one in fault.faults:
                key = f"compute.corridor{_KEYS[one.key]}"
                met.setdefault((key, one.given), Fault(name, key, one.given, one.allowed))
    return list(met.values())


@dataclass(frozen=True)
class CorridorQuestion:
    """The corridor of each case on the points of a grid, as `corridor` tells it: at the mass of the start.

    A case whose scenario cannot have such a point, or whose corridor fails, says why and has none.
    """

    grid: Grid

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates [SI]: over sets of devices, distances to go and speeds."""
        sets = np.array([devices.name for devices in ONE_BY_ONE], dtype=object)
        values = {_DISTANCE: np.array(self.grid.distances), _SPEED: np.array(self.grid.speeds)}
        told = {name: COORDINATES[own] for name, own in _NAMES.items()}
        numbers = {
            name: (values[name], {"units": own.unit, "long_name": f"{own.long_name}, of the corridor"})
            for name, own in told.items()
        }
        of_sets = {"long_name": "drag devices that may be used early, beyond idle thrust and the schedule"}
        return Layout((*_COLUMNS.values(), _REASON), {_DEVICES: (sets, of_sets), **numbers})

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """Nothing [-]: no case has anything of another."""
        return None

    def hold(self, prepared: object) -> CorridorHeld:
        """What a worker keeps [-]: nothing."""
        return CorridorHeld(self.grid)


@dataclass(frozen=True)
class CorridorHeld:
    """The grid alone."""

    grid: Grid

    def session(self) -> CorridorSession:
        """A session for one block."""
        return CorridorSession(self.grid)


@dataclass(frozen=True)
class CorridorSession:
    """Corridors case after case; none starts from a neighbour."""

    grid: Grid

    def begin(self, cases: Sequence[Case]) -> None:
        """Nothing: each corridor is found when it is asked for."""

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """Corridor of a case [SI], or why it has none: what else is asked of the case is answered all the same."""
        try:
            found = corridor(edges_for(case.scenario, self.grid, ONE_BY_ONE, lambda _: None), self.grid)
        except InputFault as fault:
            return Answer(Status.BAD_INPUT, str(fault), {_REASON.name: str(fault)})
        except Exception as error:
            reason = f"{type(error).__name__}: {error}"
            return Answer(Status.FAILED, reason, {_REASON.name: reason})
        values = {own.name: found.values(name) for name, own in _COLUMNS.items()}
        return Answer(Status.SOLVED, "", values)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """None: a corridor does not depend on its neighbours."""
        return None
