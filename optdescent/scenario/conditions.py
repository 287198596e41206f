"""Conditions: what varies from case to case, as a grid or as a sample."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from optdescent.inputs import BY_KIND, Declared, Fault, InputFault, entry, whole
from optdescent.scenario.axes import Axis, AxisDeclaration, Level, NormalAxis, RangeAxis, SoundingsAxis, ValuesAxis


class GridSampling(Declared):
    """Every level of every axis with every other."""

    kind: Literal["grid"] = entry("every level of each axis with every level of the others", default="grid")


class _Drawn(Declared):
    count: int = whole(1, 10_000_000, "how many cases")
    seed: int = whole(0, 2**31 - 1, "which draw", default=0)


class RandomSampling(_Drawn):
    """Independent draws."""

    kind: Literal["random"] = entry("independent draws")


class LatinSampling(_Drawn):
    """A Latin hypercube: each axis in strata of equal probability, one draw in each."""

    kind: Literal["latin-hypercube"] = entry("a Latin hypercube")


class SobolSampling(_Drawn):
    """A scrambled Sobol' sequence."""

    kind: Literal["sobol"] = entry("a scrambled Sobol' sequence; count a power of two")


class SaltelliSampling(_Drawn):
    """Two Sobol' samples of `count` and their exchanges, for Sobol' indices (Saltelli and others, 2010)."""

    kind: Literal["saltelli"] = entry(
        "two Sobol' samples of count (a power of two) and, for each axis, the first with that axis from the second"
    )


SamplingDeclaration = Annotated[
    GridSampling | RandomSampling | LatinSampling | SobolSampling | SaltelliSampling, BY_KIND
]
"""What the table `conditions.sampling` may hold; its `kind` decides."""


class ConditionsDeclaration(Declared):
    """What varies."""

    sampling: SamplingDeclaration = entry("grid or sample", default=GridSampling())
    axes: tuple[AxisDeclaration, ...] = entry("what varies")


