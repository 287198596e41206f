"""Each rule flown in every condition of a set: how often it holds, by how much, what it costs, what breaks it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault, read_toml, validated, with_settings
from optdescent.margins.attribution import ordering
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.flown import Flown, flown
from optdescent.margins.table import described, shares_by_driver, table_by_rule, table_of_cases, what_breaks
from optdescent.optimum.progress import Progress, silent
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import Provenance
from optdescent.results.over_conditions import OverConditions
from optdescent.results.sweep import Status
from optdescent.rules import Rule
from optdescent.rules.fleet import Fleet
from optdescent.rules.startable import whys_not_started
from optdescent.scenario import Conditions, ConditionsDeclaration, Scenario
from optdescent.scenario.declared_axes import CrewsAxis
from optdescent.sweep.block import case_of
from optdescent.sweep.corners import tried
from optdescent.sweep.question import Asked

Array = NDArray[np.float64]


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


def margins_over(
    asked: Asked, rules: Sequence[Rule], optima: int, conditions_name: str, progress: Progress | None = None
) -> OverConditions:
    """Rules flown in every condition, and optima in some of them, evenly spread [SI].

    A rule that cannot be flown in some conditions, or in none, says so in its row; it does not stop the others.

    Parameters
    ----------
    optima : int
        In how many conditions the optimum is computed to compare fuel and time with [-]: it takes seconds, a flown
        rule a millisecond.

    Raises
    ------
    InputFault
        A condition makes no valid scenario, or no rule can be flown in any.
    """
    say = progress or silent
    conditions = asked.conditions
    say("conditions")
    levels = [conditions.levels(number) for number in range(conditions.size)]
    scenarios = [asked.scenario(own) for own in levels]
    reasons = list(zip(*(whys_not_started(scenario, rules) for scenario in scenarios), strict=True))
    _check_flown(reasons, conditions_name)
    say("optima of some conditions")
    best = _optima(asked, optima)
    breaking = Breaking(asked)
    each: list[Flown] = []
    breaks: list[Break] = []
    for rule, own in zip(rules, reasons, strict=True):
        say(f"flying {rule.name}")
        fleet = Fleet(rule)
        each.append(flown(fleet, scenarios, own))
        breaks.append(breaking.of(fleet) if each[-1].judged else breaking.unknown(each[-1].told))
    _check_flown([one.reasons for one in each], conditions_name)
    base = Scenario.from_data(dict(asked.data), asked.name, asked.folder)
    table = table_by_rule(base.arrival.glide_path.gradient, rules, each, best).assign(
        {
            **what_breaks(breaks, breaking),
            **shares_by_driver(each, conditions.axes, levels, ordering(conditions.axes, scenarios)),
        }
    )
    table.attrs |= {"conditions": conditions_name, "conditions_with_optimum": len(best)}
    provenance = Provenance(base.title, base.text, base.digest)
    return OverConditions(described(table), table_of_cases(conditions, levels, rules, each), provenance)


def _check_flown(reasons: Sequence[Sequence[str]], name: str) -> None:
    """Check that some rule is flown somewhere.

    Raises
    ------
    InputFault
        None is: `name` is the file of conditions.
    """
    if all(reason for own in reasons for reason in own):
        given = f"no rule can be flown in any condition: {reasons[0][0] if reasons else 'there is none'}"
        raise InputFault([Fault(name, "", given, "a condition in which a rule can be flown")])


def _optima(asked: Asked, wanted: int) -> Mapping[int, tuple[float, float]]:
    """Fuel [kg] and time [s] of the optimum in some conditions, by their numbers; each from the nearest before it."""
    size = asked.conditions.size
    numbers = sorted({round(place) for place in np.linspace(0, size - 1, min(wanted, size)).tolist()})
    session = OptimumQuestion(with_slopes=False).hold(()).session()
    found: dict[int, tuple[float, float]] = {}
    starts: list[tuple[Array, object]] = []
    for number in numbers:
        case = case_of(asked, number)
        near = sorted(starts, key=lambda start: float(np.linalg.norm(start[0] - case.place)))
        answer = session.answer(case, tuple(start for _, start in near))
        if answer.status is Status.SOLVED:
            fuel, time = answer.values["fuel"], answer.values["time"]
            assert isinstance(fuel, float)
            assert isinstance(time, float)
            found[number] = fuel, time
            starts.append((case.place, answer.start))
    return found
