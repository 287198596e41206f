"""What may vary in a study: each axis names what it moves and the levels it takes or is drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any, Literal, TypeAlias, assert_never

import numpy as np
from scipy.stats import truncnorm

from optdescent.inputs import BY_KIND, Declared, Fault, InputFault, as_given, entry, quantity, whole, with_values
from optdescent.units import UNITS, Unit

Level: TypeAlias = bool | int | float | str
"""One level of an axis, in the unit of the scenario file."""
ADDED_TAILWIND = "added_tailwind_kt"
"""Key of a wind added at every height along the final course; negative against it."""
_BOUND = 1e9


class _Keyed(Declared):
    key: str = entry(f"dotted key of the scenario file with its unit, such as start.mass_kg; or {ADDED_TAILWIND}")
    name: str | None = entry("name of the axis in the dataset; without it the last part of the key", default=None)


class ValuesAxis(_Keyed):
    """Levels one by one; equally likely where they are drawn."""

    kind: Literal["values"] = entry("levels one by one")
    values: tuple[bool | int | float | str, ...] = entry("the levels, in the unit of the key")


class RangeAxis(_Keyed):
    """Equal steps of a grid; uniform where it is drawn."""

    kind: Literal["range"] = entry("from one level to another")
    from_: float = quantity("", -_BOUND, _BOUND, "first level, in the unit of the key")
    to: float = quantity("", -_BOUND, _BOUND, "last level, in the unit of the key")
    count: int | None = whole(2, 100000, "levels of a grid", default=None)


class NormalAxis(_Keyed):
    """A normal distribution, cut at the lowest and highest level; in a grid levels of equal probability."""

    kind: Literal["normal"] = entry("normally distributed")
    mean: float = quantity("", -_BOUND, _BOUND, "mean, in the unit of the key")
    standard_deviation: float = quantity("", 1e-9, _BOUND, "standard deviation, in the unit of the key")
    lowest: float = quantity("", -_BOUND, _BOUND, "cut off below this level", default=-_BOUND)
    highest: float = quantity("", -_BOUND, _BOUND, "cut off above this level", default=_BOUND)
    count: int | None = whole(2, 100000, "levels of a grid", default=None)


class SoundingsAxis(Declared):
    """Measured winds by height, one after the other; equally likely where they are drawn."""

    kind: Literal["soundings"] = entry("winds by height from measured soundings")
    name: str = entry("name of the axis in the dataset", default="sounding")
    soundings: tuple[str, ...] = entry("names of built-in soundings, or paths of CSV files relative to the scenario")
    temperature: bool = entry("whether the soundings' temperatures are met too", default=False)


class EnsembleAxis(Declared):
    """The scenario's wind disturbed at random, member by member."""

    kind: Literal["ensemble"] = entry("the wind disturbed at random, each member its own way")
    name: str = entry("name of the axis in the dataset", default="member")
    members: int = whole(1, 100000, "how many members")
    random: float = quantity("kt", 0, 50, "standard deviation of the random wind, each component")
    correlation_height: float = quantity("ft", 4000, 50000, "its correlation length in height", default=6000.0)
    correlation_distance: float | None = quantity(
        "nm", 40, 2000, "its correlation length along the track; without it, the same at every distance", default=None
    )
    seed: int = whole(0, 2**30, "seed of the first member", default=0)


AxisDeclaration = Annotated[ValuesAxis | RangeAxis | NormalAxis | SoundingsAxis | EnsembleAxis, BY_KIND]
"""What an entry of `conditions.axes` may hold; its `kind` decides."""


