"""Cases in blocks of neighbours: what one worker does in one go, the same whatever the number of workers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.scenario import Conditions

CASES_PER_BLOCK = 40
_CHUNK = 4096
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
        """Numbers of its cases (size,), the last dimension fastest; `shape` is that of all cases."""
        own = np.meshgrid(*(np.arange(*ends) for ends in self.ranges), indexing="ij")
        return np.ravel_multi_index([part.ravel() for part in own], tuple(shape)).astype(np.int64)


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


def plan_of(conditions: Conditions, most: int = CASES_PER_BLOCK) -> Plan:
    """Blocks of at most this many cases [-]; levels that are no start for one another are kept apart.

    A grid is halved along the axis over which a block reaches farthest, a sample at the median of that axis.
    """
    if conditions.shares is None:
        apart = tuple(axis.is_apart for axis in conditions.axes)
        whole = tuple((0, size) for size in conditions.shape)
        boxes = list(_boxes(whole, conditions.shape, apart, most))
    else:
        apart_of = [index for index, axis in enumerate(conditions.axes) if axis.is_apart]
        ranks = {i: np.array([_rank(conditions, i, s) for s in conditions.shares[:, i]]) for i in apart_of}
        runs = list(_runs(np.arange(conditions.size), conditions.shares, ranks, most))
        conditions = conditions.reordered(np.concatenate(runs))
        ends = np.cumsum([0, *(run.size for run in runs)])
        boxes = [((int(first), int(last)),) for first, last in pairwise(ends)]
    blocks = tuple(Block(number, ranges) for number, ranges in enumerate(boxes))
    return Plan(conditions, blocks, _chunks(conditions.shape))


def kinds(conditions: Conditions, most: int) -> list[int]:
    """Numbers of cases in the middle of each combination of levels that are apart, at most so many [-]."""
    apart = [index for index, axis in enumerate(conditions.axes) if axis.is_apart]
    found: dict[tuple[float, ...], tuple[float, int]] = {}
    step = max(1, conditions.size // 100_000)
    for number in range(0, conditions.size, step):
        place = conditions.place(number)
        off = float(np.sum(np.abs(np.delete(place, apart) - 0.5)))
        key = tuple(
            float(place[i]) if conditions.shares is None else _rank(conditions, i, float(place[i])) for i in apart
        )
        if off < found.get(key, (math.inf, 0))[0]:
            found[key] = off, number
    return [number for _, number in list(found.values())[:most]]


def _rank(conditions: Conditions, axis: int, share: float) -> float:
    count = conditions.axes[axis].count or 1
    return float(min(int(share * count), count - 1))


def _boxes(
    box: tuple[Range, ...], shape: Sequence[int], apart: Sequence[bool], most: int
) -> Iterator[tuple[Range, ...]]:
    sizes = [last - first for first, last in box]
    split = [2.0 if own and size > 1 else 0.0 for own, size in zip(apart, sizes, strict=True)]
    if not any(split):
        if math.prod(sizes) <= most:
            yield box
            return
        split = [(size - 1) / max(whole - 1, 1) for size, whole in zip(sizes, shape, strict=True)]
    axis = int(np.argmax(split))
    first, last = box[axis]
    middle = (first + last) // 2
    for half in ((first, middle), (middle, last)):
        yield from _boxes((*box[:axis], half, *box[axis + 1 :]), shape, apart, most)


def _runs(
    cases: NDArray[np.int64], shares: NDArray[np.float64], ranks: dict[int, NDArray[np.float64]], most: int
) -> Iterator[NDArray[np.int64]]:
    for rank in ranks.values():
        own = rank[cases]
        if np.ptp(own) > 0.0:
            low = cases[own <= np.floor(0.5 * (np.min(own) + np.max(own)))]
            high = cases[own > np.floor(0.5 * (np.min(own) + np.max(own)))]
            yield from _runs(low, shares, ranks, most)
            yield from _runs(high, shares, ranks, most)
            return
    if cases.size <= most:
        yield cases
        return
    axis = int(np.argmax(np.ptp(shares[cases], axis=0)))
    ordered = cases[np.argsort(shares[cases, axis], kind="stable")]
    yield from _runs(ordered[: cases.size // 2], shares, ranks, most)
    yield from _runs(ordered[cases.size // 2 :], shares, ranks, most)


def _chunks(shape: Sequence[int]) -> tuple[int, ...]:
    """Chunks as even as they come, so that a slice along any axis reads few of them."""
    chunk = list(shape)
    while math.prod(chunk) > _CHUNK:
        longest = int(np.argmax(chunk))
        chunk[longest] = -(-chunk[longest] // 2)
    return tuple(chunk)
