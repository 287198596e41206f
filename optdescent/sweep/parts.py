"""Where blocks of cases and the chunks of a dataset's columns meet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import TypeAlias

from optdescent.sweep.plan import Block, Range

Box: TypeAlias = tuple[Range, ...]
"""First and past-the-last index of a chunk, or of another part of a column, along each dimension."""


def extent(block: Block, shape: Sequence[int]) -> Box:
    """Where a block lies in a column of a shape: whole along dimensions that are not those of the cases."""
    return (*block.ranges, *((0, size) for size in shape[len(block.ranges) :]))


def boxes(part: Box, chunks: Sequence[int], shape: Sequence[int]) -> Iterator[Box]:
    """Chunks over which a part of a column lies."""
    along = [
        [(start, min(start + chunk, size)) for start in range(first - first % chunk, last, chunk)]
        for (first, last), chunk, size in zip(part, chunks, shape, strict=True)
    ]
    return product(*along)


def overlap(box: Box, part: Box) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    """Where a part of a column and a chunk meet, counted from the corner of the chunk and from that of the part."""
    met = [(max(a, c), min(b, d), a, c) for (a, b), (c, d) in zip(box, part, strict=True)]
    inside = tuple(slice(first - corner, last - corner) for first, last, corner, _ in met)
    return inside, tuple(slice(first - corner, last - corner) for first, last, _, corner in met)
