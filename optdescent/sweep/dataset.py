"""What the dataset of a sweep is made of: its variables and attributes, before any case is answered."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.sweep import REASON, STATUS, Content, SweepColumn
from optdescent.scenario import Axis
from optdescent.sweep.plan import Plan, even_chunks
from optdescent.sweep.question import Layout

CASE, DRAW = "case", "draw"
_CHUNK_VALUES = 2**17
"""Values in a chunk, if that is a case or more: a megabyte, because a chunk is read and written whole."""


@dataclass(frozen=True)
class Contents:
    """What a dataset holds before any answer; `text` decides whether two are of one study."""

    plan: Plan
    layout: Layout
    text: str
    attributes: Mapping[str, str]

    @property
    def dims(self) -> tuple[str, ...]:
        """Dimensions of the cases."""
        conditions = self.plan.conditions
        return tuple(axis.name for axis in conditions.axes) if conditions.shares is None else (CASE,)

    @property
    def columns(self) -> tuple[SweepColumn, ...]:
        """Every column, that which says how a case ended last."""
        return (*self.layout.columns, REASON, STATUS)

    @property
    def all_attributes(self) -> dict[str, str]:
        """Attributes of the dataset."""
        conditions = self.plan.conditions
        told = conditions.sampling.model_dump()
        return {
            **self.attributes,
            "Conventions": "CF-1.11",
            "study": self.text,
            "axes": json.dumps([axis.name for axis in conditions.axes]),
            "sampling": json.dumps({key: told[key] for key in ("kind", "count", "seed") if key in told}),
        }


@dataclass(frozen=True)
class Variable:
    """One array of the dataset; text is of variable length. `values` makes what it holds from the beginning."""

    name: str
    dims: tuple[str, ...]
    shape: tuple[int, ...]
    chunks: tuple[int, ...]
    dtype: np.dtype[Any] | type[str]
    missing: float | int | str | None
    attributes: Mapping[str, Any]
    values: Callable[[], NDArray[Any]] | None = None


def variables_of(contents: Contents) -> tuple[Variable, ...]:
    """Every array of a dataset: axes in the unit of the file, then what is asked [SI].

    Raises
    ------
    InputFault
        An axis has the name of something else in the dataset.
    """
    faults = name_faults(contents.plan.conditions.axes, contents.layout)
    if faults:
        raise InputFault(faults)
    return (*_axes(contents), *_extra(contents.layout), *_columns(contents))


def name_faults(axes: Sequence[Axis], layout: Layout, file: str = "") -> list[Fault]:
    """Axes with the name of something else in the dataset; `file` stands in messages."""
    others = {CASE, DRAW, REASON.name, STATUS.name, *layout.coordinates, *layout.labels}
    others |= {column.name for column in layout.columns}
    return [
        Fault(
            file,
            f"conditions.axes[{index}].name",
            f"got {axis.name!r}{_origin(axis)}",
            f"another name: in the dataset {axis.name!r} is something else",
        )
        for index, axis in enumerate(axes)
        if axis.name in others
    ]


def _origin(axis: Axis) -> str:
    """Where a name is from that was not given."""
    given = axis.declared.name
    return f", the end of {axis.key}" if given is None else ""


def _axes(contents: Contents) -> Iterator[Variable]:
    conditions = contents.plan.conditions
    shares, draw = conditions.shares, conditions.draw
    for index, axis in enumerate(conditions.axes):
        levels, told = np.array(axis.levels), _axis_attributes(axis)
        if shares is None:
            yield _coordinate(axis.name, levels, told)
        else:
            values = partial(_drawn, axis, shares[:, index], levels.dtype)
            yield Variable(axis.name, (CASE,), *_whole(shares.shape[:1]), *_stored_as(levels.dtype), told, values)
    if draw is not None:
        told = {"long_name": "place in the sequence drawn", "units": "1"}
        yield Variable(DRAW, (CASE,), *_whole(draw.shape), *_stored_as(draw.dtype), told, lambda: draw)


def _drawn(axis: Axis, shares: NDArray[np.float64], dtype: np.dtype[Any]) -> NDArray[Any]:
    """Levels [file unit] of the cases of a sample; `dtype` is that of the axis's levels, whichever of them are met."""
    return np.array([axis.drawn(share) for share in shares.tolist()], dtype=dtype)


def _extra(layout: Layout) -> Iterator[Variable]:
    for name, (values, attributes) in layout.coordinates.items():
        yield _coordinate(name, values, attributes)
    for name, label in layout.labels.items():
        yield replace(_coordinate(name, label.values, label.attributes), dims=(label.dim,))


def _columns(contents: Contents) -> Iterator[Variable]:
    plan, extra = contents.plan, contents.layout.coordinates
    is_grid = plan.conditions.shares is None
    # The levels of a sample and labels are coordinates that no dimension is named after: the CF conventions have them
    # listed.
    levels = [] if is_grid else [*(axis.name for axis in plan.conditions.axes), DRAW]
    for column in contents.columns:
        sizes = tuple(extra[dim][0].size for dim in column.dims)
        listed = levels + [name for name, label in contents.layout.labels.items() if label.dim in column.dims]
        beside = {"coordinates": " ".join(listed)} if listed else {}
        yield Variable(
            column.name,
            (*contents.dims, *column.dims),
            (*plan.shape, *sizes),
            (*even_chunks(plan.chunks, max(_CHUNK_VALUES // max(math.prod(sizes), 1), 1)), *sizes),
            str if column.content is Content.TEXT else np.dtype(column.content.value),
            column.content.missing,
            {**column.attributes(), **beside},
        )


def _coordinate(name: str, values: NDArray[Any], attributes: Mapping[str, Any]) -> Variable:
    return Variable(name, (name,), *_whole(values.shape), *_stored_as(values.dtype), attributes, lambda: values)


def _whole(shape: tuple[int, ...]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Shape, and chunks of an array in one."""
    return shape, shape


def _stored_as(dtype: np.dtype[Any]) -> tuple[np.dtype[Any] | type[str], None]:
    """Type that values are stored as, and what is missing of them: nothing."""
    return (str if dtype.kind in "OUT" else dtype), None


def _axis_attributes(axis: Axis) -> dict[str, str]:
    """Name in words, key of the scenario file, and unit where levels have an order."""
    told = {"long_name": axis.words, "key": axis.key}
    return {**told, "units": axis.unit.udunits} if axis.is_ordered else told
