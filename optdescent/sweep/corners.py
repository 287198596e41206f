"""What is tried of a study before its first case: each axis at its ends, so that a fault comes early, with its axis."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from optdescent.inputs import Fault, InputFault, table_keys
from optdescent.scenario import Axis, Level, Scenario
from optdescent.scenario.declaration import ScenarioDeclaration
from optdescent.sweep.question import Asked

_MOST_KEYS = 12


def key_faults(axes: Sequence[Axis], name: str) -> list[Fault]:
    """Axes whose key leads to a table or to a list of them, where no level fits; `name` is the study's file."""
    faults: list[Fault] = []
    for index, axis in enumerate(axes):
        keys = table_keys(ScenarioDeclaration, axis.key)
        if keys:
            listed = ", ".join(keys[:_MOST_KEYS]) + (", …" if len(keys) > _MOST_KEYS else "")
            allowed = f"a quantity below it, by one of its keys: {listed}"
            faults.append(Fault(name, f"conditions.axes[{index}].key", f"got {axis.key!r}, which is a table", allowed))
    return faults


def tried(asked: Asked, name: str) -> tuple[list[Corner], list[Fault]]:
    """Scenarios at the ends of the axes [SI], and every fault that shows there; `name` is the study's file."""
    corners = _corners(asked)
    return corners, [*_corner_faults(name, asked, corners), *_idle_faults(name, asked.conditions.axes, corners)]


@dataclass(frozen=True)
class Corner:
    """One axis at a level to try, others mid-way: the scenario there, or its faults."""

    axis: int
    levels: tuple[Level, ...]
    scenario: Scenario | None
    faults: tuple[Fault, ...] = ()

    @property
    def level(self) -> Level:
        """Level [file unit] of that axis."""
        return self.levels[self.axis]


def _corners(asked: Asked) -> list[Corner]:
    found: list[Corner] = []
    for axis, levels in asked.conditions.corners():
        try:
            found.append(Corner(axis, levels, asked.scenario(levels)))
        except InputFault as fault:
            found.append(Corner(axis, levels, None, fault.faults))
    return found


_LABELS = frozenset({"title", "airport", "name", "source"})
"""Keys of a scenario and of what it names that are only read by people."""


def _substance(scenario: Scenario) -> str:
    """Everything that an answer depends on, as text: what only names things is left out."""

    def substance(value: Any) -> Any:
        if isinstance(value, dict):
            table = cast(dict[str, Any], value)
            return {key: substance(own) for key, own in table.items() if key not in _LABELS}
        if isinstance(value, list):
            return [substance(own) for own in cast(list[Any], value)]
        return value

    return json.dumps(substance(json.loads(scenario.text)))


def _corner_faults(name: str, asked: Asked, corners: Sequence[Corner]) -> list[Fault]:
    """Faults of the scenarios at the ends of the axes, each told once, of the axis that makes it."""
    axes = asked.conditions.axes
    each = [(corner, fault, _cause(asked, corner, fault)) for corner in corners for fault in corner.faults]
    own = {(axis, fault.key) for corner, fault, axis in each if corner.axis == axis}
    met: dict[tuple[int, str, str], tuple[Fault, list[str]]] = {}
    causes: dict[Fault, int] = {}
    for corner, fault, cause in each:
        is_told = causes.setdefault(fault, cause) != cause
        if is_told or (cause != corner.axis and (cause, fault.key) in own):
            continue  # the middle of an axis whose ends are wrong too
        _, levels = met.setdefault((cause, fault.key, fault.allowed), (fault, []))
        shown = _shown(axes[cause], corner.levels[cause])
        if shown not in levels:
            levels.append(shown)
    told: list[Fault] = []
    for (axis, _, _), (fault, levels) in sorted(met.items(), key=lambda one: one[0][0]):
        where = fault.key if fault.file == asked.name else f"{fault.file}: {fault.key}"
        given = f"at {_listed(levels)}: {where}: {fault.given}".replace(": : ", ": ")
        told.append(Fault(name, f"conditions.axes[{axis}]", given, fault.allowed))
    return told


def _cause(asked: Asked, corner: Corner, fault: Fault) -> int:
    """The axis that makes a fault: the one moved if it writes the key, else one that makes it alone, else that one."""
    conditions = asked.conditions
    if _is_of(fault, conditions.axes[corner.axis]):
        return corner.axis
    for index, axis in enumerate(conditions.axes):
        alone = replace(conditions, axes=(axis,)).scenario_data
        try:
            Scenario.from_data(alone(asked.data, (corner.levels[index],), asked.name), asked.name, asked.folder)
        except InputFault as found:
            if any((one.key, one.allowed) == (fault.key, fault.allowed) for one in found.faults):
                return index
    return corner.axis


def _is_of(fault: Fault, axis: Axis) -> bool:
    """Whether a fault of a scenario is about what an axis writes."""
    key = fault.key.replace("[", ".").replace("]", "")
    return key == axis.key or any(f"{written}.".startswith(f"{key}.") for written in axis.written)


def _shown(axis: Axis, level: Level) -> str:
    if isinstance(level, bool | str):
        return repr(level)
    return f"{level:g} {axis.unit.symbol}".strip()


_MOST_SHOWN = 4


def _listed(levels: Sequence[str]) -> str:
    shown = ", ".join(levels[:_MOST_SHOWN])
    return f"{shown} and {len(levels) - _MOST_SHOWN} more" if len(levels) > _MOST_SHOWN else shown


def _idle_faults(name: str, axes: Sequence[Axis], corners: Sequence[Corner]) -> list[Fault]:
    """Axes whose levels all make the same scenario."""
    faults: list[Fault] = []
    for index, axis in enumerate(axes):
        own = [corner for corner in corners if corner.axis == index]
        scenarios = [corner.scenario for corner in own if corner.scenario is not None]
        if 1 < len(own) == len(scenarios) and len({_substance(scenario) for scenario in scenarios}) == 1:
            levels = _listed([_shown(axis, corner.level) for corner in own])
            given = f"{axis.key} has no effect: the scenario is the same at {levels}"
            faults.append(Fault(name, f"conditions.axes[{index}]", given, "a key that this scenario uses"))
    return faults
