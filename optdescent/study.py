"""Study: what a study file asks for, checked before anything runs, and made into a sweep."""

from __future__ import annotations

import difflib
import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar, cast

from optdescent.inputs import (
    Declared,
    Fault,
    InputFault,
    as_given,
    entry,
    quantity,
    read_toml,
    validated_in_part,
    whole,
    with_settings,
)
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import Provenance
from optdescent.results.provenance import fingerprint
from optdescent.results.schema import COLUMNS
from optdescent.rules import Rule, RulesQuestion, read_rules
from optdescent.rules.rule import LIBRARY
from optdescent.scenario import Axis, Conditions, ConditionsDeclaration, Level, Scenario
from optdescent.sweep import Sweep
from optdescent.sweep.plan import Plan, plan_of
from optdescent.sweep.question import Asked, Question, Together

Made = TypeVar("Made")

_NOT_KEPT = ("distance_to_go", "configuration", "rule_height", "rule_speed")
"""The grid itself, a number that has no value between two points (`flaps` has), what only a flown rule has."""
KEPT = tuple(name for name in COLUMNS if name not in _NOT_KEPT)
"""Columns of a flight that can be kept at common distances."""


class ComputeDeclaration(Declared):
    """What is computed in each case."""

    local_error: float = quantity("", 1e-8, 1e-2, "largest scaled error of an element of a mesh", default=1e-4)
    slopes: bool = entry("derivatives of the cost to each axis, from the multipliers", default=True)
    rules: str | None = entry("rules to fly: a built-in name, or a file relative to the study", default=None)
    rule_names: tuple[str, ...] | None = entry("which of them; without it all", default=None)
    refly_one_in: int = whole(0, 10_000_000, "one case in so many is flown again; 0: none", default=100)


class KeepDeclaration(Declared):
    """What is kept of each case beside its summary."""

    flights: object = entry("true for whole flights, or the names of columns of a flight", default=False)
    spacing: float = quantity("nm", 0.1, 50, "distance between the points of a kept flight", default=1.0)


class StudyDeclaration(Declared):
    """One study file."""

    title: str = entry("title of the study")
    scenario: str = entry("scenario file, relative to the study")
    set: tuple[str, ...] = entry("KEY=VALUE settings of the scenario", default=())
    conditions: ConditionsDeclaration = entry("what varies")
    compute: ComputeDeclaration = entry("what is computed in each case", default=ComputeDeclaration())
    keep: KeepDeclaration = entry("what is kept of each case", default=KeepDeclaration())


@dataclass(frozen=True)
class Study:
    """All that a study file asks for; `scenario` is the one before anything varies, `plan` the cases in their blocks.

    `flights` names the columns kept at `distances` to go [m]. `text` is everything that the answers depend on, as JSON.
    """

    title: str
    scenario: Scenario
    plan: Plan
    asked: Asked
    rules: tuple[Rule, ...]
    compute: ComputeDeclaration
    flights: tuple[str, ...]
    distances: tuple[float, ...]
    text: str

    @classmethod
    def from_toml(cls, path: str | Path, settings: Sequence[str] = ()) -> Study:
        """Study of a file, with `KEY=VALUE` settings applied before validation [SI in memory].

        A key that begins with `conditions`, `compute` or `keep` is the study's, any other the scenario's.

        Raises
        ------
        InputFault
            Every fault of the file, of the files it names, and of the scenarios at the ends of its axes.
        """
        path, name = Path(path), str(path)
        own = [setting for setting in settings if _is_of_study(setting)]
        declared, found = validated_in_part(StudyDeclaration, with_settings(read_toml(path), own), name)
        faults = list(found)
        if declared is None:
            raise InputFault(faults)
        conditions = _noted(faults, lambda: Conditions.of(declared.conditions, name))
        rules = _noted(faults, lambda: _rules(declared.compute, path)) or ()
        flights = _noted(faults, lambda: _flights(declared.keep.flights, name)) or ()
        others = [setting for setting in settings if not _is_of_study(setting)]
        data = _noted(faults, lambda: _scenario_data(declared, path, others))
        file = _scenario_file(path, declared)
        scenario = None if data is None else _noted(faults, lambda: Scenario.from_data(data, str(file), file.parent))
        if conditions is None or data is None or scenario is None:
            raise InputFault(faults)
        plan = plan_of(conditions)
        asked = Asked(data, str(file), file.parent, plan.conditions)
        corners = _corners(asked)
        faults += [*_corner_faults(name, asked, corners), *_idle_faults(name, conditions.axes, corners)]
        if faults:
            raise InputFault(faults)
        distances = _distances(corners, declared.keep.spacing) if flights else ()
        text = _text(declared, flights, scenario, rules, corners)
        return cls(declared.title, scenario, plan, asked, rules, declared.compute, flights, distances, text)

    @property
    def digest(self) -> str:
        """Short fingerprint [-] of the text."""
        return fingerprint(self.text)

    @property
    def question(self) -> Question:
        """What is asked of each case."""
        compute = self.compute
        optimum = OptimumQuestion(
            compute.local_error, compute.slopes, self.flights, self.distances, compute.refly_one_in
        )
        return Together((optimum, RulesQuestion(self.rules))) if self.rules else optimum

    def sweep(self) -> Sweep:
        """The sweep that answers it."""
        provenance = Provenance(self.title, self.scenario.text, self.scenario.digest)
        return Sweep(self.plan, self.asked, self.question, self.text, provenance.attributes())


