"""Solution to trajectory, and its re-flight by an independent integrator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import cast

import casadi as ca
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from optdescent.airframe.speeds import Configuration, configuration_of
from optdescent.buffered import Buffered
from optdescent.curves import Value
from optdescent.motion import Control, State, Trajectory, surroundings
from optdescent.motion.equations import motion
from optdescent.ocp import PhaseError, PhaseSolution, Solution
from optdescent.optimum.events import COLLAPSED
from optdescent.optimum.legs import Leg
from optdescent.optimum.pose import Pose
from optdescent.units import NAUTICAL_MILE

SAMPLE = 0.1 * NAUTICAL_MILE
"""Distance [m] between the points of a recorded optimum."""
_NAMES = ("pressure_altitude", "true_airspeed", "path_angle", "mass", "time")
_SIZES = np.array([1000.0, 100.0, 0.1, 1000.0, 1000.0])
_NODES = 12
Array = NDArray[np.float64]


@dataclass(frozen=True)
class Refly:
    """Largest differences along the flight when the controls found are flown again: [m], [m/s], [kg], [s]."""

    altitude: float
    speed: float
    fuel: float
    time: float


_NOT_FLOWN = Refly(np.nan, np.nan, np.nan, np.nan)


class _Point:
    """A point of a phase, numeric: looks up states, controls and parameters by name."""

    def __init__(self, independent: float | Array, entries: dict[str, Array]) -> None:
        self.independent: Value = independent
        self._entries = entries

    def __getitem__(self, name: str) -> Value:
        return self._entries[name]


class FlownLeg:
    """One phase of a solution as functions of the coordinate along the track [m]."""

    def __init__(self, pose: Pose, leg: Leg, solution: Solution) -> None:
        self.leg, self._pose = leg, pose
        self.phase: PhaseSolution = solution[leg.name]
        self._parameters = {name: np.asarray(value, dtype=float) for name, value in solution.values.items()}

    def at(self, x: Array) -> tuple[State, Control, Configuration]:
        """State, control and configuration (x.size,) [SI] at coordinates of the phase [m]."""
        entries = {name: value if value.size > 1 else value[0] for name, value in self._parameters.items()}
        entries |= {name: self.phase.state(name, x) for name in self.leg.states}
        entries |= {name: self.phase.control(name, x) for name in self.leg.controls}
        state, control, configuration, _ = self._pose.flown(self.leg, _Point(x, entries))
        return state, control, configuration

    def costates(self, x: Array) -> dict[str, Array]:
        """Costates (x.size,) [kg per unit of the state] at coordinates of the phase [m]."""
        found: dict[str, Array] = {}
        for name in _NAMES:
            known = self.phase.costates.get(name)
            column = np.full(x.shape, np.nan) if known is None else self.phase.mesh.control_at(known, self._position(x))
            found[f"costate_{name}"] = column
        return found

    def error(self, x: Array, errors: PhaseError) -> Array:
        """Largest scaled state error (x.size,) [-] of the element at coordinates of the phase [m]."""
        return errors.state[self.phase.mesh.locate(self._position(x))]

    def _position(self, x: Array) -> Array:
        return np.clip((x - self.phase.start) / self.phase.length, 0.0, 1.0)

    def values_at(self, x: float) -> Array:
        """The five states and the devices (6 + steps,) [SI] at one coordinate [m]."""
        state, _, configuration = self.at(np.array([x]))
        found = [*(getattr(state, name) for name in _NAMES), *configuration.steps, configuration.gear]
        return np.array([float(np.atleast_1d(value)[0]) for value in found])

    def controls_between(self, low: float, high: float) -> _Between:
        """Load factor, thrust fraction and speed brake [-] between two neighbouring element boundaries [m]."""
        x = 0.5 * (low + high) - 0.5 * (high - low) * np.cos((2 * np.arange(_NODES) + 1) * np.pi / (2 * _NODES))
        _, control, _ = self.at(x)
        return _Between(x, np.stack([np.broadcast_to(value, x.shape) for value in vars(control).values()]))


class _Between:
    """Polynomials (3,) through values at Chebyshev points, by the barycentric formula (Berrut, Trefethen 2004)."""

    def __init__(self, x: Array, values: Array) -> None:
        self._x, self._values = x, values
        self._weights = np.sin((2 * np.arange(_NODES) + 1) * np.pi / (2 * _NODES)) * (-1.0) ** np.arange(_NODES)

    def __call__(self, x: float) -> Array:
        away = x - self._x
        if not away.all():
            return self._values[:, int(np.flatnonzero(away == 0.0)[0])]
        share = self._weights / away
        return self._values @ share / share.sum()


def trajectory_of(pose: Pose, solution: Solution, errors: Mapping[str, PhaseError] | None = None) -> Trajectory:
    """Trajectory [SI] of a solution, sampled evenly and at both ends of every phase.

    With the local `errors` of the phases it carries them, and the costates.
    """
    parts: list[tuple[Array, State, Control, Configuration]] = []
    solved: list[dict[str, Array]] = []
    for leg in pose.legs:
        flown = FlownLeg(pose, leg, solution)
        if flown.phase.length <= COLLAPSED:
            continue
        count = max(2, int(np.ceil(flown.phase.length / SAMPLE)) + 1)
        x = np.linspace(flown.phase.start, flown.phase.end, count)
        x[0] += 1e-9 * flown.phase.length
        parts.append((x, *flown.at(x)))
        if errors is not None:
            solved.append(flown.costates(x) | {"local_error": flown.error(x, errors[leg.name])})
    x = np.concatenate([part[0] for part in parts])

    def joined(index: int, name: str) -> Array:
        return np.concatenate([np.broadcast_to(getattr(part[index], name), part[0].shape) for part in parts])

    steps = len(pose.scenario.airframe.steps) - 1
    flaps = tuple(
        np.concatenate([np.broadcast_to(part[3].steps[k], part[0].shape) for part in parts]) for k in range(steps)
    )
    return Trajectory(
        x,
        State(*(joined(1, name) for name in _NAMES)),
        Control(*(joined(2, name) for name in ("load_factor", "thrust_fraction", "speed_brake"))),
        Configuration(flaps, joined(3, "gear")),
        solved={name: np.concatenate([part[name] for part in solved]) for name in (solved[0] if solved else {})},
    )


def refly(pose: Pose, solution: Solution, tolerance: float = 1e-9) -> Refly:
    """Largest differences [SI] when the controls found are flown again by an adaptive integrator, start to threshold.

    Every phase is flown with all five states, also where the optimum holds a path or a speed in closed form, and each
    starts from where the one before ended: nothing is put back on the optimum on the way. Not a number where the
    integrator does not come through.

    References
    ----------
    Hairer, Norsett, Wanner, Solving Ordinary Differential Equations I, 2nd ed. 1993 (DOP853).
    """
    rates = Buffered(_compiled_rates(pose))
    legs = [FlownLeg(pose, leg, solution) for leg in pose.legs]
    values = legs[0].values_at(legs[0].phase.start)
    worst = np.zeros(values.size)
    sizes = np.concatenate([_SIZES, np.ones(values.size - _SIZES.size)])
    for flown in legs:
        travelling = _travelling(pose, flown.leg)
        for low, high in pairwise(flown.phase.boundaries):
            if high - low <= 0.0:
                continue
            controls = flown.controls_between(low, high)

            def slope(x: float, column: Array, controls: _Between = controls, moving: Array = travelling) -> Array:
                return rates(x, column, controls(x), moving)[0].copy()

            if not np.all(np.isfinite(slope(low, values))):
                return _NOT_FLOWN  # the integrator would look for a first step for ever
            step = solve_ivp(slope, (low, high), values, method="DOP853", rtol=tolerance, atol=tolerance * sizes)
            if not step.success:
                return _NOT_FLOWN
            values = step.y[:, -1]
            worst = np.maximum(worst, np.abs(values - flown.values_at(high)))
    return Refly(*(float(worst[index]) for index in (0, 1, 3, 4)))


def _travelling(pose: Pose, leg: Leg) -> Array:
    """Rate by time (1 + steps,) [1/s] of the steps and the gear in a phase."""
    moving = configuration_of(
        pose.scenario.airframe, lambda device: 1.0 / device.travel_time if device in leg.moving else 0.0
    )
    return np.array([*moving.steps, moving.gear])


def _compiled_rates(pose: Pose) -> ca.Function:
    """Rates by distance [SI] of states and devices: (coordinate, column, controls, rates of devices by time)."""
    world = surroundings(pose.scenario)
    states, steps = len(_NAMES), len(pose.scenario.airframe.steps) - 1
    x, values, controls = ca.SX.sym("x"), ca.SX.sym("values", states + steps + 1), ca.SX.sym("controls", 3)
    travelling = ca.SX.sym("travelling", steps + 1)
    state = State(*(values[index] for index in range(states)))
    configuration = Configuration(tuple(values[states + step] for step in range(steps)), values[states + steps])
    control = Control(*(controls[index] for index in range(3)))
    by_distance = motion(world, x, state, control, configuration).by_distance
    column = cast(ca.SX, ca.vertcat(*[getattr(by_distance, name) for name in _NAMES], travelling * by_distance.time))
    return ca.Function("rates", [x, values, controls, travelling], [ca.densify(column)])
