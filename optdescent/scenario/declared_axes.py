"""The kinds of axes that a study may declare, each with the levels it takes or the distribution it is drawn from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Literal, TypeAlias

from scipy.special import ndtr, ndtri

from optdescent.inputs import BY_KIND, OfOneKind, entry, quantity, whole

ADDED_TAILWIND = "added_tailwind_kt"
"""Key of a wind added at every height along the final course; negative against it."""
LARGEST = 1e9
"""Largest number that a level may be, in the unit of the file."""
_TAIL = 2.0**-31
"""Least share of a normal distribution on either side of a draw [-]: half a step of scipy's Sobol' points, of which one
in 2**30 is 0, where the level would be infinite."""


class _Keyed(OfOneKind):
    key: str = entry(f"dotted key of the scenario file with its unit, such as start.mass_kg; or {ADDED_TAILWIND}")
    name: str | None = entry("name of the axis in the dataset; without it the last part of the key", default=None)


@dataclass(frozen=True)
class Cut:
    """A normal distribution between two levels."""

    mean: float
    deviation: float
    lowest: float
    highest: float

    @cached_property
    def _sides(self) -> tuple[float, float, float, float]:
        """Part of the whole below the lowest level, below the highest; above the highest, above the lowest."""
        low, high = ((end - self.mean) / self.deviation for end in (self.lowest, self.highest))
        return float(ndtr(low)), float(ndtr(high)), float(ndtr(-high)), float(ndtr(-low))

    @property
    def is_empty(self) -> bool:
        """Whether doubles see nothing of the distribution between the levels."""
        below, up_to, above, down_to = self._sides
        return up_to <= below and down_to <= above

    def quantile(self, share: float) -> float:
        """The level that leaves this share [-] below it, found from the nearer tail, where doubles are fine."""
        below, up_to, above, down_to = self._sides
        inside = min(max(share, _TAIL), 1.0 - _TAIL)
        left, right = below + inside * (up_to - below), above + (1.0 - inside) * (down_to - above)
        standard = float(ndtri(left)) if left < right else -float(ndtri(right))
        return min(max(self.mean + self.deviation * standard, self.lowest), self.highest)


class ValuesAxis(_Keyed):
    """Levels one by one; equally likely where they are drawn."""

    kind: Literal["values"] = entry("levels one by one")
    values: tuple[object, ...] = entry("the levels, in the unit of the key: numbers, words or flags")


class RangeAxis(_Keyed):
    """Equal steps of a grid; uniform where it is drawn."""

    kind: Literal["range"] = entry("from one level to another")
    from_: float = quantity("", -LARGEST, LARGEST, "first level, in the unit of the key")
    to: float = quantity("", -LARGEST, LARGEST, "last level, in the unit of the key")
    count: int | None = whole(2, 100000, "levels of a grid", default=None)


class NormalAxis(_Keyed):
    """A normal distribution, cut at the lowest and highest level; in a grid levels of equal probability."""

    kind: Literal["normal"] = entry("normally distributed")
    mean: float = quantity("", -LARGEST, LARGEST, "mean, in the unit of the key")
    standard_deviation: float = quantity("", 1e-9, LARGEST, "standard deviation, in the unit of the key")
    lowest: float = quantity("", -LARGEST, LARGEST, "cut off below this level", default=-LARGEST)
    highest: float = quantity("", -LARGEST, LARGEST, "cut off above this level", default=LARGEST)
    count: int | None = whole(2, 100000, "levels of a grid", default=None)

    @cached_property
    def cut(self) -> Cut:
        """The distribution itself [file unit]."""
        return Cut(self.mean, self.standard_deviation, self.lowest, self.highest)


class SoundingsAxis(OfOneKind):
    """Measured winds by height, one after the other; equally likely where they are drawn."""

    kind: Literal["soundings"] = entry("winds by height from measured soundings")
    name: str = entry("name of the axis in the dataset", default="sounding")
    soundings: tuple[str, ...] = entry("names of built-in soundings, or paths of CSV files relative to the scenario")
    temperature: bool = entry("whether the soundings' temperatures are met too", default=False)


class EnsembleAxis(OfOneKind):
    """The scenario's wind disturbed at random, member by member."""

    kind: Literal["ensemble"] = entry("the wind disturbed at random, each member its own way")
    name: str = entry("name of the axis in the dataset", default="member")
    members: int = whole(1, 100000, "how many members")
    random: float = quantity("kt", 0.1, 50, "standard deviation of the random wind, each component")
    correlation_height: float = quantity("ft", 4000, 50000, "its correlation length in height", default=6000.0)
    correlation_distance: float | None = quantity(
        "nm", 40, 2000, "its correlation length along the track; without it, the same at every distance", default=None
    )
    seed: int = whole(0, 2**30, "seed of the first member", default=0)


class CrewsAxis(OfOneKind):
    """Crews that fly by the scenario's technique, each with what its own seed decides."""

    kind: Literal["crews"] = entry("crews of one technique, each its own way")
    name: str = entry("name of the axis in the dataset", default="crew")
    members: int = whole(1, 100000, "how many crews")
    seed: int = whole(0, 2**30, "seed of the first crew", default=0)


AnyAxis: TypeAlias = ValuesAxis | RangeAxis | NormalAxis | SoundingsAxis | EnsembleAxis | CrewsAxis
AxisDeclaration = Annotated[AnyAxis, BY_KIND]
"""What an entry of `conditions.axes` may hold; its `kind` decides."""
