"""Study: what a study file asks for, checked before anything runs, and made into a sweep."""

from __future__ import annotations

import difflib
import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, cast

from optdescent.derive import DeriveDeclaration
from optdescent.derive.sets import Use, conditions_of
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
from optdescent.markup import card, pairs
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import Provenance
from optdescent.results.provenance import fingerprint
from optdescent.results.schema import COLUMNS
from optdescent.rules import LIBRARY, Rule, RulesQuestion, read_rules
from optdescent.rules.fleet import AT_A_TIME
from optdescent.scenario import Axis, Conditions, ConditionsDeclaration, Scenario
from optdescent.sweep import Sweep
from optdescent.sweep.corners import Corner, key_faults, tried
from optdescent.sweep.dataset import name_faults
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
    optimum: bool = entry("the optimum of each case; without it rules are flown thousands at once", default=True)
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
    derive: DeriveDeclaration | None = entry("what is wanted of derived rules", default=None)


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
    derive: DeriveDeclaration | None = None

    @classmethod
    def from_toml(cls, path: str | Path, settings: Sequence[str] = ()) -> Study:
        """Study of a file, with `KEY=VALUE` settings applied before validation [SI in memory].

        A key that begins with `conditions`, `compute`, `keep` or `derive` is the study's, any other the scenario's.

        Raises
        ------
        InputFault
            Every fault of the file, of the files it names, and of the scenarios at the ends of its axes.
        """
        path, name = Path(path), str(path)
        own = [setting for setting in settings if _is_of_study(setting)]
        sound = _sound(with_settings(read_toml(path), own), name)
        declared, faults = sound.declared, list(sound.faults)
        conditions = None if "conditions" in sound.wrong else _noted(faults, lambda: _conditions(declared, name))
        rules = (None if "rules" in sound.wrong else _noted(faults, lambda: _rules(declared.compute, path))) or ()
        flights = _noted(faults, lambda: _flights(declared.keep.flights, name)) or ()
        faults += _nothing_to_do(declared, rules, bool(flights), name) if "rules" not in sound.wrong else []
        found = [] if conditions is None else _axis_faults(conditions, declared.compute, flights, rules, name)
        found += [] if conditions is None else _derive_faults(conditions, declared.derive, name)
        faults += found
        others = [setting for setting in settings if not _is_of_study(setting)]
        data = None if "scenario" in sound.wrong else _noted(faults, lambda: _scenario_data(declared, path, others))
        file = _scenario_file(path, declared)
        scenario = None if data is None else _noted(faults, lambda: Scenario.from_data(data, str(file), file.parent))
        if conditions is None or data is None or scenario is None or found:
            raise InputFault(faults)
        plan = plan_of(conditions, None if declared.compute.optimum else AT_A_TIME)
        asked = Asked(data, str(file), file.parent, plan.conditions)
        corners, found = tried(asked, name)
        faults += found
        if faults:
            raise InputFault(faults)
        distances = _distances(corners, declared.keep.spacing) if flights else ()
        text = _text(declared, flights, scenario, rules, corners)
        compute, derive = declared.compute, declared.derive
        return cls(declared.title, scenario, plan, asked, rules, compute, flights, distances, text, derive)

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        conditions = self.plan.conditions
        computed = ["the optimum"] * self.compute.optimum + [rule.name for rule in self.rules]
        rows = [
            ("scenario", f"{self.scenario.title} ({self.scenario.digest})"),
            ("cases", str(conditions.size)),
            ("over", ", ".join(axis.name for axis in conditions.axes)),
            ("computed in each", ", ".join(computed)),
        ]
        return card(f"Study: {self.title}", [pairs(rows)], f"study {self.digest}")

    @property
    def digest(self) -> str:
        """Short fingerprint [-] of the text."""
        return fingerprint(self.text)

    @property
    def question(self) -> Question:
        """What is asked of each case."""
        return _question(self.compute, self.flights, self.distances, self.rules)

    def sweep(self) -> Sweep:
        """The sweep that answers it."""
        provenance = Provenance(self.title, self.scenario.text, self.scenario.digest)
        return Sweep(self.plan, self.asked, self.question, self.text, provenance.attributes())


def _question(
    compute: ComputeDeclaration, flights: tuple[str, ...], distances: tuple[float, ...], rules: tuple[Rule, ...]
) -> Question:
    if not compute.optimum:
        return RulesQuestion(rules, together=True)
    optimum = OptimumQuestion(compute.local_error, compute.slopes, flights, distances, compute.refly_one_in)
    return Together((optimum, RulesQuestion(rules))) if rules else optimum


