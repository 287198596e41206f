"""State, control and surroundings of a flight."""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

from optdescent.air import Air
from optdescent.air.altitude import setting_shift, shifted
from optdescent.airframe import Airframe
from optdescent.arrival import Track
from optdescent.curves.elementary import Value
from optdescent.curves.smooth import smooth_step
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import AntiIceLayer, AntiIceOff, AntiIceOn, AntiIceUse
from optdescent.units import FOOT


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


ANTI_ICE_BAND = 500.0 * FOOT
"""Height [m] inside each edge of a layer over which idle changes between usual and raised (our choice)."""


@dataclass(frozen=True)
class AntiIce:
    """Pressure altitudes [m] between which engine anti-ice is on, so that idle is raised."""

    bottom: Value
    top: Value

    def share(self, pressure_altitude: Value) -> Value:
        """How far idle is raised at a pressure altitude [m]: 0 to 1 [-], twice continuously differentiable."""
        above, below = pressure_altitude - self.bottom, self.top - pressure_altitude
        return smooth_step(above / ANTI_ICE_BAND) * smooth_step(below / ANTI_ICE_BAND)


def anti_ice_on(use: AntiIceUse, transition_altitude: float, shift: Value) -> AntiIce | None:
    """Where a crew has engine anti-ice on, in pressure altitude; None if it is off.

    Published altitudes are read as altimeters show them: see `air.altitude.shifted` for the transition altitude [m]
    and the shift of the altimeter setting [m].
    """
    match use:
        case AntiIceOff():
            return None
        case AntiIceOn():
            return AntiIce(_LOWEST, _HIGHEST)
        case AntiIceLayer():
            return AntiIce(*(shifted(edge, transition_altitude, shift) for edge in (use.bottom, use.top)))
    assert_never(use)


_LOWEST, _HIGHEST = -5000.0, 30000.0
"""Edges [m] of a layer that holds every flight."""


def anti_ice_of(scenario: Scenario) -> AntiIce | None:
    """Where the crew of a scenario has engine anti-ice on [m], as numbers; None if it is off."""
    shift = setting_shift(scenario.qnh)
    return anti_ice_on(scenario.handling.anti_ice, scenario.arrival.transition_altitude, shift)


@dataclass(frozen=True)
class Surroundings:
    """What a flight takes place in: aircraft, air, track, and where engine anti-ice is on (None: nowhere)."""

    airframe: Airframe
    air: Air
    track: Track
    anti_ice: AntiIce | None = None

    def anti_ice_share(self, pressure_altitude: Value) -> Value | None:
        """How far idle is raised at a pressure altitude [m], 0 to 1 [-]; None where it never is."""
        return None if self.anti_ice is None else self.anti_ice.share(pressure_altitude)
