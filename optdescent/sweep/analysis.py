"""What a stored sweep says: main effects, Sobol' indices, slopes, percentiles, and the case nearest to given levels.

Only solved cases count. Levels stay in the unit of the scenario file, variables in SI; a dimension that a variable has
beside its cases, such as `rule`, is kept.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy import stats

from optdescent.inputs import Fault, InputFault

Array = NDArray[np.float64]

_BINS, _RESAMPLES, _CONFIDENCE = 10, 999, 0.95  # common practice, no source


def main_effects(dataset: xr.Dataset, variable: str) -> xr.Dataset:
    """Mean, standard deviation and count of a variable by level of each axis, over all other axes.

    Returns
    -------
    `mean_by_AXIS`, `standard_deviation_by_AXIS` [unit of the variable] and `count_by_AXIS` [-] over each axis, and
    `mean`, `standard_deviation`, `count` of all cases.

    Raises
    ------
    InputFault
        The dataset is no sweep, or has no such variable.

    Notes
    -----
    Only an ordered axis of a sample does not go by level: it is cut into ten bins of equal count, whose coordinate is
    their mean level, `AXIS_lower` and `AXIS_upper` their ends. Cases of one level stay in one bin, so levels drawn
    often make unequal bins. The standard deviation is that of the solved cases (divided by their count): 0 for one,
    not a number for none. Where cases of a grid are missing, its levels are not compared over the same cases.
    """
    sweep = _sweep(dataset)
    answers = _answers(sweep, variable)
    title, unit = _title(answers), _unit(answers)
    effects: dict[str, xr.DataArray] = {}
    for by in ("", *sweep.axes):
        found = _gathered(sweep, answers, by, _moments)
        end, told = (f"_by_{by}", f"{title} by {by}") if by else ("", title)
        effects[f"mean{end}"] = _described(found.isel(part=0), unit, f"mean of {told}")
        effects[f"standard_deviation{end}"] = _described(found.isel(part=1), unit, f"standard deviation of {told}")
        effects[f"count{end}"] = _count(found)
    return xr.Dataset(effects, attrs=_origin(sweep, variable))


def sobol_indices(dataset: xr.Dataset, variable: str) -> xr.Dataset:
    """Share of a variable's variance that each axis explains, alone and with the others [-].

    Returns
    -------
    `first_order` and `total_order` over `axis` [-], not a number where the variable does not vary; for a sample also
    the ends of their confidence intervals, `first_order_low`, `first_order_high` and so on.

    Raises
    ------
    InputFault
        The dataset is no sweep or has no such variable, the sampling gives no indices, or cases lack the value.

    Notes
    -----
    With V the variance, first order is V[E(y | x_i)] / V and total order E[V(y | all but x_i)] / V (Sobol', 2001).
    A grid is decomposed exactly, each level of an axis with equal weight: the indices are those of axes that take
    each stored level equally often. A sample of kind saltelli is estimated (Saltelli and others, 2010); intervals are
    percentiles of a bootstrap over its rows (Archer and others, 1997) seeded with the sample's seed. It treats rows as
    independent, which for a Sobol' sequence makes the intervals wide rather than narrow.

    References
    ----------
    Sobol' (2001), Math. Comput. Simul. 55, 271-280. Saltelli and others (2010), Comput. Phys. Commun. 181, 259-270.
    Archer, Saltelli, Sobol' (1997), J. Stat. Comput. Simul. 58, 99-120.
    """
    sweep = _sweep(dataset)
    if sweep.kind not in {"grid", "saltelli"}:
        raise _fault("sampling.kind", f"got {sweep.kind!r}", "grid or saltelli: only these give indices")
    answers = _answers(sweep, variable)
    if "axis" in answers.dims:
        raise _fault("variable", f"{variable!r} has a value for each axis", "a variable with one value for all axes")
    flat, kept, rest = _flat(sweep, answers)
    lacking = int(np.count_nonzero(np.isnan(flat).any(axis=1)))
    if lacking:
        raise _fault("variable", f"{lacking} of {len(flat)} cases lack {variable!r}", "a variable solved in every case")
    is_grid = sweep.kind == "grid"
    shares = _decomposed(sweep, flat)[None] if is_grid else _estimated(sweep, flat)
    indices: dict[str, xr.DataArray] = {}
    for end, told, pair in zip(("", "_low", "_high"), ("", ", low end", ", high end"), shares, strict=False):
        first, total = (xr.DataArray(part.reshape(-1, *rest), dims=("axis", *kept)) for part in pair)
        indices[f"first_order{end}"] = _described(first, "1", f"share of variance explained alone{told}")
        indices[f"total_order{end}"] = _described(total, "1", f"share of variance explained alone or jointly{told}")
    how = {"method": "exact"} if is_grid else {"method": "estimated", "confidence": _CONFIDENCE}
    coordinates = {"axis": ("axis", list(sweep.axes)), **_coordinates(sweep, kept)}
    return xr.Dataset(indices, coords=coordinates, attrs={**_origin(sweep, variable), **how})


def slope_map(dataset: xr.Dataset, axis: str) -> xr.Dataset:
    """Derivative of the optimal cost to an axis, from multipliers and from neighbouring cases of a grid.

    Returns
    -------
    `from_multipliers`, `from_differences` and `difference`, the first less the second, over the cases [unit of the
    cost per file unit of the axis].

    Raises
    ------
    InputFault
        The dataset is no grid, lacks `cost` or `cost_slope`, or has no such ordered axis with two levels or more.

    Notes
    -----
    Differences are central, weighted for unequal steps, and one-sided at the ends; all are exact for a quadratic
    cost. Two levels give one straight slope. Not a number where the case or one that the difference needs is unsolved.
    """
    sweep = _sweep(dataset)
    if sweep.kind != "grid":
        raise _fault("sampling.kind", f"got {sweep.kind!r}", "grid: a sample has no neighbouring cases")
    _known("axis", axis, sweep.axes)
    usable = [name for name in sweep.axes if _is_ordered(dataset[name]) and dataset[name].size > 1]
    if axis not in usable:
        raise _fault("axis", f"got {axis!r}", f"one with two or more levels in order: {', '.join(usable) or 'none'}")
    cost, slopes = _answers(sweep, "cost"), _answers(sweep, "cost_slope")
    multipliers = slopes.isel(axis=dataset["axis"].to_numpy().tolist().index(axis), drop=True)
    levels, at, values = _numbers(dataset[axis]), cost.dims.index(axis), cost.to_numpy()
    order = np.argsort(levels)
    rising = np.gradient(np.take(values, order, at), levels[order], axis=at, edge_order=2 if levels.size > 2 else 1)
    # with equal steps a central difference does not use the case itself
    differences = cost.copy(data=np.where(np.isnan(values), np.nan, np.take(rising, np.argsort(order), at)))
    by, told = _unit(dataset[axis]), f"{_title(cost)} per {_title(dataset[axis])}"
    per = _unit(cost) if by in {"", "1"} else f"{_unit(cost)}/({by})"
    found = {
        "from_multipliers": _described(multipliers, per, f"{told}, from multipliers"),
        "from_differences": _described(differences, per, f"{told}, from neighbouring cases"),
        "difference": _described(multipliers - differences, per, f"{told}, multipliers less neighbouring cases"),
    }
    return xr.Dataset(found, attrs={**_origin(sweep, "cost"), "axis": axis})


def nearest_case(dataset: xr.Dataset, wanted: Mapping[str, float | str]) -> xr.Dataset:
    """The dataset at the case nearest to levels wanted [file units], with the coordinate `distance_from_wanted` [-].

    Raises
    ------
    InputFault
        The dataset is no sweep, nothing is wanted, an axis or an unordered level is unknown, or no case has those.

    Notes
    -----
    The case may be unsolved. The distance is the root of the sum of squares over the ordered axes, each in parts of
    the range of its stored levels; levels of unordered axes must be met exactly. An axis not named, or with one level,
    does not count. Of cases equally near the first is taken: in a grid, at the first level of each axis left out.
    """
    sweep = _sweep(dataset)
    if not wanted:
        raise _fault("wanted", "is empty", f"a level of {', '.join(sweep.axes)}")
    faults = [fault for axis, level in wanted.items() for fault in _level_faults(sweep, axis, level)]
    if faults:
        raise InputFault(faults)
    square, is_met = xr.DataArray(0.0), xr.DataArray(np.array(True))
    for axis, level in wanted.items():
        if not _is_ordered(dataset[axis]):
            is_met = is_met & (dataset[axis] == level)
        elif (span := float(np.ptp(_numbers(dataset[axis])))) > 0.0:
            square = square + ((dataset[axis] - float(level)) / span) ** 2
    square = square.where(is_met).transpose(*sweep.dims, missing_dims="ignore")
    if not bool(square.notnull().any()):
        levels = " and ".join(f"{axis} {level!r}" for axis, level in wanted.items() if not _is_ordered(dataset[axis]))
        raise _fault("wanted", f"no case has {levels}", "levels that occur together")
    places = np.unravel_index(int(np.nanargmin(square.to_numpy())), square.shape)
    at = dict.fromkeys(sweep.dims, 0) | {str(dim): int(place) for dim, place in zip(square.dims, places, strict=True)}
    case = dataset.isel(at)
    told = {"units": "1", "long_name": "distance from the levels wanted, in ranges of axes"}
    case.coords["distance_from_wanted"] = ((), math.sqrt(float(square.min())), told)
    return case


def percentiles(
    dataset: xr.Dataset, variable: str, shares: Sequence[float] = (5.0, 25.0, 50.0, 75.0, 95.0), by: str | None = None
) -> xr.Dataset:
    """Percentiles of a variable over the solved cases, of all of them or by level of one axis.

    Returns
    -------
    The variable [SI] over `share` [%] and the axis, not a number where no case is solved; `count` [-] of solved cases.

    Raises
    ------
    InputFault
        The dataset is no sweep, has no such variable or axis, or a share is not between 0 and 100.

    Notes
    -----
    Interpolated between neighbouring cases: definition 7 of Hyndman and Fan (1996), The American Statistician 50,
    361-365. Levels are gathered as in `main_effects`.
    """
    sweep = _sweep(dataset)
    parts = np.asarray(shares, dtype=np.float64)
    if not parts.size or not np.all((parts >= 0.0) & (parts <= 100.0)):
        raise _fault("shares", f"got {', '.join(map(str, shares)) or 'none'}", "percentages from 0 to 100")
    if by is not None:
        _known("by", by, sweep.axes)
    answers, axis = _answers(sweep, variable), by or ""
    found = _gathered(sweep, answers, axis, lambda values: _percentiles(values, parts)).rename(part="share")
    table = {variable: found.assign_attrs(answers.attrs), "count": _count(_gathered(sweep, answers, axis, _moments))}
    share = ("share", parts, {"units": "%", "long_name": "part of the cases that lies below"})
    return xr.Dataset(table, coords={"share": share}, attrs=_origin(sweep, variable))


@dataclass(frozen=True)
class _Sweep:
    """A stored sweep, and what it says of its axes, the dimensions of its cases and how these were chosen."""

    dataset: xr.Dataset
    axes: tuple[str, ...]
    dims: tuple[str, ...]
    kind: str
    count: int
    seed: int


def _sweep(dataset: xr.Dataset) -> _Sweep:
    lacking = [name for name in ("axes", "sampling", "status") if name not in {*dataset.attrs, *dataset.data_vars}]
    if lacking:
        raise _fault(lacking[0], "missing", "a stored sweep")
    axes: list[str] = json.loads(dataset.attrs["axes"])
    sampling: dict[str, str | int | None] = json.loads(dataset.attrs["sampling"])
    kind, count, seed = str(sampling["kind"]), int(sampling.get("count") or 0), int(sampling.get("seed") or 0)
    return _Sweep(dataset, tuple(axes), tuple(axes) if kind == "grid" else ("case",), kind, count, seed)


def _fault(key: str, given: str, allowed: str) -> InputFault:
    return InputFault([Fault("", key, given, allowed)])


def _unknown(key: str, given: float | str, known: Sequence[str]) -> Fault:
    near = get_close_matches(str(given), known, n=1, cutoff=0.5)
    listed = f"{', '.join(known[:20]) or 'none'}{', …' if len(known) > 20 else ''}"
    return Fault("", key, f"got {given!r}", f"one of {listed}{f'; nearest is {near[0]!r}' if near else ''}")


def _known(key: str, given: str, known: Sequence[str]) -> None:
    if given not in known:
        raise InputFault([_unknown(key, given, known)])


def _level_faults(sweep: _Sweep, axis: str, level: float | str) -> list[Fault]:
    if axis not in sweep.axes:
        return [_unknown("wanted", axis, sweep.axes)]
    if _is_ordered(sweep.dataset[axis]):
        is_number = not isinstance(level, str) and math.isfinite(level)
        return [] if is_number else [Fault("", f"wanted.{axis}", f"got {level!r}", "a number")]
    levels: list[float | str] = np.unique(sweep.dataset[axis].to_numpy()).tolist()
    return [] if level in levels else [_unknown(f"wanted.{axis}", level, [str(known) for known in levels])]


def _is_ordered(axis: xr.DataArray) -> bool:
    """Whether levels are numbers between which others lie: only these are stored with a unit."""
    return "units" in axis.attrs


def _numbers(axis: xr.DataArray) -> Array:
    return axis.to_numpy().astype(np.float64)


def _title(values: xr.DataArray) -> str:
    return str(values.attrs.get("long_name", values.name))


def _unit(values: xr.DataArray) -> str:
    """Unit as it is stored; that of a flag is 1, and none where it is not the same throughout."""
    return str(values.attrs.get("units", "1" if "flag_values" in values.attrs else ""))


def _described(values: xr.DataArray, unit: str, long_name: str) -> xr.DataArray:
    return values.drop_attrs(deep=False).assign_attrs({"units": unit} if unit else {}, long_name=long_name)


def _count(moments: xr.DataArray) -> xr.DataArray:
    count = moments.isel(part=2)
    return _described(count.copy(data=count.to_numpy().astype(np.int64)), "1", "number of solved cases")


def _origin(sweep: _Sweep, variable: str) -> dict[str, str]:
    return {"variable": variable, **{name: sweep.dataset.attrs[name] for name in ("axes", "sampling")}}


def _coordinates(sweep: _Sweep, kept: Sequence[Hashable]) -> dict[str, xr.DataArray]:
    along = {str(name): sweep.dataset[name] for name in sweep.dataset.coords}
    return {name: values for name, values in along.items() if values.dims and set(values.dims) <= set(kept)}


def _answers(sweep: _Sweep, variable: str) -> xr.DataArray:
    """A variable as numbers, its cases first; not a number where the case was not solved."""
    table = sweep.dataset.drop_vars("status").data_vars.items()
    known = [str(n) for n, v in table if v.dtype.kind in "fiub" and set(sweep.dims) <= set(v.dims)]
    _known("variable", variable, known)
    values = sweep.dataset[variable]
    solved = values.copy(data=_numbers(values)).where(sweep.dataset["status"] == 0).transpose(*sweep.dims, ...)
    # whole numbers are counts and flags, in which -1 stands for no answer
    return solved.where(solved >= 0.0) if values.dtype.kind in "iu" else solved


def _flat(sweep: _Sweep, answers: xr.DataArray) -> tuple[Array, tuple[Hashable, ...], tuple[int, ...]]:
    """Values (cases, all the rest), and the dimensions and lengths of the rest."""
    cases = len(sweep.dims)
    return answers.to_numpy().reshape(sweep.dataset["status"].size, -1), answers.dims[cases:], answers.shape[cases:]


def _groups(sweep: _Sweep, axis: str) -> tuple[dict[str, xr.DataArray], list[NDArray[np.intp]]]:
    """Coordinates and numbers of the cases by level of an axis, or by bins of it; in one group if no axis is named."""
    if not axis:
        return {}, [np.arange(sweep.dataset["status"].size)]
    levels = sweep.dataset[axis]
    if sweep.kind == "grid":
        shape = [sweep.dataset.sizes[dim] for dim in sweep.dims]
        cases = np.moveaxis(np.arange(math.prod(shape)).reshape(shape), sweep.axes.index(axis), 0)
        return {axis: levels}, list(cases.reshape(levels.size, -1))
    if not _is_ordered(levels):
        distinct, place = np.unique(levels.to_numpy(), return_inverse=True)
        return {axis: xr.DataArray(distinct, dims=axis, attrs=levels.attrs)}, _members(place)
    drawn = _numbers(levels)
    members = _members(np.searchsorted(np.sort(drawn), drawn) * _BINS // drawn.size)
    lower, upper, mean = (np.array([find(drawn[group]) for group in members]) for find in (np.min, np.max, np.mean))
    ends = {axis: np.clip(mean, lower, upper), f"{axis}_lower": lower, f"{axis}_upper": upper}
    return {name: xr.DataArray(end, dims=axis, attrs=levels.attrs) for name, end in ends.items()}, members


def _members(group: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Numbers of the cases of each group that has any."""
    order = np.argsort(group, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(group[order])) + 1)


