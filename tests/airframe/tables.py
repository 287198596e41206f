"""An airframe in coefficient form made into one of tables."""

from __future__ import annotations

import numpy as np

from optdescent.air import atmosphere
from optdescent.airframe import Airframe
from optdescent.airframe.declaration import Idle, IdleCoefficients, IdleTable, ParabolicPolar, TabulatedPolar
from optdescent.units import FOOT, KILONEWTON

LIFTS = tuple(float(value) for value in np.linspace(0.0, 3.0, 31))
MACHS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
FEET = tuple(float(value) for value in np.arange(-2000.0, 48001.0, 2500.0))


def tabulated(airframe: Airframe) -> Airframe:
    """The airframe with tables of its own polars and idle in place of the coefficients."""
    raised = airframe.engines.anti_ice_idle
    idle = {
        "idle": idle_table(airframe.engines.idle, airframe.engines.rated_thrust),
        "anti_ice_idle": None if raised is None else idle_table(raised, airframe.engines.rated_thrust),
    }
    steps = tuple(step.model_copy(update={"polar": polar_table(step.polar)}) for step in airframe.steps)
    return airframe.model_copy(update={"steps": steps, "engines": airframe.engines.model_copy(update=idle)})


def polar_table(polar: ParabolicPolar | TabulatedPolar) -> TabulatedPolar:
    assert isinstance(polar, ParabolicPolar)
    drag = tuple(polar.zero_lift_drag + polar.induced_drag_factor * lift**2 for lift in LIFTS)
    return TabulatedPolar(kind="table", lift_coefficient=LIFTS, drag_coefficient=drag)


def idle_table(idle: Idle, rated: float) -> IdleTable:
    """Through the door of a file, so in its units."""
    assert isinstance(idle, IdleCoefficients)
    ratios = [float(atmosphere.pressure(feet * FOOT)) / 101325.0 for feet in FEET]
    lapses = [idle.thrust_floor + (1.0 - idle.thrust_floor) * ratio for ratio in ratios]
    thrust = [[rated / KILONEWTON * (idle.thrust + idle.thrust_by_mach * m) * lapse for m in MACHS] for lapse in lapses]
    flow = [[idle.flow + idle.flow_by_pressure * ratio for _ in MACHS] for ratio in ratios]
    made = {"kind": "table", "mach": MACHS, "pressure_altitude_ft": FEET, "thrust_kn": thrust, "flow_kg_per_s": flow}
    return IdleTable.model_validate(made)
