"""What the dataset of a sweep is made of: its variables and attributes, before any case is answered."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.sweep import REASON, STATUS, Content, SweepColumn
from optdescent.scenario import Axis
from optdescent.sweep.plan import Plan
from optdescent.sweep.question import Layout

CASE, DRAW = "case", "draw"

_UDUNITS = {
    "ft": "ft",
    "m": "m",
    "nm": "nautical_mile",
    "kt": "knot",
    "kg": "kg",
    "t": "tonne",
    "s": "s",
    "min": "min",
    "deg": "degree",
    "hpa": "hPa",
    "kn": "kN",
    "k": "K",
    "m2": "m2",
    "ft_per_min": "ft min-1",
    "ft_per_nm": "ft nautical_mile-1",
    "kg_per_min": "kg min-1",
    "kg_per_s": "kg s-1",
    "kg_per_n_s": "kg N-1 s-1",
    "kt_per_nm": "knot nautical_mile-1",
    "kt_per_1000ft": "knot/(1000 ft)",
    "": "1",
}
"""Units of `optdescent.units` by suffix, as the CF conventions have them written (UDUNITS-2)."""


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
    found = (*_axes(contents), *_extra(contents.layout), *_columns(contents))
    names = [variable.name for variable in found]
    axes = [axis.name for axis in contents.plan.conditions.axes]
    twice = [name for name in axes if names.count(name) > 1 or name == CASE]
    if twice:
        allowed = "another name for the axis: the dataset has something else of this name"
        raise InputFault(Fault("", "conditions.axes", f"name {name!r}", allowed) for name in twice)
    return found


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


def _columns(contents: Contents) -> Iterator[Variable]:
    plan, extra = contents.plan, contents.layout.coordinates
    is_grid = plan.conditions.shares is None
    # The levels of a sample are coordinates that no dimension is named after: the CF conventions have them listed.
    beside = {} if is_grid else {"coordinates": " ".join([*(axis.name for axis in plan.conditions.axes), DRAW])}
    for column in contents.columns:
        sizes = tuple(extra[dim][0].size for dim in column.dims)
        yield Variable(
            column.name,
            (*contents.dims, *column.dims),
            (*plan.shape, *sizes),
            (*plan.chunks, *sizes),
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
    suffix = axis.unit.suffix
    bare = axis.key.removesuffix(f"_{suffix}") if suffix else axis.key
    told = {"long_name": bare.replace(".", " ").replace("_", " "), "key": axis.key}
    return {**told, "units": _UDUNITS[suffix]} if axis.is_ordered else told