@dataclass(frozen=True)
class _Sound:
    """A study file as far as it is sound, its faults, and which parts are `wrong` and so not what was given."""

    declared: StudyDeclaration
    faults: tuple[Fault, ...]
    wrong: frozenset[str]


_STAND_INS: Mapping[str, object] = {"title": "", "scenario": "", "conditions": {"axes": []}}
"""What stands for a required key that is wrong, so that the others can be looked at in the same pass."""


def _sound(data: Mapping[str, Any], name: str) -> _Sound:
    """The declaration of a parsed file with everything left out that is wrong.

    Raises
    ------
    InputFault
        Nothing is left.
    """
    declared, faults = validated_in_part(StudyDeclaration, data, name)
    if declared is not None:
        return _Sound(declared, faults, frozenset())
    tops = {fault.key.partition(".")[0].partition("[")[0] for fault in faults}
    is_read = validated_in_part(ConditionsDeclaration, _table(data, "conditions"), name)[0] is not None
    wrong = tops & {"scenario", "conditions"} - ({"conditions"} if is_read else set())
    wrong |= {"scenario"} if "set" in tops else set()
    wrong |= {"rules"} if any(fault.key.startswith("compute.rule") for fault in faults) else set()
    rest = {key: value for key, value in data.items() if key not in tops or key in {"compute", "keep", "conditions"}}
    rest |= {key: stand_in for key, stand_in in _STAND_INS.items() if key in wrong or key not in rest}
    for key in {"compute", "keep"} & tops:
        at_fault = {fault.key.removeprefix(f"{key}.").partition("[")[0] for fault in faults}
        rest[key] = {own: value for own, value in _table(data, key).items() if own not in at_fault}
    declared, _ = validated_in_part(StudyDeclaration, rest, name)
    if declared is None:
        raise InputFault(faults)
    return _Sound(declared, faults, frozenset(wrong))


def _table(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = data.get(key)
    return cast(Mapping[str, Any], found) if isinstance(found, Mapping) else {}


def _conditions(declared: StudyDeclaration, name: str) -> Conditions:
    return Conditions.of(declared.conditions, name)


def _axis_faults(
    conditions: Conditions, compute: ComputeDeclaration, flights: tuple[str, ...], rules: tuple[Rule, ...], name: str
) -> list[Fault]:
    """Axes that can neither move what they name nor stand in the dataset under their name."""
    layout = _question(compute, flights, (), rules).layout(Asked({}, name, None, conditions))
    return key_faults(conditions.axes, name) or name_faults(conditions.axes, layout, name)


def _nothing_to_do(declared: StudyDeclaration, rules: tuple[Rule, ...], keeps_flights: bool, name: str) -> list[Fault]:
    """What a study without an optimum cannot do."""
    if declared.compute.optimum:
        return []
    found: list[Fault] = []
    if declared.compute.rules is None and not rules:
        found.append(Fault(name, "compute.optimum", "got false, and no rules", "true, or rules to fly"))
    if keeps_flights:
        found.append(Fault(name, "keep.flights", "got flights of no optimum", "false, where compute.optimum is false"))
    return found


def _derive_faults(conditions: Conditions, declared: DeriveDeclaration | None, name: str) -> list[Fault]:
    """Conditions from which the sets that rules are derived with cannot be drawn."""
    found: list[Fault] = []
    if declared is not None:
        for use in Use:
            _noted(found, lambda use=use: conditions_of(conditions, declared, use, name))
    return list(dict.fromkeys(found))


def _is_of_study(setting: str) -> bool:
    return setting.partition("=")[0].strip().partition(".")[0] in {"conditions", "compute", "keep", "derive"}


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


def _distances(corners: Sequence[Corner], spacing: float) -> tuple[float, ...]:
    """Distances to go [m] at which flights are kept: the farthest start, then multiples of the spacing, down to 0."""
    farthest = max(corner.scenario.start.distance for corner in corners if corner.scenario is not None)
    count = math.ceil(farthest / spacing - 1e-9)
    return (farthest, *(index * spacing for index in reversed(range(count))))


def _text(
    declared: StudyDeclaration,
    flights: tuple[str, ...],
    scenario: Scenario,
    rules: Sequence[Rule],
    corners: Sequence[Corner],
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
    if declared.derive is not None:
        parts["derive"] = _plain(declared.derive)
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