def _gathered(sweep: _Sweep, answers: xr.DataArray, by: str, reduce: Callable[[Array], Array]) -> xr.DataArray:
    """What `reduce` makes of each group's values (cases, rest), over its `part`, the groups and the rest."""
    flat, kept, rest = _flat(sweep, answers)
    coordinates, members = _groups(sweep, by)
    found = np.stack([reduce(flat[group]) for group in members], axis=1)
    dims, lengths = (("part", by, *kept), (-1, len(members), *rest)) if by else (("part", *kept), (-1, *rest))
    return xr.DataArray(found.reshape(lengths), dims=dims, coords={**coordinates, **_coordinates(sweep, kept)})


def _moments(values: Array) -> Array:
    """Mean, standard deviation and count of each column, the first two not a number where it has no value."""
    count = np.count_nonzero(~np.isnan(values), axis=0)
    by = np.where(count > 0, count, np.nan)
    mean = np.nansum(values, axis=0) / by
    return np.stack([mean, np.sqrt(np.nansum((values - mean) ** 2, axis=0) / by), count])


def _percentiles(values: Array, shares: Array) -> Array:
    """Percentiles of each column (shares, columns), not a number where it has no value."""
    solved = [column[~np.isnan(column)] for column in values.T]
    return np.stack([np.percentile(column if column.size else [np.nan], shares) for column in solved], axis=1)