def _is_of_study(setting: str) -> bool:
    return setting.partition("=")[0].strip().partition(".")[0] in {"conditions", "compute", "keep"}


def _noted(faults: list[Fault], make: Callable[[], Made]) -> Made | None:
    """What is made; None where it has faults, which are added to those found so far."""
    try:
        return make()
    except InputFault as fault:
        faults += fault.faults
        return None


def _scenario_file(path: Path, declared: StudyDeclaration) -> Path:
    """Path of the scenario, as messages show it: the study's folder left where `..` leads out of it."""
    return Path(os.path.normpath(path.parent / declared.scenario))


def _scenario_data(declared: StudyDeclaration, path: Path, settings: Sequence[str]) -> dict[str, Any]:
    """Parsed scenario with the study's settings, then those of the command line [file units]."""
    try:
        data = read_toml(_scenario_file(path, declared))
    except InputFault as fault:
        raise InputFault(fault.placed(str(path), "scenario", declared.scenario)) from fault
    faults: list[Fault] = []
    for index, setting in enumerate(declared.set):
        try:
            data = with_settings(data, [setting])
        except InputFault as fault:
            faults += [Fault(str(path), f"set[{index}]", f"got {setting!r}", one.allowed) for one in fault.faults]
    if faults:
        raise InputFault(faults)
    return with_settings(data, settings)


def _rules(compute: ComputeDeclaration, path: Path) -> tuple[Rule, ...]:
    """Rules to fly."""
    names = compute.rule_names
    if compute.rules is None:
        if names is not None:
            raise InputFault([Fault(str(path), "compute.rules", "missing", "where the rules named are from")])
        return ()
    try:
        rules = read_rules(compute.rules if compute.rules in LIBRARY else path.parent / compute.rules)
    except InputFault as fault:
        raise InputFault(fault.placed(str(path), "compute.rules", compute.rules)) from fault
    if names is None:
        return rules
    faults = _name_faults(names, [rule.name for rule in rules], str(path), "compute.rule_names")
    if faults:
        raise InputFault(faults)
    return tuple(rule for rule in rules if rule.name in names)


def _name_faults(names: Sequence[object], known: Sequence[str], file: str, key: str) -> list[Fault]:
    """Names that are not known or stand there twice, and none at all."""
    if not names:
        return [Fault(file, key, "is empty", f"one or more of {', '.join(known)}")]
    faults: list[Fault] = []
    for index, name in enumerate(names):
        if name not in known:
            near = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
            allowed = f"one of {', '.join(known)}" + (f"; nearest is '{near[0]}'" if near else "")
            faults.append(Fault(file, f"{key}[{index}]", f"got {name!r}", allowed))
        elif name in names[:index]:
            faults.append(Fault(file, f"{key}[{index}]", f"got {name!r} twice", "names that differ"))
    return faults


