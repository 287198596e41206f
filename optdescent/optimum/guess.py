"""A flown flight as the first guess, and the mesh it is solved on."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp import Guess, Mesh, PhaseGuess, Problem
from optdescent.optimum.events import Event, EventKind
from optdescent.optimum.legs import Leg, Mode, travel
from optdescent.optimum.pose import overlap
from optdescent.results import Flight
from optdescent.units import NAUTICAL_MILE

_POINTS = 60
_INSIDE = 0.02
_COLUMNS = {
    "pressure_altitude": "pressure_altitude",
    "true_airspeed": "true_airspeed",
    "path_angle": "flight_path_angle",
    "mass": "mass",
    "time": "time",
    "load_factor": "load_factor",
    "speed_brake": "speed_brake",
    "thrust_fraction": "thrust_fraction",
}
_ELEMENT: Mapping[Mode, float] = {
    Mode.CRUISE: 40.0 * NAUTICAL_MILE,
    Mode.DESCENT: 14.0 * NAUTICAL_MILE,
    Mode.LEVEL: 7.0 * NAUTICAL_MILE,
    Mode.SLOWING: 2.0 * NAUTICAL_MILE,
    Mode.APPROACH: 2.0 * NAUTICAL_MILE,
}
_NEAR = 20.0 * NAUTICAL_MILE
_NEAR_ELEMENT = 5.0 * NAUTICAL_MILE
DEGREE_OF_ELEMENTS = 4


def guess_from(flight: Flight, legs: tuple[Leg, ...], places: Mapping[Event, float]) -> Guess:
    """Guess of every phase [SI] from a flown flight and the places of the events along its track [m]."""
    x = -flight.column("distance_to_go")
    phases: dict[str, PhaseGuess] = {}
    begin = float(x[0])
    for leg in legs:
        end = max(places[leg.ends], begin)
        at = np.linspace(begin, end, _POINTS)
        states = _series(flight, x, at, tuple(name for name in leg.states if name in _COLUMNS))
        for device in leg.moving:
            span = [places[Event(kind, device.number)] for kind in (EventKind.SELECTED, EventKind.OUT)]
            states[travel(device)] = np.interp(at, span, [0.0, 1.0])
        phases[leg.name] = PhaseGuess(at, states, _series(flight, x, at, leg.controls))
        begin = end
    return Guess(phases, {overlap(leg): 0.0 for leg in legs})


def _series(
    flight: Flight, x: NDArray[np.float64], at: NDArray[np.float64], names: tuple[str, ...]
) -> dict[str, NDArray[np.float64]]:
    series = {name: np.interp(at, x, flight.column(_COLUMNS[name])) for name in names}
    for name in ("speed_brake", "thrust_fraction"):
        if name in series:
            series[name] = np.clip(series[name], _INSIDE, 1.0 - _INSIDE)
    return series


def mesh_for(problem: Problem, legs: tuple[Leg, ...], guess: Guess) -> Mesh:
    """Mesh with elements of a length [m] that suits each phase: shorter near the threshold, where devices travel."""
    elements: dict[str, int] = {}
    for leg in legs:
        at = guess.phases[leg.name].independent
        length = float(at[-1] - at[0])
        size = _ELEMENT[leg.mode]
        if leg.mode is Mode.DESCENT and -float(at[-1]) < _NEAR:
            size = _NEAR_ELEMENT
        elements[leg.name] = max(1, int(np.ceil(length / size)))
    return Mesh.uniform(problem, elements, degree=DEGREE_OF_ELEMENTS)
