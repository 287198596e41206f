"""State, control and surroundings of a flight."""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.air import Air
from optdescent.airframe import Airframe
from optdescent.arrival import Track
from optdescent.curves.elementary import Value


@dataclass(frozen=True)
class State:
    """Pressure altitude [m], true airspeed [m/s], path angle through the air [rad], mass [kg], time [s].

    Down is negative: the path angle of a descent is below zero.
    """

    pressure_altitude: Value
    true_airspeed: Value
    path_angle: Value
    mass: Value
    time: Value


@dataclass(frozen=True)
class Control:
    """Normal load factor [-], thrust between idle (0) and largest (1) [-], speed brake [-]."""

    load_factor: Value
    thrust_fraction: Value
    speed_brake: Value


@dataclass(frozen=True)
class Surroundings:
    """What a flight takes place in: aircraft, air, track."""

    airframe: Airframe
    air: Air
    track: Track
