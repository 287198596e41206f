"""Cases in blocks of neighbours: what one worker does in one go, the same whatever the number of workers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.scenario import Conditions, Level

MOST_CASES = 40
"""Of a block: what a crash may cost."""
_LEAST_CASES = 8
"""Of a block that is made smaller only so that there are more of them: the first case of each begins far off."""
_BLOCKS = 8
"""That there should be, so that some workers have as much to do one as another."""
_CHUNK = 4096
"""Cases in a chunk of the dataset."""
_CANDIDATES = 4001
_CASES_PER_START = 250
"""A start costs as much as some twenty cases."""
Range = tuple[int, int]


@dataclass(frozen=True)
class Block:
    """A box of the cases' grid (or a run of a sample's cases): first and past-the-last index of each dimension."""

    number: int
    ranges: tuple[Range, ...]

    @property
    def region(self) -> tuple[slice, ...]:
        """Where its answers stand in an array over the cases."""
        return tuple(slice(*ends) for ends in self.ranges)

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of cases along each dimension."""
        return tuple(last - first for first, last in self.ranges)

    @property
    def size(self) -> int:
        """Number of cases."""
        return math.prod(self.shape)

    def cases(self, shape: Sequence[int]) -> NDArray[np.int64]:
        """Numbers (size,) [-] of its cases, the last dimension fastest; `shape` is that of all cases."""
        own = np.meshgrid(*(np.arange(*ends) for ends in self.ranges), indexing="ij")
        return np.ravel_multi_index([part.ravel() for part in own], tuple(shape)).astype(np.int64)


