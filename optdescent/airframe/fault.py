"""Faults between the numbers of one airframe file: what no single number shows. Every one is named, none is mended."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeVar

import numpy as np

from optdescent.air import atmosphere
from optdescent.airframe.declaration import Airframe, Idle, IdleTable, TabulatedPolar
from optdescent.airframe.engine import idle_flow, idle_thrust, maximum_flow, maximum_thrust
from optdescent.airframe.polar import drag_coefficient
from optdescent.airframe.speeds import GEAR, Configuration, devices, manoeuvre_speed, stall_speed
from optdescent.inputs import Fault, as_given
from optdescent.units import FOOT, KILONEWTON, KNOT

Item = TypeVar("Item")
_HIGHEST = 13000.0
"""Pressure altitude [m] up to which thrust and flow are compared."""
_LIFTS = 201
_LEAST_KNOTS = 3
_ROUNDING = 1e-9


def airframe_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Faults of an airframe whose file is called `name` [SI]; what rests on other numbers is judged after them."""
    return (
        [*_order_faults(airframe, name), *_table_faults(airframe, name)]
        or [*_drag_faults(airframe, name), *_engine_faults(airframe, name), *_speed_faults(airframe, name)]
        or _schedule_faults(airframe, name)
    )


def _order_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Order of masses, steps, limit speeds and indices."""
    faults: list[Fault] = []
    masses, steps, last = airframe.masses, airframe.steps, len(airframe.steps) - 1
    if not masses.least < masses.most_landing <= masses.most:
        faults.append(Fault(name, "masses", str(as_given(masses)), "least < most_landing <= most"))
    if last < 1:
        faults.append(Fault(name, "steps", f"{len(steps)} step(s)", "clean and at least one step of flaps"))
    for index, step in enumerate(steps):
        if (step.limit_speed is None) != (index == 0):
            allowed = "no limit speed on clean (limits.maximum_speed), one on every other step"
            faults.append(Fault(name, f"steps[{index}].limit_speed_kt", "wrong", allowed))
    for index in range(1, last + 1):
        before, step = steps[index - 1], steps[index]
        if step.maximum_lift <= before.maximum_lift:
            allowed = f"more than the step before ({before.maximum_lift:g})"
            faults.append(Fault(name, f"steps[{index}].maximum_lift", f"got {step.maximum_lift:g}", allowed))
        if before.limit_speed is not None and step.limit_speed is not None and step.limit_speed > before.limit_speed:
            allowed = f"at most that of the step before ({as_given(before)['limit_speed_kt']:g})"
            given = f"got {as_given(step)['limit_speed_kt']:g}"
            faults.append(Fault(name, f"steps[{index}].limit_speed_kt", given, allowed))
    for key, index in (
        ("gear.after_step", airframe.gear.after_step),
        ("speed_brake.last_step", airframe.speed_brake.last_step),
    ):
        if not 0 <= index <= last:
            faults.append(Fault(name, key, f"got {index}", f"0 to {last}"))
    return [*faults, *_lift_loss_faults(airframe, name)]


def _lift_loss_faults(airframe: Airframe, name: str) -> list[Fault]:
    """A speed brake that leaves no lift."""
    lost = airframe.speed_brake.lift_loss
    left = [step for step in airframe.steps if step.maximum_lift <= lost]
    allowed = "less than the maximum lift coefficient it is taken from"
    return [
        Fault(name, "speed_brake.lift_loss", f"got {lost:g}", f"{allowed} ({step.maximum_lift:g}, {step.name})")
        for step in left[:1]
    ]


def _table_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Axes that do not rise or are too short, and tables of another shape than their axes."""
    faults: list[Fault] = []
    for index, step in enumerate(airframe.steps):
        polar, key = step.polar, f"steps[{index}].polar"
        if isinstance(polar, TabulatedPolar):
            faults += _axis_faults(name, f"{key}.lift_coefficient", polar.lift_coefficient, 1.0)
            faults += _count_faults(
                name, f"{key}.drag_coefficient", polar.drag_coefficient, len(polar.lift_coefficient), "lift coefficient"
            )
    for key, idle in _idles(airframe):
        if isinstance(idle, IdleTable):
            faults += _axis_faults(name, f"{key}.mach", idle.mach, 1.0)
            faults += _axis_faults(name, f"{key}.pressure_altitude_ft", idle.pressure_altitude, FOOT)
            for suffix, rows in (("thrust_kn", idle.thrust), ("flow_kg_per_s", idle.flow)):
                place = f"{key}.{suffix}"
                faults += _count_faults(name, place, rows, len(idle.pressure_altitude), "row", "pressure altitude")
                for number, row in enumerate(rows):
                    faults += _count_faults(name, f"{place}[{number}]", row, len(idle.mach), "Mach number")
    return faults


