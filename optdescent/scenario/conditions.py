"""Conditions: what varies from case to case, as a grid or as a sample."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated, Any, Literal, TypeAlias, assert_never

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from optdescent.inputs import BY_KIND, Declared, Fault, InputFault, entry, whole
from optdescent.scenario.axes import Axis, Level
from optdescent.scenario.declared_axes import (
    ADDED_TAILWIND,
    LARGEST,
    AxisDeclaration,
    NormalAxis,
    RangeAxis,
    SoundingsAxis,
    ValuesAxis,
)

_MOST = 10_000_000
"""Most cases of a study."""
_KEY = re.compile(r"\w+(\[\d+\])*(\.\w+(\[\d+\])*)*")


class GridSampling(Declared):
    """Every level of every axis with every other."""

    kind: Literal["grid"] = entry("every level of each axis with every level of the others", default="grid")


class _Drawn(Declared):
    count: int = whole(1, _MOST, "how many cases")
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
    """Two Sobol' samples of `count` and their exchanges, for Sobol' indices.

    A, B, then for each axis A with that axis from B: A. Saltelli and others, "Variance based sensitivity analysis of
    model output", Computer Physics Communications 181 (2010), table 2.
    """

    kind: Literal["saltelli"] = entry(
        "two Sobol' samples of count (a power of two) and, for each axis, the first with that axis from the second"
    )


_Sampling: TypeAlias = GridSampling | RandomSampling | LatinSampling | SobolSampling | SaltelliSampling
SamplingDeclaration = Annotated[_Sampling, BY_KIND]
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
    sampling: _Sampling
    shares: NDArray[np.float64] | None = None
    draw: NDArray[np.int64] | None = None

    @classmethod
    def of(cls, declared: ConditionsDeclaration, name: str, key: str = "conditions") -> Conditions:
        """Conditions of a declaration [file units]; `name` and `key` say in messages where it stands.

        Raises
        ------
        InputFault
            An axis without levels, levels given twice, two axes of one name or one key, a count that does not suit the
            sampling, too many cases.
        """
        axes = tuple(Axis(axis) for axis in declared.axes)
        sampling = declared.sampling
        at = f"{key}." if key else ""
        found = [*_axis_faults(axes, sampling), *_clashes(axes), *_count_faults(sampling, axes)]
        if not found and isinstance(sampling, GridSampling):
            found = _grid_faults(axes)
        if found:
            raise InputFault(Fault(name, f"{at}{leaf}", given, allowed) for leaf, given, allowed in found)
        shares = _shares(sampling, len(axes))
        return cls(axes, sampling, shares, None if shares is None else np.arange(shares.shape[0], dtype=np.int64))

    @cached_property
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
            shares = self.shares[number].tolist()
            return tuple(axis.drawn(share) for axis, share in zip(self.axes, shares, strict=True))
        return tuple(axis.levels[index] for axis, index in zip(self.axes, self._indices(number), strict=True))

    def place(self, number: int) -> NDArray[np.float64]:
        """Where a case lies on each axis (axes,), 0 to 1 [-]: its level's rank, or the share below it."""
        if self.shares is not None:
            return self.shares[number].copy()
        return np.array([axis.places[i] for axis, i in zip(self.axes, self._indices(number), strict=True)])

    def _indices(self, number: int) -> list[int]:
        """Index of each axis's level in a case of a grid."""
        found: list[int] = []
        for length in reversed(self.shape[1:]):
            number, index = divmod(number, length)
            found.append(index)
        return [number, *reversed(found)]

    def reordered(self, order: NDArray[np.int64]) -> Conditions:
        """A sample's cases numbered anew: new case i is old case ``order[i]`` [-]."""
        if self.shares is None or self.draw is None:
            return self
        return replace(self, shares=self.shares[order], draw=self.draw[order])

    def scenario_data(self, base: Mapping[str, Any], levels: Sequence[Level], name: str) -> dict[str, Any]:
        """Parsed scenario of a case: the base with each axis at its level [file units], whatever order they stand in.

        Raises
        ------
        InputFault
            A key does not lead to a table, or the wind cannot be disturbed so.
        """
        data = dict(base)
        pairs = zip(self.axes, levels, strict=True)
        for axis, level in sorted(pairs, key=lambda pair: pair[0].turn):
            data = axis.applied(data, level, name)
        return data

    def corners(self) -> list[tuple[int, tuple[Level, ...]]]:
        """Axis and levels to try before a sweep [file units]: each axis at its ends or each level, others mid-way.

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
        return axis.middle if self.shares is None else axis.drawn(0.5)

    def _tried(self, index: int, axis: Axis) -> tuple[Level, ...]:
        levels = axis.levels if self.shares is None else axis.reached(self.shares[:, index])
        if axis.is_ordered:
            return tuple(dict.fromkeys((min(levels, key=float), max(levels, key=float))))
        return levels if axis.is_apart else levels[:1]


_Found: TypeAlias = tuple[str, str, str]
"""A fault within the conditions: key, what was given, what is allowed [file units]."""


def _axis_faults(axes: tuple[Axis, ...], sampling: _Sampling) -> list[_Found]:
    """Faults of each axis, and of their names."""
    if not axes:
        return [("axes", "is empty", "at least one axis")]
    found: list[_Found] = []
    names = [axis.name for axis in axes]
    for index, axis in enumerate(axes):
        at = f"axes[{index}]"
        if _KEY.fullmatch(axis.key) is None:
            found.append((f"{at}.key", f"got {axis.key!r}", "a dotted key of the scenario file, as start.mass_kg"))
        elif not axis.name.isidentifier():
            found.append((f"{at}.name", f"got {axis.name!r}", "letters, digits and underscores, no digit first"))
        elif axis.name in names[:index]:
            found.append((f"{at}.name", f"got {axis.name!r} twice", "a name for each axis"))
        if isinstance(sampling, GridSampling) and axis.count is None:
            found.append((f"{at}.count", "missing", "how many levels, for a grid"))
        found += [(f"{at}.{key}", given, allowed) for key, given, allowed in _level_faults(axis)]
    return found


def _level_faults(axis: Axis) -> list[_Found]:
    """Faults of the levels of an axis: key in its table, what was given, what is allowed [file units]."""
    match axis.declared:
        case ValuesAxis(values=levels):
            return _listed_faults("values", levels, ("numbers",) if axis.key == ADDED_TAILWIND else _KINDS)
        case SoundingsAxis(soundings=levels):
            return _listed_faults("soundings", levels, ("words",))
        case RangeAxis(from_=first, to=last) if first == last:
            return [("to", f"got {last:g}, where the range begins", "two ends that differ")]
        case NormalAxis(lowest=low, highest=high) if low >= high:
            return [("lowest", f"got {low:g}", f"below highest, {high:g}")]
        case NormalAxis(lowest=low, highest=high, cut=cut) if cut.is_empty:
            return [
                ("lowest", f"nothing is left from {low:g} to {high:g}", "ends nearer to the mean, or farther apart")
            ]
        case _:
            return []


_KINDS = ("numbers", "words", "flags")


def _listed_faults(key: str, levels: tuple[object, ...], kinds: tuple[str, ...]) -> list[_Found]:
    """Faults of levels listed one by one, which must be of one of these kinds [file units]."""
    found: list[_Found] = [] if levels else [(key, "is empty", "at least one level")]
    met: dict[str, None] = {}
    seen: set[object] = set()
    for index, level in enumerate(levels):
        kind, at = _kind(level), f"{key}[{index}]"
        if kind not in kinds:
            found.append((at, f"got {level!r}", " or ".join(kinds)))
            continue
        if isinstance(level, int | float) and not -LARGEST <= level <= LARGEST:
            found.append((at, f"got {level!r}", f"{-LARGEST:g} to {LARGEST:g}"))
        elif (kind, level) in seen:
            found.append((at, f"got {level!r} twice", "levels that differ"))
        met[kind] = None
        seen.add((kind, level))
    if len(met) > 1:
        found.append((key, f"mixes {' and '.join(met)}", "levels of one kind"))
    return found


def _kind(level: object) -> str:
    match level:
        case bool():
            return "flags"
        case int() | float():
            return "numbers"
        case str():
            return "words"
        case _:
            return ""


def _clashes(axes: tuple[Axis, ...]) -> list[_Found]:
    """Axes that would overwrite one another."""
    found: list[_Found] = []
    for index, axis in enumerate(axes):
        for other, earlier in enumerate(axes[:index]):
            both = [key for key in axis.written if key in earlier.written]
            if both:
                given = f"moves {both[0]}, as axes[{other}] does"
                found.append((f"axes[{index}]", given, "one axis for each key"))
    if any(isinstance(axis.declared, SoundingsAxis) for axis in axes):
        allowed = "no axis of the wind that the soundings replace"
        found += [
            (f"axes[{index}].key", f"got {axis.key!r} beside soundings", allowed)
            for index, axis in enumerate(axes)
            if axis.is_replaced_by_soundings
        ]
    return found


def _count_faults(sampling: _Sampling, axes: tuple[Axis, ...]) -> list[_Found]:
    """Sobol' points fill the space evenly in powers of two only (Owen, On dropping the first Sobol' point, 2020)."""
    if not isinstance(sampling, SobolSampling | SaltelliSampling):
        return []
    copies = len(axes) + 2 if isinstance(sampling, SaltelliSampling) else 1
    most = 1 << ((_MOST // copies).bit_length() - 1)
    count = sampling.count
    if isinstance(sampling, SaltelliSampling) and count < 2:
        allowed = "a power of two from 2 on: Sobol' indices compare the cases of a sample with one another"
        return [("sampling.count", f"got {count}", allowed)]
    if count > most:
        return [("sampling.count", f"got {count}", f"a power of two up to {most}: {_MOST} cases in all")]
    if count & (count - 1):
        below = 1 << (count.bit_length() - 1)
        return [("sampling.count", f"got {count}", f"a power of two: {below} or {2 * below}")]
    return []


def _grid_faults(axes: tuple[Axis, ...]) -> list[_Found]:
    size = math.prod(axis.count or 0 for axis in axes)
    return [("axes", f"make a grid of {size} cases", f"at most {_MOST}, or a sample")] if size > _MOST else []


def _shares(sampling: _Sampling, axes: int) -> NDArray[np.float64] | None:
    match sampling:
        case GridSampling():
            return None
        case RandomSampling(count=count, seed=seed):
            return np.random.default_rng(seed).random((count, axes))
        case LatinSampling(count=count, seed=seed):
            return np.asarray(qmc.LatinHypercube(axes, rng=seed).random(count), dtype=float)
        case SobolSampling(count=count, seed=seed):
            return _sobol(axes, count, seed)
        case SaltelliSampling(count=count, seed=seed):
            both = _sobol(2 * axes, count, seed)
            first, second = both[:, :axes], both[:, axes:]
            shares = np.tile(first, (axes + 2, 1, 1))
            shares[1] = second
            for index in range(axes):
                shares[index + 2, :, index] = second[:, index]
            return shares.reshape(-1, axes)
        case _:
            assert_never(sampling)


def _sobol(axes: int, count: int, seed: int) -> NDArray[np.float64]:
    return np.asarray(qmc.Sobol(axes, rng=seed).random_base2(count.bit_length() - 1), dtype=float)