def _flights(kept: object, name: str) -> tuple[str, ...]:
    """Names of the columns to keep."""
    if isinstance(kept, bool):
        return KEPT if kept else ()
    if not isinstance(kept, list | tuple):
        raise InputFault([Fault(name, "keep.flights", f"got {kept!r}", "true, false, or a list of columns")])
    listed = cast(Sequence[object], kept)
    faults = _name_faults(listed, KEPT, name, "keep.flights")
    if faults:
        raise InputFault(faults)
    return tuple(str(one) for one in listed)


@dataclass(frozen=True)
class _Corner:
    """One axis at a level to try, others mid-way: the scenario there, or its faults."""

    axis: int
    levels: tuple[Level, ...]
    scenario: Scenario | None
    faults: tuple[Fault, ...] = ()

    @property
    def level(self) -> Level:
        return self.levels[self.axis]


def _corners(asked: Asked) -> list[_Corner]:
    found: list[_Corner] = []
    for axis, levels in asked.conditions.corners():
        try:
            found.append(_Corner(axis, levels, asked.scenario(levels)))
        except InputFault as fault:
            found.append(_Corner(axis, levels, None, fault.faults))
    return found


def _corner_faults(name: str, asked: Asked, corners: Sequence[_Corner]) -> list[Fault]:
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


def _cause(asked: Asked, corner: _Corner, fault: Fault) -> int:
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


def _idle_faults(name: str, axes: Sequence[Axis], corners: Sequence[_Corner]) -> list[Fault]:
    """Axes whose levels all make the same scenario."""
    faults: list[Fault] = []
    for index, axis in enumerate(axes):
        own = [corner for corner in corners if corner.axis == index]
        digests = {corner.scenario and corner.scenario.digest for corner in own}
        if len(own) > 1 and len(digests) == 1 and None not in digests:
            levels = _listed([_shown(axis, corner.level) for corner in own])
            given = f"{axis.key} has no effect: the scenario is the same at {levels}"
            faults.append(Fault(name, f"conditions.axes[{index}]", given, "a key that this scenario uses"))
    return faults


def _distances(corners: Sequence[_Corner], spacing: float) -> tuple[float, ...]:
    """Distances to go [m] at which flights are kept: the farthest start, then multiples of the spacing, down to 0."""
    farthest = max(corner.scenario.start.distance for corner in corners if corner.scenario is not None)
    count = math.ceil(farthest / spacing - 1e-9)
    return (farthest, *(index * spacing for index in reversed(range(count))))


def _text(
    declared: StudyDeclaration,
    flights: tuple[str, ...],
    scenario: Scenario,
    rules: Sequence[Rule],
    corners: Sequence[_Corner],
) -> str:
    """Everything that the answers depend on, files by what they say: as sorted JSON, without comments or paths."""
    axes = tuple(Axis(axis) for axis in declared.conditions.axes)
    compute = {key: value for key, value in _plain(declared.compute).items() if key not in ("rules", "rule_names")}
    parts = {
        "title": declared.title,
        "conditions": _plain(declared.conditions),
        "compute": compute,
        "keep": {**_plain(declared.keep), "flights": list(flights)} if flights else {},
        "scenario": json.loads(scenario.text),
        # a level may be the name of a file
        "levels": {
            f"{axes[corner.axis].name} {corner.level}": corner.scenario.digest
            for corner in corners
            if axes[corner.axis].is_apart and corner.scenario is not None
        },
        "rules": [rule.model_dump(mode="json") for rule in rules],
    }
    return json.dumps(parts, sort_keys=True, indent=1, ensure_ascii=False)


def _plain(value: Any) -> Any:
    """A declaration as JSON holds it [file units], 5 and 5.0 being one."""
    if isinstance(value, Declared):
        return {key: _plain(own) for key, own in as_given(value).items()}
    if isinstance(value, Mapping):
        return {str(key): _plain(own) for key, own in cast(Mapping[object, object], value).items()}
    if isinstance(value, list | tuple):
        return [_plain(own) for own in cast(Sequence[object], value)]
    if isinstance(value, float):
        # division by a factor leaves a last digit
        rounded = float(f"{value:.14g}")
        return int(rounded) if rounded.is_integer() else rounded
    return value