def _idles(airframe: Airframe) -> list[tuple[str, Idle]]:
    """Each declared idle with its key."""
    raised = airframe.engines.anti_ice_idle
    return [("engines.idle", airframe.engines.idle), *([] if raised is None else [("engines.anti_ice_idle", raised)])]


def _axis_faults(name: str, key: str, axis: Sequence[float], unit: float) -> list[Fault]:
    """Faults of one axis; `unit` [SI] is that of its key."""
    if len(axis) < _LEAST_KNOTS:
        return [Fault(name, key, f"{len(axis)} number(s)", f"{_LEAST_KNOTS} or more, rising")]
    return [
        Fault(
            name, f"{key}[{index + 1}]", f"got {after / unit:g}", f"more than the number before it ({before / unit:g})"
        )
        for index, (before, after) in enumerate(pairwise(axis))
        if after <= before
    ]


def _count_faults(
    name: str, key: str, found: Sequence[Item], wanted: int, each: str, of: str | None = None
) -> list[Fault]:
    """A fault if a row, or a table of rows, is not as long as its axis."""
    if len(found) == wanted:
        return []
    what, per = ("number", each) if of is None else (each, of)
    return [Fault(name, key, f"{len(found)} {what}(s)", f"{wanted}, one for each {per}")]


def _drag_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Polars that give no drag or negative drag between no lift and the largest, or within their table."""
    faults: list[Fault] = []
    count = len(airframe.steps) - 1
    for index, step in enumerate(airframe.steps):
        out = Configuration(tuple(1.0 if number < index else 0.0 for number in range(count)), 0.0)
        known = step.polar.lift_coefficient if isinstance(step.polar, TabulatedPolar) else (0.0,)
        lift = np.linspace(min(0.0, known[0]), max(step.maximum_lift, known[-1]), _LIFTS)
        drag = np.asarray(drag_coefficient(airframe, out, lift, 0.0, 0.0))
        worst = int(np.argmin(drag))
        if drag[worst] <= 0.0:
            given = f"gives a drag coefficient of {drag[worst]:.4f} at a lift coefficient of {lift[worst]:.2f}"
            allowed = f"drag above 0 at every lift coefficient from {lift[0]:g} to {lift[-1]:g}"
            faults.append(Fault(name, f"steps[{index}].polar", given, allowed))
    return faults


def _engine_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Idle that is not below the largest thrust and its flow, or not raised by anti-ice, anywhere it is flown."""
    altitude, mach = np.meshgrid(np.linspace(0.0, _HIGHEST, 27), np.linspace(0.0, airframe.limits.maximum_mach, 18))
    pressure, density = atmosphere.pressure(altitude), atmosphere.density(altitude, 0.0)
    faults: list[Fault] = []

    def judge(key: str, excess: np.ndarray, say: Callable[[tuple[np.intp, ...]], str], allowed: str) -> None:
        worst = np.unravel_index(int(np.argmax(excess)), excess.shape)
        if excess[worst] > 0.0:
            place = f"at {altitude[worst] / FOOT:.0f} ft and Mach {mach[worst]:.2f}"
            faults.append(Fault(name, key, f"{say(worst)} {place}", allowed))

    most, most_flow = maximum_thrust(airframe, density, mach), maximum_flow(airframe, density, mach)
    usual = idle_thrust(airframe, pressure, mach), idle_flow(airframe, pressure, mach)
    raised = idle_thrust(airframe, pressure, mach, 1.0), idle_flow(airframe, pressure, mach, 1.0)
    for (key, _), (thrust, flow) in zip(_idles(airframe), (usual, raised), strict=False):
        judge(
            key, thrust - most + _ROUNDING,
            lambda at, thrust=thrust: f"idle thrust is {thrust[at] / KILONEWTON:.1f} kN, all engines,",
            "idle thrust below the largest thrust, wherever it is flown",
        )  # fmt: skip
        judge(
            key, np.maximum(flow - most_flow, -flow) + _ROUNDING,
            lambda at, flow=flow: f"idle flow is {flow[at]:.3f} kg/s, all engines,",
            "idle flow above 0 and below the flow at largest thrust, wherever it is flown",
        )  # fmt: skip
    if airframe.engines.anti_ice_idle is not None:
        for what, low, high in (("thrust", usual[0], raised[0]), ("flow", usual[1], raised[1])):
            judge(
                "engines.anti_ice_idle", low - high - _ROUNDING * np.abs(low),
                lambda _, what=what: f"idle {what} falls when anti-ice is switched on",
                f"idle {what} at least that of engines.idle",
            )  # fmt: skip
    return faults


