"""Thrust of a flight at its points, where it was not recorded too: a descent from there begins with it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe import Configuration
from optdescent.motion.equations import air_at, flown_thrust
from optdescent.motion.state import Control, State, Surroundings
from optdescent.results import Flight

Array = NDArray[np.float64]
_SPAN = 10.0
"""Time [s] over which the change of speed is taken: as long as engines take to follow (our choice)."""


def thrust_along(around: Surroundings, flight: Flight) -> Array:
    """Thrust fraction (point,) of a flight [-]; one that is nowhere known is what its motion asks of the airframe.

    Devices and path angle that are not known count as in and level. An approach on thrust begun at idle would lose its
    speed while the engines spool up, and seem lost.
    """
    thrust = flight.column("thrust_fraction")
    if np.isfinite(thrust).any():
        return thrust

    def value(name: str, unknown: float = 0.0) -> Array:
        return np.nan_to_num(flight.column(name), nan=unknown)

    time, speed = flight.column("time"), flight.column("true_airspeed")
    known = np.isfinite(time) & np.isfinite(speed)
    later, earlier = (np.interp(time + half, time[known], speed[known]) for half in (0.5 * _SPAN, -0.5 * _SPAN))
    state = State(value("pressure_altitude"), speed, value("flight_path_angle"), value("mass"), time)
    idle = Control(value("load_factor", 1.0), 0.0, np.clip(value("speed_brake"), 0.0, 1.0))
    out = Configuration.at_position(value("flaps"), np.clip(value("gear"), 0.0, 1.0), len(around.airframe.steps) - 1)
    x = -flight.column("distance_to_go")
    sample = air_at(around, x, state.pressure_altitude)
    needed, _ = flown_thrust(sample, around, x, state, idle, out, (later - earlier) / _SPAN)
    return np.clip(np.asarray(needed, dtype=float), 0.0, 1.0)
