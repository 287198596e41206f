"""Trajectories made up from their columns, not flown: what is recorded of them can be worked out by hand."""

from __future__ import annotations

import numpy as np

from optdescent.airframe import Configuration
from optdescent.motion import Control, State, Trajectory
from optdescent.units import FOOT, NAUTICAL_MILE


def straight_down(
    points: int = 401,
    thrust: tuple[float, float] = (0.0, 0.0),
    brake: tuple[float, float] = (0.0, 0.0),
    cruise_to: float = 100.0,
) -> Trajectory:
    """Cruise at FL350 from 160 nm, then straight down to the threshold (600 ft) from `cruise_to` [nm].

    `thrust` and `brake` are the stretches [nm to go] with half thrust and with half speed brake, farthest first.
    """
    to_go = np.linspace(160.0, 0.0, points)
    altitude = 600.0 + (35000.0 - 600.0) * np.minimum(to_go / cruise_to, 1.0)
    speed = np.interp(to_go, [0.0, cruise_to], [75.0, 220.0])
    within = [(to_go < far) & (to_go > near) for far, near in (thrust, brake)]
    out = np.clip((20.0 - to_go) / 10.0, 0.0, 1.0)
    zero = np.zeros(points)
    state = State(
        altitude * FOOT, speed, np.where(to_go < cruise_to, -0.05, 0.0), 62000.0 - 3.0 * (160.0 - to_go), zero
    )
    state = State(state.pressure_altitude, speed, state.path_angle, state.mass, np.linspace(0.0, 1400.0, points))
    control = Control(zero + 1.0, np.where(within[0], 0.5, 0.0), np.where(within[1], 0.5, 0.0))
    return Trajectory(-to_go * NAUTICAL_MILE, state, control, Configuration((out,) * 4, out))
