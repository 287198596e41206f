"""Conditions as rules meet them: a scenario of each, or why there is none, and where a rule cannot be flown.

What a file of conditions can get wrong is told before anything is flown. Levels that are each sound may still make no
scenario together: that condition is left out of every rule's, counted, and told with its reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from optdescent.inputs import Fault, InputFault, read_toml, validated, with_settings
from optdescent.rules import Rule
from optdescent.rules.startable import whys_not_started
from optdescent.scenario import Conditions, ConditionsDeclaration, Level, Scenario
from optdescent.scenario.conditions import LatinSampling, RandomSampling, SobolSampling
from optdescent.scenario.declared_axes import CrewsAxis
from optdescent.sweep.corners import tried
from optdescent.sweep.question import Asked


@dataclass(frozen=True)
class Met:
    """Rules and the conditions that they are to be flown in; `name` is that of the file of conditions.

    Of a condition whose levels [file units] make no scenario there is none. `reasons` (rule, condition) say why a rule
    cannot be flown, and are empty where it can.
    """

    asked: Asked
    name: str
    rules: tuple[Rule, ...]
    levels: tuple[tuple[Level, ...], ...]
    scenarios: tuple[Scenario | None, ...]
    reasons: tuple[tuple[str, ...], ...]

    @property
    def is_drawn(self) -> bool:
        """Whether shares and means of the cases have an interval [-].

        Those of a grid are chosen, not drawn, and those of Saltelli's scheme repeat one another. A Latin hypercube
        and a Sobol' sample are spread more evenly than independent draws: their intervals are as a rule too wide.
        """
        return isinstance(self.asked.conditions.sampling, RandomSampling | LatinSampling | SobolSampling)


def met(asked: Asked, rules: Sequence[Rule], name: str) -> Met:
    """What rules meet in each of some conditions [file units]; `name` is the file of conditions.

    Raises
    ------
    InputFault
        No rule can be flown in any condition.
    """
    conditions = asked.conditions
    levels = tuple(conditions.levels(number) for number in range(conditions.size))
    scenarios: list[Scenario | None] = []
    reasons: list[list[str]] = []
    for number, own in enumerate(levels):
        try:
            scenarios.append(asked.scenario(own))
            reasons.append([""] * len(rules))
        except InputFault as fault:
            scenarios.append(None)
            reasons.append([f"case {number} makes no scenario: {_in_a_line(fault)}"] * len(rules))
    sound = {number: scenario for number, scenario in enumerate(scenarios) if scenario is not None}
    for number, told in zip(sound, whys_not_started(list(sound.values()), rules), strict=True):
        reasons[number] = told
    by_rule = tuple(zip(*reasons, strict=True))
    check_flown(by_rule, name)
    return Met(asked, name, tuple(rules), levels, tuple(scenarios), by_rule)


def check_flown(reasons: Sequence[Sequence[str]], name: str) -> None:
    """Check that of the reasons (rule, condition) against flying some rule in some condition one is empty [-].

    Raises
    ------
    InputFault
        None is: `name` is the file of conditions.
    """
    if all(reason for own in reasons for reason in own):
        given = f"no rule can be flown in any condition: {reasons[0][0] if reasons else 'there is none'}"
        raise InputFault([Fault(name, "", given, "a condition in which a rule can be flown")])


def _in_a_line(fault: InputFault) -> str:
    """Faults of a scenario without its file: that is sound, what was put into it is not."""
    return "; ".join(str(replace(one, file=one.key or one.file, key="")) for one in fault.faults)


def read_conditions(path: Path) -> Conditions:
    """Conditions of a file: the tables `sampling` and `axes` of a study's `conditions` [file units].

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    name = str(path)
    return Conditions.of(validated(ConditionsDeclaration, read_toml(path), name), name, key="")


def asked_of(scenario: Path, settings: Sequence[str], conditions: Path) -> Asked:
    """A scenario file with `KEY=VALUE` settings, and the conditions that it is to be met in [file units].

    Raises
    ------
    InputFault
        Every fault of the files, and of the scenarios at the ends of the axes.
    """
    data = with_settings(read_toml(scenario), settings)
    found = Asked(data, str(scenario), scenario.parent, read_conditions(conditions))
    _, faults = tried(found, str(conditions))
    if faults:
        raise InputFault(replace(fault, key=fault.key.removeprefix("conditions.")) for fault in faults)
    _check_crews(found, str(conditions))
    return found


def _check_crews(asked: Asked, name: str) -> None:
    """That crews differ, where there are several: copies of one flight would be counted as many.

    Raises
    ------
    InputFault
        Nothing of the technique is left to a crew's seed.
    """
    axes = asked.conditions.axes
    crews = [index for index, axis in enumerate(axes) if isinstance(axis.declared, CrewsAxis)]
    if not crews or any(
        axis.key.startswith("technique.") and not isinstance(axis.declared, CrewsAxis) for axis in axes
    ):
        return
    technique = Scenario.from_data(dict(asked.data), asked.name, asked.folder).technique
    if technique.late_spread == technique.wind_error == technique.height_error == 0.0:
        allowed = "a technique with late_spread_s, wind_error_kt or height_error_ft, or no crews"
        raise InputFault([Fault(name, f"axes[{crews[0]}]", "has no effect: all crews fly alike", allowed)])
