"""What a study file may hold, and as much of one as is sound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from optdescent.corridor import CorridorDeclaration
from optdescent.derive import DeriveDeclaration
from optdescent.inputs import Declared, Fault, InputFault, entry, quantity, validated_in_part, whole
from optdescent.results.schema import COLUMNS
from optdescent.scenario import ConditionsDeclaration

_NOT_KEPT = ("distance_to_go", "configuration", "rule_height", "rule_speed")
"""The grid itself, a number that has no value between two points (`flaps` has), what only a flown rule has."""
KEPT = tuple(name for name in COLUMNS if name not in _NOT_KEPT)
"""Columns of a flight that can be kept at common distances."""


class ComputeDeclaration(Declared):
    """What is computed in each case."""

    local_error: float = quantity("", 1e-8, 1e-2, "largest scaled error of an element of a mesh", default=1e-4)
    optimum: bool = entry("the optimum; without it and without flights kept, rules fly many at once", default=True)
    slopes: bool = entry("derivatives of the cost to each axis, from the multipliers", default=True)
    rules: str | None = entry("rules to fly: a built-in name, or a file relative to the study", default=None)
    rule_names: tuple[str, ...] | None = entry("which of them; without it all", default=None)
    refly_one_in: int = whole(0, 10_000_000, "one case in so many is flown again; 0: none", default=100)
    corridor: CorridorDeclaration | None = entry("points of the corridor; without it none", default=None)


class KeepDeclaration(Declared):
    """What is kept of each case beside its summary."""

    flights: object = entry("of optimum and rules: true for whole flights, or names of columns", default=False)
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
class Sound:
    """A study file as far as it is sound, its faults, and which parts are `wrong` and so not what was given."""

    declared: StudyDeclaration
    faults: tuple[Fault, ...]
    wrong: frozenset[str]


_STAND_INS: Mapping[str, object] = {"title": "", "scenario": "", "conditions": {"axes": []}}
"""What stands for a required key that is wrong, so that the others can be looked at in the same pass."""


def sound_of(data: Mapping[str, Any], name: str) -> Sound:
    """The declaration of a parsed file with everything left out that is wrong.

    Raises
    ------
    InputFault
        Nothing is left.
    """
    declared, faults = validated_in_part(StudyDeclaration, data, name)
    if declared is not None:
        return Sound(declared, faults, frozenset())
    tops = {fault.key.partition(".")[0].partition("[")[0] for fault in faults}
    is_read = validated_in_part(ConditionsDeclaration, _table(data, "conditions"), name)[0] is not None
    wrong = tops & {"scenario", "conditions"} - ({"conditions"} if is_read else set())
    wrong |= {"scenario"} if "set" in tops else set()
    is_computing = any(fault.key.startswith(("compute.rule", "compute.corridor")) for fault in faults)
    wrong |= {"rules"} if is_computing else set()
    rest = {key: value for key, value in data.items() if key not in tops or key in {"compute", "keep", "conditions"}}
    rest |= {key: stand_in for key, stand_in in _STAND_INS.items() if key in wrong or key not in rest}
    for key in {"compute", "keep"} & tops:
        at_fault = {fault.key.removeprefix(f"{key}.").partition("[")[0].partition(".")[0] for fault in faults}
        rest[key] = {own: value for own, value in _table(data, key).items() if own not in at_fault}
    declared, _ = validated_in_part(StudyDeclaration, rest, name)
    if declared is None:
        raise InputFault(faults)
    return Sound(declared, faults, frozenset(wrong))


def _table(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = data.get(key)
    return cast(Mapping[str, Any], found) if isinstance(found, Mapping) else {}
