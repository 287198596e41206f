"""What may vary in a study: each axis names what it moves and the levels it takes or is drawn from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias, assert_never, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind import Disturbance
from optdescent.inputs import Fault, InputFault, as_given, key_in_words, with_values
from optdescent.scenario.declaration import ScenarioDeclaration
from optdescent.scenario.declared_axes import (
    ADDED_TAILWIND,
    AnyAxis,
    CrewsAxis,
    EnsembleAxis,
    NormalAxis,
    RangeAxis,
    SoundingsAxis,
    ValuesAxis,
)
from optdescent.units import UNITS, Unit

Level: TypeAlias = bool | int | float | str
"""One level of an axis, in the unit of the scenario file."""
_WIND = "air.wind."


@dataclass(frozen=True)
class Axis:
    """One axis of a study.

    Its levels are kept in the unit of the scenario file, in which its own name in the dataset ends unless another was
    given: an input is stored as it was given.
    """

    declared: AnyAxis

    @property
    def name(self) -> str:
        """Name in the dataset."""
        match self.declared:
            case SoundingsAxis() | EnsembleAxis() | CrewsAxis():
                return self.declared.name
            case _:
                return self.declared.key.rpartition(".")[2] if self.declared.name is None else self.declared.name

    @property
    def key(self) -> str:
        """What is moved: a dotted key of the scenario file, or what stands for it."""
        match self.declared:
            case SoundingsAxis():
                return f"{_WIND}sounding"
            case EnsembleAxis():
                return f"{_WIND}seed"
            case CrewsAxis():
                return "technique.seed"
            case _:
                return self.declared.key

    @property
    def words(self) -> str:
        """What is moved, in words without a unit [-]."""
        match self.declared:
            case SoundingsAxis():
                return "sounding"
            case EnsembleAxis():
                return "random wind"
            case CrewsAxis():
                return "crew"
            case _:
                return "added tailwind" if self.key == ADDED_TAILWIND else key_in_words(ScenarioDeclaration, self.key)

    @property
    def written(self) -> tuple[str, ...]:
        """Every dotted key of the scenario file that it writes, each written in one way."""
        match self.declared:
            case SoundingsAxis(temperature=temperature):
                return (self.key, "air.temperature_sounding") if temperature else (self.key,)
            case EnsembleAxis():
                return (self.key, *(f"{_WIND}{own}" for own in _disturbance(self.declared)))
            case _ if self.key == ADDED_TAILWIND:
                return f"{_WIND}bias_kt", f"{_WIND}bias_from_deg"
            case _:
                return (".".join(part for part in self.key.replace("[", ".").replace("]", "").split(".") if part),)

    @property
    def turn(self) -> tuple[int, int]:
        """Order in which axes are applied: first what clears a table, then keys, then what wraps the wind they change.

        Keys of a disturbed wind come last: an axis may be what disturbs it.
        """
        match self.declared:
            case SoundingsAxis():
                return 2, 0
            case EnsembleAxis():
                return 3, 0
            case _ if self.key == ADDED_TAILWIND:
                return 3, 0
            case _ if self.key.rpartition(".")[2] == "kind":
                return 0, self.key.count(".")
            case _:
                return (4 if self.is_of_disturbance else 1), 0

    @property
    def is_of_disturbance(self) -> bool:
        """Whether it moves keys that only a perturbed wind has."""
        return all(key.startswith(_WIND) and key.removeprefix(_WIND) in _DISTURBANCE for key in self.written)

    @property
    def is_replaced_by_soundings(self) -> bool:
        """Whether it moves a key of the wind that is lost where soundings take its place."""
        is_of_wind = f"{self.written[0]}.".startswith(_WIND)
        return is_of_wind and not self.is_of_disturbance and not isinstance(self.declared, SoundingsAxis)

    @property
    def unit(self) -> Unit:
        """Unit of the levels, read off the end of the key."""
        leaf = self.key.rpartition(".")[2]
        ends = [suffix for suffix in UNITS if suffix and leaf.endswith(f"_{suffix}")]
        return UNITS[max(ends, key=len, default="")]

    @property
    def is_ordered(self) -> bool:
        """Whether levels are numbers between which others lie."""
        match self.declared:
            case ValuesAxis():
                return all(not isinstance(value, bool | str) for value in self.declared.values)
            case RangeAxis() | NormalAxis():
                return True
            case SoundingsAxis() | EnsembleAxis() | CrewsAxis():
                return False
            case _:
                assert_never(self.declared)

    @property
    def is_apart(self) -> bool:
        """Whether one level's descents are no start for another's."""
        return not self.is_ordered and not isinstance(self.declared, EnsembleAxis | CrewsAxis)

    @property
    def count(self) -> int | None:
        """How many levels a grid has; None where none was given."""
        match self.declared:
            case ValuesAxis():
                return len(self.declared.values)
            case RangeAxis() | NormalAxis():
                return self.declared.count
            case SoundingsAxis():
                return len(self.declared.soundings)
            case EnsembleAxis() | CrewsAxis():
                return self.declared.members
            case _:
                assert_never(self.declared)

    @property
    def span(self) -> float:
        """How far an ordered axis reaches [file unit]; of one level its size."""
        if isinstance(self.declared, RangeAxis):
            return abs(self.declared.to - self.declared.from_)
        if isinstance(self.declared, NormalAxis):
            return 4.0 * self.declared.standard_deviation
        levels = [float(level) for level in self.levels]
        return (max(levels) - min(levels)) or abs(levels[0]) or 1.0

    @property
    def standard_deviation(self) -> float:
        """Of the levels of an ordered axis [file unit], as they are drawn."""
        if isinstance(self.declared, NormalAxis):
            return self.declared.standard_deviation
        if isinstance(self.declared, RangeAxis):
            return self.span / math.sqrt(12.0)
        return float(np.std([float(level) for level in self.levels]))

    @cached_property
    def levels(self) -> tuple[Level, ...]:
        """Levels of a grid [file unit] in the order given; () where their count is missing."""
        count = self.count or 0
        match self.declared:
            case ValuesAxis():
                return tuple(value for value in self.declared.values if isinstance(value, bool | int | float | str))
            case RangeAxis():
                return tuple(np.linspace(self.declared.from_, self.declared.to, count).tolist())
            case NormalAxis():
                return tuple(self.drawn((index + 0.5) / count) for index in range(count))
            case SoundingsAxis():
                return self.declared.soundings
            case EnsembleAxis() | CrewsAxis():
                return tuple(range(count))
            case _:
                assert_never(self.declared)

    @cached_property
    def _ranked(self) -> tuple[Level, ...]:
        """Levels as draws fill them, numbers rising."""
        return tuple(sorted(self.levels, key=float)) if self.is_ordered else self.levels

    @cached_property
    def places(self) -> tuple[float, ...]:
        """Where each level of a grid lies, 0 to 1 [-]: numbers listed one by one in rising order, others as listed."""
        last = max(len(self.levels) - 1, 1)
        if isinstance(self.declared, ValuesAxis) and self.is_ordered:
            ranks = {level: rank for rank, level in enumerate(self._ranked)}
            return tuple(ranks[level] / last for level in self.levels)
        return tuple(index / last for index in range(len(self.levels)))

    @property
    def middle(self) -> Level:
        """The middle level [file unit] of a grid."""
        levels = self._ranked
        return levels[len(levels) // 2]

    def drawn(self, share: float) -> Level:
        """The level [file unit] at a share [-] of the distribution, from the first end of a range, else the lowest."""
        match self.declared:
            case NormalAxis():
                return self.declared.cut.quantile(share)
            case RangeAxis():
                return self.declared.from_ + share * (self.declared.to - self.declared.from_)
            case EnsembleAxis() | CrewsAxis():
                return min(int(share * self.declared.members), self.declared.members - 1)
            case ValuesAxis() | SoundingsAxis():
                levels = self._ranked
                return levels[min(int(share * len(levels)), len(levels) - 1)]
            case _:
                assert_never(self.declared)

    def reached(self, shares: NDArray[np.float64]) -> tuple[Level, ...]:
        """Levels [file unit] at the ends of some shares [-]; each that they reach, where levels have no order."""
        if self.is_ordered or isinstance(self.declared, EnsembleAxis | CrewsAxis):
            return tuple(dict.fromkeys(self.drawn(float(end)) for end in (np.min(shares), np.max(shares))))
        levels = self._ranked
        places = np.minimum((shares * len(levels)).astype(np.int64), len(levels) - 1)
        return tuple(levels[int(place)] for place in np.flatnonzero(np.bincount(places)))

    def applied(self, data: Mapping[str, Any], level: Level, name: str) -> dict[str, Any]:
        """Parsed scenario with a level [file unit] in its place; `name` stands in messages.

        Raises
        ------
        InputFault
            The key does not lead to a table, or the wind cannot be disturbed so.
        """
        match self.declared:
            case SoundingsAxis():
                return _with_sounding(data, str(level), name, self.declared)
            case EnsembleAxis():
                return _disturbed(data, {**_disturbance(self.declared), "seed": self.declared.seed + int(level)}, name)
            case CrewsAxis():
                return with_values(data, [(self.key, self.declared.seed + int(level))], name)
            case ValuesAxis() | RangeAxis() | NormalAxis() if self.key == ADDED_TAILWIND:
                return _disturbed(data, _along_the_final_course(data, level, name), name)
            case _:
                if self.is_of_disturbance and (kind := _wind(data, name).get("kind")) != "perturbed":
                    allowed = "'perturbed', or an axis that disturbs it"
                    raise InputFault([Fault(name, self.key, f"got a wind of kind {kind!r}", allowed)])
                return with_values(data, [(self.key, level)], name)


_DISTURBANCE = frozenset(field.alias or name for name, field in Disturbance.model_fields.items())
"""Keys of a wind that is disturbed."""


def _table(data: Mapping[str, Any], key: str, name: str) -> dict[str, Any]:
    """The table at a dotted key of a parsed file; empty where it is not there."""
    table = data
    for part in key.split("."):
        found = table.get(part, {})
        if not isinstance(found, Mapping):
            raise InputFault([Fault(name, key, f"got {found!r}", "a table")])
        table = cast(Mapping[str, Any], found)
    return dict(table)


def _wind(data: Mapping[str, Any], name: str) -> dict[str, Any]:
    return _table(data, "air.wind", name) if "wind" in _table(data, "air", name) else {"kind": "none"}


def _with_wind(data: Mapping[str, Any], wind: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    return {**data, "air": {**data.get("air", {}), "wind": dict(wind), **more}}


def _with_sounding(data: Mapping[str, Any], sounding: str, name: str, declared: SoundingsAxis) -> dict[str, Any]:
    wind, profile = _wind(data, name), {"kind": "profile", "sounding": sounding}
    new = {**wind, "of": profile} if wind.get("kind") == "perturbed" else profile
    return _with_wind(data, new, temperature_sounding=sounding) if declared.temperature else _with_wind(data, new)


def _disturbance(declared: EnsembleAxis) -> dict[str, Any]:
    """Keys and values of an ensemble's disturbance; None where it has no value [file units]."""
    own = ("kind", "name", "members", "seed")
    return {key: value for key, value in as_given(declared).items() if key not in own}


