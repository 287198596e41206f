"""Drag polar by configuration: parabolic, with compressibility drag rise, gear and speed brake.

Sources: Anderson, Aircraft Performance and Design (1999), sections 2.9 and 5.4 (parabolic polar); Lock's fourth-power
law of drag rise as given by Hilton, High-Speed Aerodynamics (1951).
"""

from __future__ import annotations

from optdescent.airframe.declaration import Airframe
from optdescent.airframe.speeds import Configuration
from optdescent.curves.elementary import Value, maximum


def _blended(values: list[float], configuration: Configuration) -> Value:
    """Value of a number of the steps: the clean one plus each step's increment times how far it is out."""
    total: Value = values[0]
    for before, value, out in zip(values, values[1:], configuration.steps, strict=False):
        total = total + (value - before) * out
    return total


def drag_coefficient(
    airframe: Airframe, configuration: Configuration, lift: Value, mach: Value, speed_brake: Value
) -> Value:
    """Drag coefficient [-] at a lift coefficient [-], Mach number [-] and speed brake fraction [-]."""
    zero_lift = _blended([step.zero_lift_drag for step in airframe.steps], configuration)
    induced = _blended([step.induced_drag_factor for step in airframe.steps], configuration)
    excess = maximum(mach - airframe.wing.drag_rise_mach, 0.0)
    rise = airframe.wing.drag_rise_factor * excess * excess * excess * excess
    devices = airframe.gear.drag * configuration.gear + airframe.speed_brake.drag * speed_brake
    return zero_lift + devices + rise + induced * lift * lift


def maximum_lift_coefficient(airframe: Airframe, configuration: Configuration, speed_brake: Value) -> Value:
    """Maximum lift coefficient [-] with the devices out as given."""
    lift = _blended([step.maximum_lift for step in airframe.steps], configuration)
    return lift - airframe.speed_brake.lift_loss * speed_brake


def best_glide(airframe: Airframe, configuration: Configuration) -> tuple[float, float]:
    """Largest lift over drag [-] below the drag rise, and the lift coefficient [-] at which it is had.

    Notes
    -----
    1 / (2 √(CD0 K)) at CL = √(CD0 / K).
    """
    zero_lift = float(drag_coefficient(airframe, configuration, 0.0, 0.0, 0.0))
    induced = float(drag_coefficient(airframe, configuration, 1.0, 0.0, 0.0)) - zero_lift
    return 1.0 / (2.0 * (zero_lift * induced) ** 0.5), (zero_lift / induced) ** 0.5