def _speed_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Limit speeds below the stall speed or the least manoeuvring speed with the device out, or above the largest."""
    landing, last = airframe.masses.most_landing, len(airframe.steps) - 1
    limits, brake = airframe.limits, airframe.speed_brake
    asked = [("limits.maximum_speed_kt", limits.maximum_speed, 0, airframe.masses.most)]
    asked += [
        (f"steps[{index}].limit_speed_kt", step.limit_speed, index, landing)
        for index, step in enumerate(airframe.steps)
        if step.limit_speed is not None
    ]
    asked.append(("gear.limit_speed_kt", airframe.gear.limit_speed, min(airframe.gear.after_step, last), landing))
    if brake.limit_speed is not None:
        asked.append(("speed_brake.limit_speed_kt", brake.limit_speed, 0, landing))
    faults: list[Fault] = []
    for key, limit, step, mass in asked:
        stall, least = (float(speed(airframe, step, mass)) for speed in (stall_speed, manoeuvre_speed))
        where = f"with {airframe.steps[step].name!r} at {mass:.0f} kg"
        given = f"got {limit / KNOT:.0f}"
        if limit <= stall:
            faults.append(Fault(name, key, given, f"above the stall speed {where}, {stall / KNOT:.0f} kt"))
        elif limit <= least:
            faults.append(Fault(name, key, given, f"above the least manoeuvring speed {where}, {least / KNOT:.0f} kt"))
        elif limit > limits.maximum_speed:
            allowed = f"at most limits.maximum_speed_kt ({limits.maximum_speed / KNOT:.0f})"
            faults.append(Fault(name, key, given, allowed))
    return faults


def _schedule_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Devices that the schedule would select above their limit speed at the largest landing mass [SI]."""
    faults: list[Fault] = []
    for device in devices(airframe):
        speed = float(device.scheduled_speed(airframe, airframe.masses.most_landing))
        if speed > device.limit_speed:
            key = "gear.limit_speed_kt" if device.number == GEAR else f"steps[{device.number}].limit_speed_kt"
            allowed = f"at least {speed / KNOT:.0f} kt, where the schedule selects it at the largest landing mass"
            faults.append(Fault(name, key, f"got {device.limit_speed / KNOT:.0f}", allowed))
    return faults
