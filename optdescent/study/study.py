"""The study of a file: everything it names read, checked at the ends of its axes, and made into a sweep."""

from __future__ import annotations

import difflib
import json
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, cast

from optdescent.corridor import CorridorQuestion, grid_faults
from optdescent.derive import DeriveDeclaration
from optdescent.derive.sets import Use, conditions_of
from optdescent.inputs import (
    Declared,
    Fault,
    InputFault,
    as_given,
    read_toml,
    with_settings,
)
from optdescent.markup import card, pairs
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import Provenance
from optdescent.results.provenance import fingerprint
from optdescent.rules import LIBRARY, Rule, RulesQuestion, read_rules
from optdescent.rules.fleet import AT_A_TIME
from optdescent.scenario import Axis, Conditions, Scenario
from optdescent.study.declaration import KEPT, ComputeDeclaration, StudyDeclaration, sound_of
from optdescent.sweep import Sweep
from optdescent.sweep.corners import Corner, key_faults, tried
from optdescent.sweep.dataset import name_faults
from optdescent.sweep.plan import Plan, plan_of
from optdescent.sweep.question import Asked, Question, Together

Made = TypeVar("Made")


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
        sound = sound_of(with_settings(read_toml(path), own), name)
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
        is_quick = declared.compute.corridor is None and _are_together(declared.compute, flights)
        plan = plan_of(conditions, AT_A_TIME if is_quick else None)
        asked = Asked(data, str(file), file.parent, plan.conditions)
        corners, found = tried(asked, name)
        faults += found + _corridor_faults(declared.compute, corners, name)
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
        computed += ["the corridor"] * (self.compute.corridor is not None)
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

    def sweep(self, command: str = "") -> Sweep:
        """The sweep that answers it [-]; `command` is the line typed, if it is one."""
        provenance = Provenance(self.title, self.scenario.text, self.scenario.digest, command=command)
        return Sweep(self.plan, self.asked, self.question, self.text, provenance.attributes())


def _question(
    compute: ComputeDeclaration, flights: tuple[str, ...], distances: tuple[float, ...], rules: tuple[Rule, ...]
) -> Question:
    asked: list[Question] = []
    if compute.optimum:
        asked.append(OptimumQuestion(compute.local_error, compute.slopes, flights, distances, compute.refly_one_in))
    if rules:
        asked.append(RulesQuestion(rules, _are_together(compute, flights), flights, distances))
    if compute.corridor is not None:
        asked.append(CorridorQuestion(compute.corridor.grid))
    return asked[0] if len(asked) == 1 else Together(tuple(asked))


def _are_together(compute: ComputeDeclaration, flights: tuple[str, ...]) -> bool:
    """Whether the rules of many cases are flown at once: where nothing else is asked of a case, nor its flight kept."""
    return not compute.optimum and not flights


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
    if declared.compute.rules is None and not rules and declared.compute.corridor is None:
        allowed = "true, or rules to fly, or a corridor"
        found.append(Fault(name, "compute.optimum", "got false, and nothing else", allowed))
    elif keeps_flights and not rules:
        found.append(Fault(name, "keep.flights", "got flights, and none is flown", "false, or rules to fly"))
    return found


def _corridor_faults(compute: ComputeDeclaration, corners: Sequence[Corner], name: str) -> list[Fault]:
    """Points of a corridor that a scenario at the ends of the axes cannot have."""
    if compute.corridor is None:
        return []
    return grid_faults(compute.corridor.grid, (own.scenario for own in corners if own.scenario is not None), name)


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
    if declared.compute.corridor is None:
        del compute["corridor"]  # so that a study is the same as before there was this question
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
