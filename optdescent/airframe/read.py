"""Airframe file to Airframe, by built-in name or path, with the faults that only the whole file shows."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

from optdescent.airframe.declaration import Airframe
from optdescent.airframe.speeds import GEAR, devices
from optdescent.inputs import Fault, InputFault, as_given, read_toml, validated
from optdescent.units import KNOT

BUILT_IN = ("narrow-body-twin",)
"""Fictional airframes that come with the package, by name."""


def read_airframe(source: str, folder: Path | None = None) -> Airframe:
    """Airframe of a built-in name or of a file [numbers in SI].

    Raises
    ------
    InputFault
        No such name or file, or every fault of the file.
    """
    if source in BUILT_IN:
        file = resources.files("optdescent.airframe").joinpath("data", f"{source}.toml")
        data, name = tomllib.loads(file.read_text(encoding="utf-8")), source
    else:
        path = Path(source) if folder is None else folder / source
        if not path.exists():
            allowed = f"a file, or the name of a built-in airframe ({', '.join(BUILT_IN)})"
            raise InputFault([Fault(str(path), "", "airframe not found", allowed)])
        data, name = read_toml(path), str(path)
    airframe = validated(Airframe, data, name)
    faults = airframe_faults(airframe, name)
    if faults:
        raise InputFault(faults)
    return airframe


def airframe_faults(airframe: Airframe, name: str) -> list[Fault]:
    """Faults between the numbers of one file: order of masses, steps, limit speeds and indices [SI]."""
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
    return faults or _schedule_faults(airframe, name)


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
