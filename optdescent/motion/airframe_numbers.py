"""Airframe to the small dataset that its figures are drawn from."""

from __future__ import annotations

import json

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.atmosphere import pressure
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.engine import idle_flow, idle_thrust
from optdescent.airframe.polar import best_glide, drag_coefficient, maximum_lift_coefficient
from optdescent.airframe.speeds import manoeuvre_speed, selection_speed, stall_speed
from optdescent.results import Provenance
from optdescent.results.airframe import AirframeNumbers
from optdescent.results.provenance import fingerprint
from optdescent.units import FOOT

LIFTS = 141
MACHS = (0.3, 0.5, 0.7)
"""Mach numbers [-] at which idle is shown."""
ALTITUDES = np.linspace(0.0, 41000.0, 83) * FOOT
"""Pressure altitudes [m] at which idle is shown."""
MASSES = 25
USUAL, RAISED = "usual", "anti-ice on"


def airframe_numbers(airframe: Airframe) -> AirframeNumbers:
    """Numbers of an airframe [SI] as its figures show them."""
    configurations = _configurations(airframe)
    idle, shares = ((USUAL,), (None,)) if airframe.engines.anti_ice_idle is None else ((USUAL, RAISED), (None, 1.0))
    lift = np.linspace(0.0, max(step.maximum_lift for step in airframe.steps), LIFTS)
    mass = np.linspace(airframe.masses.least, airframe.masses.most, MASSES)
    steps = range(len(airframe.steps))
    unselected = np.full(mass.size, np.nan)
    best = [best_glide(airframe, out, brake) for _, out, brake in configurations]
    values: dict[str, ArrayLike] = {
        "drag_coefficient": [_drag(airframe, out, brake, lift) for _, out, brake in configurations],
        "best_lift_over_drag": [ratio for ratio, _ in best],
        "best_lift_coefficient": [at for _, at in best],
        "idle_thrust": [[_flown(airframe, m, idle_thrust(airframe, pressure(ALTITUDES), m, share)) for m in MACHS]
                        for share in shares],
        "idle_flow": [[_flown(airframe, m, idle_flow(airframe, pressure(ALTITUDES), m, share)) for m in MACHS]
                      for share in shares],
        "stall_speed": [stall_speed(airframe, step, mass) for step in steps],
        "manoeuvre_speed": [manoeuvre_speed(airframe, step, mass) for step in steps],
        "selection_speed": [selection_speed(airframe, step, mass) if step else unselected for step in steps],
        "limit_speed": [step.limit_speed or airframe.limits.maximum_speed for step in airframe.steps],
        "gear_limit_speed": airframe.gear.limit_speed,
        "brake_limit_speed": np.nan if airframe.speed_brake.limit_speed is None else airframe.speed_brake.limit_speed,
        "largest_landing_mass": airframe.masses.most_landing,
    }  # fmt: skip
    coordinates: dict[str, ArrayLike] = {
        "configuration": [name for name, _, _ in configurations],
        "lift_coefficient": lift,
        "idle": idle,
        "mach": MACHS,
        "pressure_altitude": ALTITUDES,
        "step": [step.name for step in airframe.steps],
        "mass": mass,
    }
    text = json.dumps(airframe.model_dump(mode="json"), sort_keys=True, indent=1)
    return AirframeNumbers.of(values, coordinates, Provenance(airframe.title, text, fingerprint(text), "airframe"))


def _configurations(airframe: Airframe) -> list[tuple[str, Configuration, float]]:
    """Name, devices and speed brake of each configuration: steps with the gear up as far as a crew has it up."""
    last, after = len(airframe.steps) - 1, airframe.gear.after_step

    def out(step: int, gear: float) -> Configuration:
        return Configuration(tuple(1.0 if number < step else 0.0 for number in range(last)), gear)

    names = [step.name for step in airframe.steps]
    found = [(names[0], out(0, 0.0), 0.0), (f"{names[0]}, speed brake", out(0, 0.0), 1.0)]
    found += [(names[step], out(step, 0.0), 0.0) for step in range(1, after + 1)]
    found += [(f"{names[step]}, gear", out(step, 1.0), 0.0) for step in range(max(after, 1), last + 1)]
    return found


def _drag(airframe: Airframe, out: Configuration, brake: float, lift: NDArray[np.float64]) -> NDArray[np.float64]:
    """Drag coefficient (lift,) [-], not a number beyond the largest lift coefficient."""
    most = float(maximum_lift_coefficient(airframe, out, brake))
    return np.where(lift <= most, np.asarray(drag_coefficient(airframe, out, lift, 0.0, brake)), np.nan)


def _flown(airframe: Airframe, mach: float, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values (altitude,), not a number where the Mach number is beyond the largest calibrated airspeed."""
    speed = np.asarray(calibrated_from_mach(mach, pressure(ALTITUDES)))
    return np.where(speed <= airframe.limits.maximum_speed, np.broadcast_to(values, ALTITUDES.shape), np.nan)