@dataclass(frozen=True)
class Axis:
    """One axis of a study.

    Its dataset name ends in the unit of the scenario file, in which levels are kept: an input is stored as it was given.
    """

    declared: ValuesAxis | RangeAxis | NormalAxis | SoundingsAxis | EnsembleAxis

    @property
    def name(self) -> str:
        """Name in the dataset."""
        match self.declared:
            case SoundingsAxis() | EnsembleAxis():
                return self.declared.name
            case _:
                return self.declared.name or self.declared.key.rpartition(".")[2]

    @property
    def key(self) -> str:
        """What is moved: a dotted key of the scenario file, or what stands for it."""
        match self.declared:
            case SoundingsAxis():
                return "air.wind.sounding"
            case EnsembleAxis():
                return "air.wind.seed"
            case _:
                return self.declared.key

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
            case SoundingsAxis() | EnsembleAxis():
                return False
            case _:
                assert_never(self.declared)

    @property
    def is_apart(self) -> bool:
        """Whether one level's descents are no start for another's."""
        return not self.is_ordered and not isinstance(self.declared, EnsembleAxis)

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
            case EnsembleAxis():
                return self.declared.members
            case _:
                assert_never(self.declared)

    @cached_property
    def levels(self) -> tuple[Level, ...]:
        """Levels of a grid, in the unit of the file; () where their count is missing."""
        count = self.count or 0
        match self.declared:
            case RangeAxis():
                return tuple(np.linspace(self.declared.from_, self.declared.to, count).tolist())
            case _:
                return tuple(self.drawn((index + 0.5) / count) for index in range(count))

    def drawn(self, share: float) -> Level:
        """The level [file unit] that leaves this share [-] of the distribution below it."""
        match self.declared:
            case ValuesAxis():
                values = self.declared.values
                return values[min(int(share * len(values)), len(values) - 1)]
            case RangeAxis():
                return self.declared.from_ + share * (self.declared.to - self.declared.from_)
            case NormalAxis():
                own = self.declared
                low, high = ((end - own.mean) / own.standard_deviation for end in (own.lowest, own.highest))
                return float(truncnorm.ppf(share, low, high, own.mean, own.standard_deviation))
            case SoundingsAxis():
                soundings = self.declared.soundings
                return soundings[min(int(share * len(soundings)), len(soundings) - 1)]
            case EnsembleAxis():
                return min(int(share * self.declared.members), self.declared.members - 1)
            case _:
                assert_never(self.declared)

    def applied(self, data: Mapping[str, Any], level: Level, name: str) -> dict[str, Any]:
        """Parsed scenario with a level [file unit] in its place; `name` stands in messages.

        Raises
        ------
        InputFault
            The key does not lead to a table.
        """
        match self.declared:
            case SoundingsAxis():
                return _with_sounding(data, str(level), self.declared.temperature)
            case EnsembleAxis():
                return _disturbed(data, {**_disturbance(self.declared), "seed": self.declared.seed + int(level)}, name)
            case ValuesAxis() | RangeAxis() | NormalAxis() if self.declared.key == ADDED_TAILWIND:
                return _disturbed(data, _along_the_final_course(data, float(level)), name)
            case _:
                return with_values(data, [(self.declared.key, level)], name)


def _wind(data: Mapping[str, Any]) -> dict[str, Any]:
    return dict(data.get("air", {}).get("wind", {"kind": "none"}))


def _with_wind(data: Mapping[str, Any], wind: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    return {**data, "air": {**data.get("air", {}), "wind": dict(wind), **more}}


def _with_sounding(data: Mapping[str, Any], sounding: str, is_warm: bool) -> dict[str, Any]:
    wind, profile = _wind(data), {"kind": "profile", "sounding": sounding}
    new = {**wind, "of": profile} if wind.get("kind") == "perturbed" else profile
    return _with_wind(data, new, temperature_sounding=sounding) if is_warm else _with_wind(data, new)


def _disturbance(declared: EnsembleAxis) -> dict[str, Any]:
    own = ("kind", "name", "members", "seed")
    return {key: value for key, value in as_given(declared).items() if key not in own and value is not None}


def _disturbed(data: Mapping[str, Any], change: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The wind disturbed, or disturbed further where it is disturbed already."""
    wind = _wind(data)
    if wind.get("kind") != "perturbed":
        wind = {"kind": "perturbed", "of": wind}
    twice = [key for key in ("bias_kt", "random_kt") if key in change and wind.get(key)]
    if twice:
        raise InputFault([Fault(name, f"air.wind.{twice[0]}", f"got {wind[twice[0]]}", "0, where an axis moves it")])
    return _with_wind(data, {**wind, **change})


def _along_the_final_course(data: Mapping[str, Any], speed: float) -> dict[str, Any]:
    """An added wind [kt] towards the final course, or from it where it is negative."""
    course = float(data.get("arrival", {}).get("course_deg", 0.0))
    return {"bias_kt": abs(speed), "bias_from_deg": (course + 180.0 if speed >= 0.0 else course) % 360.0}
