"""Forces and fuel flow at one state, and the thrust that a wanted acceleration needs."""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.air import AirSample
from optdescent.air.airspeed import calibrated_from_mach
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.engine import idle_flow, idle_thrust, maximum_flow, maximum_thrust
from optdescent.airframe.polar import drag_coefficient
from optdescent.curves.elementary import Value, sqrt
from optdescent.motion.state import Control, State
from optdescent.units import GRAVITY


@dataclass(frozen=True)
class Forces:
    """Mach number [-], calibrated airspeed [m/s], lift coefficient [-], drag and thrust [N], fuel flow [kg/s].

    `idle` and `largest` are the bounds of thrust [N], `idle_flow` is the fuel flow at idle [kg/s].
    """

    mach: Value
    calibrated_airspeed: Value
    lift_coefficient: Value
    drag: Value
    thrust: Value
    fuel_flow: Value
    idle: Value
    largest: Value
    idle_flow: Value


def forces(
    airframe: Airframe,
    sample: AirSample,
    state: State,
    control: Control,
    configuration: Configuration,
    anti_ice: Value | None = None,
    lateral: Value | None = None,
) -> Forces:
    """Forces [N] and fuel flow [kg/s] of a state and control in the air of `sample`.

    `anti_ice` [-] is how far idle is raised, 0 to 1; None where engine anti-ice is never on. `lateral` [-] is the
    horizontal part of lift over weight that a turn of the track needs; None on a straight track.

    Notes
    -----
    Lift is m g √(n² + lateral²), which is n m g / cos(bank); drag from the polar; thrust and fuel flow linear in the
    thrust fraction between idle and largest.
    """
    mach = state.true_airspeed / sample.speed_of_sound
    pressure_area = 0.5 * sample.density * state.true_airspeed**2 * airframe.wing.area
    load = control.load_factor if lateral is None else sqrt(control.load_factor**2 + lateral**2)
    lift_coefficient = load * state.mass * GRAVITY / pressure_area
    drag = pressure_area * drag_coefficient(airframe, configuration, lift_coefficient, mach, control.speed_brake)
    idle = idle_thrust(airframe, sample.pressure, mach, anti_ice)
    largest = maximum_thrust(airframe, sample.density, mach)
    least_flow = idle_flow(airframe, sample.pressure, mach, anti_ice)
    most_flow = maximum_flow(airframe, sample.density, mach)
    return Forces(
        mach=mach,
        calibrated_airspeed=calibrated_from_mach(mach, sample.pressure),
        lift_coefficient=lift_coefficient,
        drag=drag,
        thrust=idle + control.thrust_fraction * (largest - idle),
        fuel_flow=least_flow + control.thrust_fraction * (most_flow - least_flow),
        idle=idle,
        largest=largest,
        idle_flow=least_flow,
    )