@dataclass(frozen=True)
class Conditions:
    """The cases of a study, numbered from 0.

    A grid's cases run over the levels of its axes, the last fastest. A sample holds `shares` (cases, axes): the
    part of each axis's distribution that lies below the case's level; `draw` (cases,) is a case's place in the sequence
    that was drawn.
    """

    axes: tuple[Axis, ...]
    sampling: GridSampling | RandomSampling | LatinSampling | SobolSampling | SaltelliSampling
    shares: NDArray[np.float64] | None = None
    draw: NDArray[np.int64] | None = None

    @classmethod
    def of(cls, declared: ConditionsDeclaration, name: str, key: str = "conditions") -> Conditions:
        """Conditions of a declaration [file units]; `name` and `key` say in messages where it stands.

        Raises
        ------
        InputFault
            An axis without levels, levels given twice, two axes of one name, a count that does not suit the sampling.
        """
        axes = tuple(Axis(axis) for axis in declared.axes)
        sampling = declared.sampling
        faults = [*_axis_faults(axes, sampling, name, f"{key}.axes"), *_count_faults(sampling, name, key)]
        if faults:
            raise InputFault(faults)
        shares = _shares(sampling, len(axes))
        return cls(axes, sampling, shares, None if shares is None else np.arange(shares.shape[0]))

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of levels of each axis of a grid, or the number of cases of a sample."""
        if self.shares is not None:
            return (self.shares.shape[0],)
        return tuple(len(axis.levels) for axis in self.axes)

    @property
    def size(self) -> int:
        """Number of cases."""
        return math.prod(self.shape)

    def levels(self, number: int) -> tuple[Level, ...]:
        """Level of each axis [file unit] in a case."""
        if self.shares is not None:
            return tuple(axis.drawn(float(share)) for axis, share in zip(self.axes, self.shares[number], strict=True))
        places = np.unravel_index(number, self.shape)
        return tuple(axis.levels[int(place)] for axis, place in zip(self.axes, places, strict=True))

    def place(self, number: int) -> NDArray[np.float64]:
        """Where a case lies on each axis (axes,), 0 to 1 [-]: its level's rank, or the share below it."""
        if self.shares is not None:
            return self.shares[number]
        places = np.unravel_index(number, self.shape)
        return np.array([float(p) / max(n - 1, 1) for p, n in zip(places, self.shape, strict=True)])

    def reordered(self, order: NDArray[np.int64]) -> Conditions:
        """A sample's cases numbered anew: new case i is old case ``order[i]`` [-]."""
        if self.shares is None or self.draw is None:
            return self
        return replace(self, shares=self.shares[order], draw=self.draw[order])

    def scenario_data(self, base: Mapping[str, Any], levels: Sequence[Level], name: str) -> dict[str, Any]:
        """Parsed scenario of a case: the base with each axis at its level [file units].

        Raises
        ------
        InputFault
            A key does not lead to a table.
        """
        data = dict(base)
        for axis, level in zip(self.axes, levels, strict=True):
            data = axis.applied(data, level, name)
        return data

    def corners(self) -> list[tuple[int, tuple[Level, ...]]]:
        """Axis and levels to try before a sweep [file units]: each axis at its ends or each level, others in their middle.

        The ends of a drawn axis are those of the draw.
        """
        middle = [self._middle(index) for index in range(len(self.axes))]
        found: list[tuple[int, tuple[Level, ...]]] = []
        for index, axis in enumerate(self.axes):
            for level in self._tried(index, axis):
                found.append((index, (*middle[:index], level, *middle[index + 1 :])))
        return found

    def _middle(self, index: int) -> Level:
        axis = self.axes[index]
        if self.shares is not None:
            return axis.drawn(0.5)
        levels = axis.levels
        return levels[len(levels) // 2]

    def _tried(self, index: int, axis: Axis) -> tuple[Level, ...]:
        if self.shares is None:
            levels = axis.levels
        else:
            shares = self.shares[:, index] if axis.is_ordered else np.unique(self.shares[:, index])
            ends = (float(np.min(shares)), float(np.max(shares))) if axis.is_ordered else shares.tolist()
            levels = tuple(dict.fromkeys(axis.drawn(share) for share in ends))
        if axis.is_ordered:
            return tuple(dict.fromkeys((min(levels, key=float), max(levels, key=float))))
        return levels if axis.is_apart else levels[:1]


def _axis_faults(axes: tuple[Axis, ...], sampling: object, name: str, key: str) -> list[Fault]:
    faults = [] if axes else [Fault(name, key, "is empty", "at least one axis")]
    names = [axis.name for axis in axes]
    for index, axis in enumerate(axes):
        at = f"{key}[{index}]"
        if axis.name in names[:index]:
            faults.append(Fault(name, f"{at}.name", f"got {axis.name!r} twice", "a name for each axis"))
        if isinstance(sampling, GridSampling) and axis.count is None:
            faults.append(Fault(name, f"{at}.count", "missing", "how many levels, for a grid"))
        fault = _level_fault(axis)
        if fault is not None:
            faults.append(Fault(name, at, *fault))
    return faults


def _level_fault(axis: Axis) -> tuple[str, str] | None:
    """What is wrong with the levels of an axis: what was given, what is allowed [file units]."""
    match axis.declared:
        case RangeAxis(from_=first, to=last) if first == last:
            return f"runs from {first:g} to {last:g}", "two ends that differ"
        case NormalAxis(lowest=low, highest=high) if low >= high:
            return f"is cut off below {low:g} and above {high:g}", "lowest below highest"
        case ValuesAxis(values=()) | SoundingsAxis(soundings=()):
            return "has no levels", "at least one"
        case ValuesAxis(values=levels) | SoundingsAxis(soundings=levels):
            twice = [level for place, level in enumerate(levels) if level in levels[:place]]
            if twice:
                return f"got {twice[0]!r} twice", "levels that differ"
            kinds = {str if isinstance(level, str) else bool if isinstance(level, bool) else float for level in levels}
            return None if len(kinds) == 1 else ("mixes numbers, words and flags", "levels of one kind")
        case _:
            return None


def _count_faults(sampling: object, name: str, key: str) -> list[Fault]:
    """Sobol' points fill the space evenly in powers of two only (Owen, On dropping the first Sobol' point, 2020)."""
    if not isinstance(sampling, SobolSampling | SaltelliSampling) or sampling.count & (sampling.count - 1) == 0:
        return []
    below = 1 << (sampling.count.bit_length() - 1)
    return [Fault(name, f"{key}.sampling.count", f"got {sampling.count}", f"a power of two: {below} or {2 * below}")]


def _shares(sampling: object, axes: int) -> NDArray[np.float64] | None:
    match sampling:
        case RandomSampling(count=count, seed=seed):
            return np.random.default_rng(seed).random((count, axes))
        case LatinSampling(count=count, seed=seed):
            return np.asarray(qmc.LatinHypercube(axes, rng=seed).random(count), dtype=float)
        case SobolSampling(count=count, seed=seed):
            return _sobol(axes, count, seed)
        case SaltelliSampling(count=count, seed=seed):
            both = _sobol(2 * axes, count, seed)
            first, second = both[:, :axes], both[:, axes:]
            exchanged = [np.where(np.arange(axes) == index, second, first) for index in range(axes)]
            return np.concatenate([first, second, *exchanged])
        case _:
            return None


def _sobol(axes: int, count: int, seed: int) -> NDArray[np.float64]:
    return np.asarray(qmc.Sobol(axes, rng=seed).random_base2(count.bit_length() - 1), dtype=float)
