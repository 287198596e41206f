"""Quantities that the demands of an arrival are stated in, at a point or at an end of a phase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from typing import Protocol

import casadi as ca

from optdescent.air.airspeed import calibrated_at
from optdescent.airframe.speeds import reference_speed
from optdescent.curves.elementary import Value
from optdescent.motion import Surroundings
from optdescent.optimum.legs import Leg
from optdescent.optimum.parameters import Named, air_of, surroundings_of
from optdescent.scenario import Scenario


class At(Named, Protocol):
    """A point of a phase, symbolic or numeric: names looked up, and the coordinate along the track [m]."""

    independent: Value


@dataclass(frozen=True)
class _Level:
    """States of a level phase, whose altitude [m] is given and no state."""

    states: Named
    pressure_altitude: Value

    def __getitem__(self, name: str) -> ca.SX:
        return self.pressure_altitude if name == "pressure_altitude" else self.states[name]


def altitude_of_hold(index: int) -> str:
    """Name of the parameter that is the pressure altitude of a hold-down [m]."""
    return f"altitude of hold-down {index + 1}"


def states_at(leg: Leg, named: Named, at: Named) -> Named:
    """States at a point or an end of a phase, the altitude included where the phase does not carry it [SI]."""
    return at if leg.hold is None else _Level(at, named[altitude_of_hold(leg.hold)])


def least_of(values: Sequence[Value]) -> ca.SX:
    """Smallest of some expressions of parameters [any unit]."""
    return reduce(ca.fmin, values[1:], ca.SX(values[0]))


@dataclass(frozen=True)
class Quantities:
    """Expressions of a scenario. `named` looks up parameters; `at` looks up states (at a point both are the point)."""

    scenario: Scenario

    def surroundings(self, named: Named) -> Surroundings:
        """Surroundings at a point or at the ends [SI]."""
        return surroundings_of(self.scenario, named)

    def calibrated(self, named: Named, at: Named) -> ca.SX:
        """Calibrated airspeed [m/s] of a state."""
        altitude = at["pressure_altitude"]
        sound = air_of(self.scenario, named).speed_of_sound(altitude)
        return calibrated_at(at["true_airspeed"], altitude, sound)

    def above_reference(self, named: Named, at: Named) -> ca.SX:
        """Calibrated airspeed over the reference speed for landing [m/s]."""
        return self.calibrated(named, at) - reference_speed(self.scenario.airframe, at["mass"])

    def above_floor(self, named: Named, at: Named, x: ca.SX, segment: tuple[int | None, int | None]) -> ca.SX:
        """Altitude above the floor [m] at a coordinate along the track [m], between two points of it by index."""
        before, after = segment
        if before is None or after is None:
            index = after if before is None else before
            return at["pressure_altitude"] - named[f"altitude of floor point {(index or 0) + 1}"]
        x_before, x_after = (named[f"place of floor point {index + 1}"] for index in (before, after))
        low, high = (named[f"altitude of floor point {index + 1}"] for index in (before, after))
        return at["pressure_altitude"] - low - (high - low) * (x - x_before) / (x_after - x_before)

    def height(self, named: Named, at: Named) -> ca.SX:
        """Height above the threshold [m]."""
        return self.surroundings(named).air.height(at["pressure_altitude"]) - named["elevation"]

    def above_path(self, named: Named, at: Named, x: ca.SX) -> ca.SX:
        """Height above the glide path [m] at a coordinate along the track [m]."""
        return self.height(named, at) - (named["threshold crossing height"] - named["gradient"] * x)
