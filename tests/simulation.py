"""Aircraft with changed numbers, simple air, and the equations of motion flown by an adaptive integrator.

The integrator is scipy's DOP853 over distance. It shares nothing with the package but the equations themselves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from optdescent.air import Air
from optdescent.air.wind import ColumnField
from optdescent.airframe import Airframe, Configuration, read_airframe
from optdescent.arrival import Track
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, motion

CLEAN = Configuration((0.0, 0.0, 0.0, 0.0), 0.0)
COLUMN = ColumnField((-2000.0, 9000.0, 20000.0))
"""Few knots: quick to evaluate, and a wind linear in height is held exactly."""
SEA_LEVEL_QNH = 101325.0

Controls = Callable[[float, State], Control]
Rates = Callable[[State, Control, Motion], tuple[float, ...]]


def glider(
    area: float, zero_lift_drag: float, induced_drag_factor: float, template: Airframe | None = None
) -> Airframe:
    """The built-in airframe with another wing and polar, and engines that give no thrust and burn nothing at idle."""
    airframe = template or read_airframe("narrow-body-twin")
    polar = {"zero_lift_drag": zero_lift_drag, "induced_drag_factor": induced_drag_factor}
    silent = {"thrust": 0.0, "thrust_by_mach": 0.0, "flow": 0.0, "flow_by_pressure": 0.0}
    clean = airframe.steps[0].model_copy(update={"polar": airframe.steps[0].polar.model_copy(update=polar)})
    idle = airframe.engines.idle.model_copy(update=silent)
    return airframe.model_copy(
        update={
            "wing": airframe.wing.model_copy(update={"area": area, "drag_rise_factor": 0.0}),
            "steps": (clean, *airframe.steps[1:]),
            "engines": airframe.engines.model_copy(update={"idle": idle}),
        }
    )


def air(
    east: float = 0.0,
    north: float = 0.0,
    east_by_height: float = 0.0,
    north_by_height: float = 0.0,
    temperature_offset: float = 0.0,
    qnh: float = SEA_LEVEL_QNH,
    elevation: float = 0.0,
) -> Air:
    """Air with a wind linear in height: towards east and north at sea level [m/s], slopes with height [1/s]."""
    heights = np.asarray(COLUMN.heights)
    coefficients = COLUMN.from_values(east + east_by_height * heights, north + north_by_height * heights)
    return Air(temperature_offset, qnh, elevation, COLUMN, coefficients)


def eastbound(airframe: Airframe, around: Air) -> Surroundings:
    """Surroundings of a track due east: wind towards east is a tailwind, wind towards south pushes right."""
    return Surroundings(airframe, around, Track(math.pi / 2.0))


def fixed(load_factor: float = 1.0, thrust_fraction: float = 0.0, speed_brake: float = 0.0) -> Controls:
    """Controls that do not change."""
    control = Control(load_factor, thrust_fraction, speed_brake)
    return lambda _distance, _state: control


def straight(_distance: float, state: State) -> Control:
    """Idle, with the load factor that keeps the path through still or uniformly moving air straight."""
    return Control(math.cos(state.path_angle), 0.0, 0.0)


@dataclass(frozen=True)
class Run:
    """A flown stretch: distances (point,) [m], state with arrays (point,), integrals asked for (integral, point)."""

    distance: NDArray[np.float64]
    state: State
    integrals: NDArray[np.float64]

    @property
    def end(self) -> State:
        """State at the last point."""
        return State(*(float(values[-1]) for values in vars(self.state).values()))


def fly(
    around: Surroundings,
    start: State,
    controls: Controls,
    length: float,
    configuration: Configuration = CLEAN,
    until: Callable[[State], float] | None = None,
    integrals: Rates | None = None,
    tolerance: float = 1e-11,
    points: NDArray[np.float64] | None = None,
) -> Run:
    """Integrate the equations of motion over distance.

    `until` stops where it passes zero; `integrals` gives rates by time of quantities to integrate along.
    """

    def rates(distance: float, values: NDArray[np.float64]) -> list[float]:
        state = State(*(float(value) for value in values[:5]))
        control = controls(distance, state)
        at = motion(around, distance, state, control, configuration)
        extra = integrals(state, control, at) if integrals else ()
        by_distance = [float(value) for value in vars(at.by_distance).values()]
        return [*by_distance, *(float(value) / float(at.passage.ground_speed) for value in extra)]

    begin = [float(value) for value in vars(start).values()]
    first = State(*begin)
    count = (
        len(integrals(first, controls(0.0, first), motion(around, 0.0, first, controls(0.0, first), configuration)))
        if integrals
        else 0
    )
    event = None
    if until is not None:

        def event(_distance: float, values: NDArray[np.float64]) -> float:
            return until(State(*values[:5]))

        event.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        rates,
        (0.0, length),
        [*begin, *([0.0] * count)],
        method="DOP853",
        rtol=tolerance,
        atol=tolerance,
        t_eval=points,
        events=event,
    )
    assert solved.success, solved.message
    distance, values = solved.t, solved.y
    if until is not None:
        assert solved.t_events[0].size == 1, "the flight never came to the end asked for"
        distance = np.append(distance, solved.t_events[0])
        values = np.column_stack([values, solved.y_events[0][0]])
    return Run(distance, State(*values[:5]), values[5:])


def level_state(pressure_altitude: float, true_airspeed: float, mass: float, path_angle: float = 0.0) -> State:
    """State at time zero."""
    return State(pressure_altitude, true_airspeed, path_angle, mass, 0.0)
