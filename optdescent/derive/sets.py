"""Three sets of conditions that share no case: one to search in, one to check with, one that nothing was chosen by.

Each is a sample of the study's conditions with a seed of its own. Members of ensembles and crews are not shared either:
each set has its own, by seeds that follow on, and no fewer of them than it has cases, so that cases are independent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import combinations
from typing import assert_never

from optdescent.derive.declaration import DeriveDeclaration
from optdescent.inputs import Fault, InputFault
from optdescent.scenario import Axis, Conditions, ConditionsDeclaration, Level, Scenario
from optdescent.scenario.conditions import (
    GridSampling,
    LatinSampling,
    RandomSampling,
    SaltelliSampling,
    SobolSampling,
)
from optdescent.scenario.declared_axes import AxisDeclaration, CrewsAxis, EnsembleAxis
from optdescent.sweep.question import Asked

_MOST_SEED = 2**30


class Use(Enum):
    """What a set is for, by its key in the table `derive`."""

    TRAIN = "train"
    CHECK = "check"
    UNSEEN = "unseen"


@dataclass(frozen=True)
class Sets:
    """Scenarios of each set; `levels` (case, axis) of each are in the unit of the file."""

    levels: dict[Use, tuple[tuple[Level, ...], ...]]
    scenarios: dict[Use, tuple[Scenario, ...]]


def sets_of(asked: Asked, declared: DeriveDeclaration, name: str) -> Sets:
    """The three sets of a study's conditions [SI]; `name` is the study's file in messages.

    Raises
    ------
    InputFault
        The conditions are no sample, a count does not suit the sampling, seeds run out, sets share a case, or a case
        makes no valid scenario.
    """
    conditions = {use: conditions_of(asked.conditions, declared, use, name) for use in Use}
    levels = {use: tuple(own.levels(number) for number in range(own.size)) for use, own in conditions.items()}
    shared = _shared({use: _identities(own, levels[use]) for use, own in conditions.items()})
    if shared:
        allowed = "an axis drawn from a range or a normal distribution, so that no case comes twice"
        raise InputFault([Fault(name, "conditions.axes", shared, allowed)])
    scenarios = {
        use: tuple(replace(asked, conditions=conditions[use]).scenario(own) for own in levels[use]) for use in Use
    }
    return Sets(levels, scenarios)


def conditions_of(conditions: Conditions, declared: DeriveDeclaration, use: Use, name: str) -> Conditions:
    """One set's conditions: the axes of the study, drawn as often as asked with another seed [-].

    Raises
    ------
    InputFault
        The conditions are no sample, the count does not suit the sampling, or seeds run out.
    """
    place, count = list(Use).index(use), _count(declared, use)
    sampling = conditions.sampling
    match sampling:
        case GridSampling() | SaltelliSampling():
            allowed = "'random', 'latin-hypercube' or 'sobol': rules are judged on conditions drawn anew"
            raise InputFault([Fault(name, "conditions.sampling.kind", f"got {sampling.kind!r}", allowed)])
        case RandomSampling() | LatinSampling() | SobolSampling():
            drawn = sampling.model_copy(update={"count": count, "seed": (sampling.seed + place) % 2**31})
        case _:
            assert_never(sampling)
    most = max(declared.train, declared.check, declared.unseen)
    axes = tuple(
        _own(axis, place, most, f"conditions.axes[{index}]", name) for index, axis in enumerate(conditions.axes)
    )
    try:
        return Conditions.of(ConditionsDeclaration(sampling=drawn, axes=axes), name)
    except InputFault as fault:
        key = f"derive.{use.value}"
        counted = "conditions.sampling.count"
        raise InputFault(replace(one, key=key if one.key == counted else one.key) for one in fault.faults) from fault


def _count(declared: DeriveDeclaration, use: Use) -> int:
    match use:
        case Use.TRAIN:
            return declared.train
        case Use.CHECK:
            return declared.check
        case Use.UNSEEN:
            return declared.unseen


def _own(axis: Axis, place: int, most: int, key: str, name: str) -> AxisDeclaration:
    """An axis with members of a set's own, if it has members; `most` is the number of cases of the largest set."""
    declared = axis.declared
    if not isinstance(declared, EnsembleAxis | CrewsAxis):
        return declared
    members = max(declared.members, most)
    if declared.seed + len(Use) * members > _MOST_SEED:
        allowed = f"at most {_MOST_SEED - len(Use) * members}: each of the sets has members of its own"
        raise InputFault([Fault(name, f"{key}.seed", f"got {declared.seed}", allowed)])
    return declared.model_copy(update={"members": members, "seed": declared.seed + place * members})


def _identities(conditions: Conditions, levels: Sequence[Sequence[Level]]) -> set[tuple[Level, ...]]:
    """What tells cases apart: their levels [file units], members by their seeds."""
    firsts = [
        axis.declared.seed if isinstance(axis.declared, EnsembleAxis | CrewsAxis) else None for axis in conditions.axes
    ]
    return {
        tuple(level if first is None else first + int(level) for first, level in zip(firsts, case, strict=True))
        for case in levels
    }


def _shared(cases: dict[Use, set[tuple[Level, ...]]]) -> str:
    """Which sets share cases and how many; empty if none do."""
    for (one, own), (other, others) in combinations(cases.items(), 2):
        if own & others:
            return f"{len(own & others)} cases of the set {other.value} are in the set {one.value} too"
    return ""