def _decomposed(sweep: _Sweep, flat: Array) -> Array:
    """First and total order (2, axes, rest) of a complete grid."""
    values = flat.reshape(*(sweep.dataset.sizes[axis] for axis in sweep.axes), -1)
    axes = tuple(range(len(sweep.axes)))
    centred = values - values.mean(axis=axes)
    first = [(centred.mean(axis=tuple(other for other in axes if other != axis)) ** 2).mean(axis=0) for axis in axes]
    total = [((centred - centred.mean(axis=axis, keepdims=True)) ** 2).mean(axis=axes) for axis in axes]
    variance = np.where(np.ptp(values, axis=axes) > 0.0, (centred**2).mean(axis=axes), np.nan)
    return np.stack([np.stack(first), np.stack(total)]) / variance


def _estimated(sweep: _Sweep, flat: Array) -> Array:
    """First and total order (3, 2, axes, rest): the estimate, and the low and high end of its interval."""
    draw, number, rows = sweep.dataset["draw"].to_numpy(), len(sweep.axes) + 2, sweep.count
    if rows < 2 or not np.array_equal(np.sort(draw), np.arange(number * rows)):
        raise _fault("draw", f"got {draw.size} draws", f"all of {number} blocks of {rows}, at least 2 in each")
    blocks = flat[np.argsort(draw)].reshape(number, rows, -1)
    chance = np.random.default_rng([sweep.seed, _RESAMPLES])
    again = np.stack([_estimate(blocks[:, chance.integers(rows, size=rows)]) for _ in range(_RESAMPLES)])
    ends = np.quantile(again, [0.5 - _CONFIDENCE / 2.0, 0.5 + _CONFIDENCE / 2.0], axis=0)
    found = np.concatenate([_estimate(blocks)[None], ends])
    return np.where(np.ptp(blocks, axis=(0, 1)) > 0.0, found, np.nan)


def _estimate(blocks: Array) -> Array:
    """First and total order (2, axes, rest) of the blocks A, B, AB... (blocks, rows, rest)."""
    axes, columns = blocks.shape[0] - 2, blocks.shape[2]
    # a single index would be squeezed to a plain number, which the estimator cannot fill
    twice = np.concatenate([blocks, blocks], axis=2) if axes * columns == 1 else blocks
    a, b, *ab = np.moveaxis(twice, 2, 1)
    found = stats.sobol_indices(func={"f_A": a, "f_B": b, "f_AB": np.stack(ab)}, n=blocks.shape[1])
    both = np.stack([found.first_order, found.total_order]).reshape(2, -1, axes)
    return np.moveaxis(both[:, :columns], 2, 1)