@dataclass(frozen=True)
class BlockSize:
    """How many cases [-] a block has: never more than `most`, and no more than `wanted` where parts keep `least`."""

    most: int
    wanted: int
    least: int

    @classmethod
    def of(cls, cases: int) -> BlockSize:
        """For a sweep of so many cases [-]: eight blocks or more as far as halves keep eight cases; forty at most."""
        return cls(MOST_CASES, min(MOST_CASES, max(_LEAST_CASES, -(-cases // _BLOCKS))), _LEAST_CASES)

    def is_to_be_split(self, cases: int, smaller: int) -> bool:
        """Whether so many cases are too many for a block, when the smaller part would have so many [-]."""
        return cases > self.most or (cases > self.wanted and smaller >= self.least)


@dataclass(frozen=True)
class Plan:
    """Conditions, their cases numbered so that neighbours stand together, and the blocks they are computed in."""

    conditions: Conditions
    blocks: tuple[Block, ...]
    chunks: tuple[int, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of cases along each dimension of the dataset."""
        return self.conditions.shape


def plan_of(conditions: Conditions, most: int | None = None) -> Plan:
    """Blocks of at most this many cases [-]; levels that are no start for one another are kept apart.

    Without a number given it follows from how many cases there are (`BlockSize.of`): never from the number of workers,
    on which no answer may depend. A grid is halved along the axis over which a block reaches farthest, a sample at the
    median of that axis; cases of one level of an axis that is apart are the same there.
    """
    size = BlockSize.of(conditions.size) if most is None else BlockSize(most, most, 1)
    if conditions.shares is None:
        apart = tuple(axis.is_apart for axis in conditions.axes)
        whole = tuple((0, size) for size in conditions.shape)
        boxes = list(_boxes(whole, conditions.shape, apart, size))
    else:
        runs = list(_runs(conditions, conditions.shares, size))
        conditions = conditions.reordered(np.concatenate(runs))
        ends = np.cumsum([0, *(run.size for run in runs)])
        boxes = [((int(first), int(last)),) for first, last in pairwise(ends)]
    blocks = tuple(Block(number, ranges) for number, ranges in enumerate(boxes))
    return Plan(conditions, blocks, even_chunks(conditions.shape, _CHUNK))


def kinds(conditions: Conditions, most: int) -> list[int]:
    """Numbers of the cases from which a sweep begins, at most so many [-].

    One in the middle of each combination of levels that are apart, then, for a sweep that is worth it, the one farthest
    from all before it, again and again.
    """
    numbers = np.unique(np.linspace(0, conditions.size - 1, min(conditions.size, _CANDIDATES)).round().astype(np.int64))
    places = np.array([conditions.place(int(number)) for number in numbers])
    apart = [index for index, axis in enumerate(conditions.axes) if axis.is_apart]
    off = np.sum(np.abs(np.delete(places, apart, axis=1) - 0.5), axis=1)
    levels = [tuple(conditions.levels(int(number))[index] for index in apart) for number in numbers]
    middles: dict[tuple[Level, ...], int] = {}
    inside_first: list[int] = np.argsort(off, kind="stable").tolist()
    for at in inside_first:
        middles.setdefault(levels[at], at)
    chosen = list(middles.values())[:most]
    away = np.min([np.linalg.norm(places - places[at], axis=1) for at in chosen], axis=0)
    while len(chosen) < min(most, conditions.size // _CASES_PER_START):
        chosen.append(int(np.argmax(away)))
        away = np.minimum(away, np.linalg.norm(places - places[chosen[-1]], axis=1))
    return [int(numbers[at]) for at in chosen]


def _boxes(
    box: tuple[Range, ...], shape: Sequence[int], apart: Sequence[bool], size: BlockSize
) -> Iterator[tuple[Range, ...]]:
    axis = _axis_to_split([last - first for first, last in box], shape, apart, size)
    if axis is None:
        yield box
        return
    first, last = box[axis]
    middle = (first + last) // 2
    for half in ((first, middle), (middle, last)):
        yield from _boxes((*box[:axis], half, *box[axis + 1 :]), shape, apart, size)


def _axis_to_split(sizes: Sequence[int], shape: Sequence[int], apart: Sequence[bool], size: BlockSize) -> int | None:
    """The axis along which a box is halved: one whose levels are apart, else that over which it reaches farthest."""
    for axis, (own, length) in enumerate(zip(apart, sizes, strict=True)):
        if own and length > 1:
            return axis
    reach = [(length - 1) / max(whole - 1, 1) for length, whole in zip(sizes, shape, strict=True)]
    cases = math.prod(sizes)
    for axis in sorted(range(len(sizes)), key=lambda axis: -reach[axis]):
        if size.is_to_be_split(cases, cases // sizes[axis] * (sizes[axis] // 2)):
            return axis
    return None


def _runs(conditions: Conditions, shares: NDArray[np.float64], size: BlockSize) -> Iterator[NDArray[np.int64]]:
    """Numbers of a sample's cases, block by block: first by the levels that are apart, the first axis slowest."""
    met = np.zeros(len(shares), dtype=np.int64)
    for axis, own in zip(conditions.axes, shares.T, strict=True):
        if axis.is_apart:
            count = axis.count or 1
            both = met * count + np.minimum((own * count).astype(np.int64), count - 1)
            met = np.unique(both, return_inverse=True)[1]
    order = np.argsort(met, kind="stable")
    within = [index for index, axis in enumerate(conditions.axes) if not axis.is_apart]
    for cases in np.split(order, np.flatnonzero(np.diff(met[order])) + 1):
        yield from _halves(cases, shares[cases].T[within] if within else np.zeros((1, cases.size)), size)


def _halves(cases: NDArray[np.int64], shares: NDArray[np.float64], size: BlockSize) -> Iterator[NDArray[np.int64]]:
    """Cases halved again and again; `shares` (axes, cases) are their own, so that small parts stay in the cache."""
    if not size.is_to_be_split(cases.size, cases.size // 2):
        yield cases
        return
    axis = int(np.argmax(shares.max(axis=1) - shares.min(axis=1)))
    order, middle = np.argsort(shares[axis], kind="stable"), cases.size // 2
    cases, shares = cases[order], shares[:, order]
    yield from _halves(cases[:middle], shares[:, :middle], size)
    yield from _halves(cases[middle:], shares[:, middle:], size)


def even_chunks(shape: Sequence[int], most: int) -> tuple[int, ...]:
    """Chunks of at most so many values [-], as even as they come: a slice along any axis reads few of them."""
    chunk = list(shape)
    while math.prod(chunk) > most:
        longest = int(np.argmax(chunk))
        chunk[longest] = -(-chunk[longest] // 2)
    return tuple(chunk)