def _disturbed(data: Mapping[str, Any], change: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The wind disturbed, or disturbed further where it is disturbed already."""
    wind = _wind(data, name)
    if wind.get("kind") != "perturbed":
        # keys left over from a kind that was edited away would be unknown one table down
        wind = {"kind": "perturbed", "of": {key: wind[key] for key in wind if key not in {*_DISTURBANCE, "of"}}}
    twice = [key for key in ("bias_kt", "random_kt") if key in change and wind.get(key)]
    if twice:
        given = f"got {wind[twice[0]]}"
        raise InputFault([Fault(name, f"{_WIND}{twice[0]}", given, "0, where an axis moves it")])
    return _with_wind(data, {**wind, **change})


def _along_the_final_course(data: Mapping[str, Any], level: Level, name: str) -> dict[str, Any]:
    """An added wind [kt] towards the final course, or from it where it is negative."""
    course = _table(data, "arrival", name).get("course_deg", 0.0)  # where it is missing the scenario says so
    for key, number in ((ADDED_TAILWIND, level), ("arrival.course_deg", course)):
        if isinstance(number, bool) or not isinstance(number, int | float):
            raise InputFault([Fault(name, key, f"got {number!r}", "a number")])
    speed = float(level)
    return {"bias_kt": abs(speed), "bias_from_deg": (course + 180.0 if speed >= 0.0 else course) % 360.0}
