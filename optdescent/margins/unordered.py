"""Axes without an order, each of whose levels is tried alone: kinds of anti-ice, soundings, members, crews.

No ray leads from one such level to another, so each is flown by itself, with every ordered driver at its middle and
every other axis as the scenario has it. Of more than `MOST_LEVELS` only so many are tried, spread evenly; what is told
says how many.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, assert_never, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.scenario import Axis, Level, Scenario
from optdescent.scenario.declared_axes import (
    CrewsAxis,
    EnsembleAxis,
    NormalAxis,
    RangeAxis,
    SoundingsAxis,
    ValuesAxis,
)

Array = NDArray[np.float64]
MOST_LEVELS = 64
"""Most levels of an axis that are tried."""
_MOST_NAMED = 3
"""Most levels that a sentence names; of more it gives the number."""


@dataclass(frozen=True)
class LevelsAlone:
    """What the levels of an axis without an order do to a rule, each alone.

    `breaks` (level,) is 1 where the rule does not reach the gate stable, 0 where it does, and not a number where the
    level makes no scenario or the rule cannot start in it [-].
    """

    axis: Axis
    levels: tuple[Level, ...]
    breaks: Array

    @property
    def tried(self) -> int:
        """How many were flown [-]."""
        return int(np.count_nonzero(np.isfinite(self.breaks)))

    @property
    def breaking(self) -> tuple[Level, ...]:
        """Levels [file unit] that break the rule."""
        return tuple(level for level, own in zip(self.levels, self.breaks, strict=True) if own == 1.0)

    @property
    def holding(self) -> tuple[Level, ...]:
        """Levels [file unit] in which the rule holds."""
        return tuple(level for level, own in zip(self.levels, self.breaks, strict=True) if own == 0.0)


def levels_to_try(axis: Axis) -> tuple[Level, ...]:
    """Levels of an axis [file unit], at most `MOST_LEVELS`, spread evenly over them."""
    levels = axis.levels
    if len(levels) <= MOST_LEVELS:
        return levels
    return tuple(levels[index * len(levels) // MOST_LEVELS] for index in range(MOST_LEVELS))


def told_alone(found: Sequence[LevelsAlone], *, holds_in_the_middle: bool) -> str:
    """What levels alone do, in words: which break a rule that holds without them, or mend one that does not [-].

    Empty where none was flown, or where none mends a rule.
    """
    flown = [one for one in found if one.tried]
    breaks = [phrase(one, one.breaking) for one in flown if one.breaking]
    holds = [phrase(one, one.holding) for one in flown if one.holding]
    if not holds_in_the_middle:
        return f"holds {_listed(holds)}" if holds else ""
    unbroken = [phrase(one, one.holding) for one in flown if not one.breaking]
    parts = [f"breaks {_listed(breaks)}"] if breaks else []
    parts += [f"holds {_listed(unbroken)}"] if unbroken else []
    return ", ".join(parts)


def standing(axis: Axis, scenario: Scenario) -> str:
    """At which level of an axis without an order a scenario stands, in words [-]."""
    match axis.declared:
        case EnsembleAxis():
            return "no random wind"
        case CrewsAxis():
            return f"the crew of seed {scenario.technique.seed}"
        case SoundingsAxis():
            return "the scenario's own wind"
        case ValuesAxis() | RangeAxis() | NormalAxis():
            level = _value_at(scenario, axis.key)
            return f"{_name(axis)} as the scenario has it" if level is None else f"{_name(axis)} {_word(level)}"
        case _:
            assert_never(axis.declared)


def phrase(one: LevelsAlone, some: Sequence[Level]) -> str:
    """Some of the levels tried, as they stand after `breaks` or `holds` [-]."""
    match one.axis.declared:
        case EnsembleAxis():
            return f"with {_share(one, some)} random winds{_of(one)}"
        case CrewsAxis():
            return f"with {_share(one, some)} crews{_of(one)}"
        case SoundingsAxis():
            named = f" ({', '.join(str(level) for level in some)})" if len(some) <= _MOST_NAMED else ""
            return f"in {_share(one, some)} soundings{_of(one)}{named}"
        case ValuesAxis() | RangeAxis() | NormalAxis():
            name = _name(one.axis)
            if len(some) <= _MOST_NAMED:
                return f"with {name} {_listed([_word(level) for level in some])}"
            return f"with {_share(one, some)} levels of {name}{_of(one)}"
        case _:
            assert_never(one.axis.declared)


def _share(one: LevelsAlone, some: Sequence[Level]) -> str:
    return f"all {one.tried}" if len(some) == one.tried else f"{len(some)} of {one.tried}"


def _of(one: LevelsAlone) -> str:
    """How many there are, where not all were tried."""
    count = one.axis.count or one.tried
    return "" if count == one.tried else f" tried of {count}"


def _name(axis: Axis) -> str:
    """Name of an axis of words or flags; a `kind` is that of the table it stands in."""
    parts = axis.key.split(".")
    own = parts[-2] if parts[-1] == "kind" and len(parts) > 1 else axis.name
    return "anti-ice" if own == "anti_ice" else own.replace("_", " ")


def _word(level: object) -> str:
    match level:
        case bool():
            return "yes" if level else "no"
        case _:
            return str(level)


def _value_at(scenario: Scenario, key: str) -> object:
    """The word or flag at a dotted key of a scenario; None where there is none."""
    found: Any = scenario.told.declared.model_dump(mode="json")
    for part in re.findall(r"\w+", key):
        if isinstance(found, dict):
            found = cast(dict[str, Any], found).get(part)
        elif isinstance(found, list) and part.isdigit() and int(part) < len(cast(list[Any], found)):
            found = cast(list[Any], found)[int(part)]
        else:
            return None
    return found if isinstance(found, str | bool) else None


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
