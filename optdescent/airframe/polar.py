"""Drag polar by configuration: parabolic or a table, with compressibility drag rise, gear and speed brake.

Sources: Anderson, Aircraft Performance and Design (1999), sections 2.9 and 5.4 (parabolic polar); Lock's fourth-power
law of drag rise as given by Hilton, High-Speed Aerodynamics (1951).
"""

from __future__ import annotations

from functools import lru_cache
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.declaration import Airframe, ParabolicPolar, TabulatedPolar
from optdescent.airframe.speeds import Configuration
from optdescent.curves import CubicTable
from optdescent.curves.elementary import Value, maximum


def _blended(values: list[float], configuration: Configuration) -> Value:
    """Value of a number of the steps: the clean one plus each step's increment times how far it is out."""
    total: Value = values[0]
    for before, value, out in zip(values, values[1:], configuration.steps, strict=False):
        total = total + (value - before) * out
    return total


def _parabolic(airframe: Airframe) -> tuple[list[float], list[float]]:
    """Zero-lift drag and induced drag factor of each step; nothing for a step whose polar is a table."""
    zero_lift: list[float] = []
    induced: list[float] = []
    for step in airframe.steps:
        match step.polar:
            case ParabolicPolar() as polar:
                zero_lift.append(polar.zero_lift_drag)
                induced.append(polar.induced_drag_factor)
            case TabulatedPolar():
                zero_lift.append(0.0)
                induced.append(0.0)
            case _:
                assert_never(step.polar)
    return zero_lift, induced


def _tabulated(airframe: Airframe, configuration: Configuration, lift: Value) -> Value:
    """Drag coefficient of the steps whose polars are tables: each weighed by how far it, and not the next, is out."""
    total: Value = 0.0
    shares = (1.0, *configuration.steps, 0.0)
    for step, out, after in zip(airframe.steps, shares, shares[1:], strict=False):
        share = out - after
        if isinstance(step.polar, TabulatedPolar) and not (isinstance(share, float) and share == 0.0):
            table, coefficients = _table(step.polar.lift_coefficient, step.polar.drag_coefficient)
            total = total + share * table.value_and_slope(coefficients, lift)[0]
    return total


@lru_cache(maxsize=64)
def _table(lift: tuple[float, ...], drag: tuple[float, ...]) -> tuple[CubicTable, NDArray[np.float64]]:
    table = CubicTable(lift)
    return table, table.coefficients(drag)


def drag_coefficient(
    airframe: Airframe, configuration: Configuration, lift: Value, mach: Value, speed_brake: Value
) -> Value:
    """Drag coefficient [-] at a lift coefficient [-], Mach number [-] and speed brake fraction [-]."""
    zero_lift, induced = (_blended(values, configuration) for values in _parabolic(airframe))
    excess = maximum(mach - airframe.wing.drag_rise_mach, 0.0)
    rise = airframe.wing.drag_rise_factor * excess * excess * excess * excess
    devices = airframe.gear.drag * configuration.gear + airframe.speed_brake.drag * speed_brake
    return zero_lift + devices + rise + induced * lift * lift + _tabulated(airframe, configuration, lift)


def maximum_lift_coefficient(airframe: Airframe, configuration: Configuration, speed_brake: Value) -> Value:
    """Maximum lift coefficient [-] with the devices out as given."""
    lift = _blended([step.maximum_lift for step in airframe.steps], configuration)
    return lift - airframe.speed_brake.lift_loss * speed_brake


def best_glide(airframe: Airframe, configuration: Configuration, speed_brake: float = 0.0) -> tuple[float, float]:
    """Largest lift over drag [-] below the drag rise, and the lift coefficient [-] at which it is had.

    Notes
    -----
    Of parabolic polars 1 / (2 √(CD0 K)) at CL = √(CD0 / K); with a table, the best of finely spaced lift coefficients.
    So too with the speed brake, whose lift loss may end the lift before that.
    """
    if speed_brake or any(isinstance(step.polar, TabulatedPolar) for step in airframe.steps):
        most = float(maximum_lift_coefficient(airframe, configuration, speed_brake))
        lift = np.linspace(5e-5 * most, most, 20000)
        ratio = lift / np.asarray(drag_coefficient(airframe, configuration, lift, 0.0, speed_brake))
        best = int(np.argmax(ratio))
        return float(ratio[best]), float(lift[best])
    zero_lift = float(drag_coefficient(airframe, configuration, 0.0, 0.0, 0.0))
    induced = float(drag_coefficient(airframe, configuration, 1.0, 0.0, 0.0)) - zero_lift
    return 1.0 / (2.0 * (zero_lift * induced) ** 0.5), (zero_lift / induced) ** 0.5
