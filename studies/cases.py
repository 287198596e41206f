"""What a sweep answers, in the units of the trade, as the page of a study names it."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.corridor.ground import ground_of
from optdescent.results.sweep import CHARTED
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE, UNITS

Array = NDArray[np.float64]
_SAME_NM = 0.02
"""A distance to go that is told is rounded; a place within this is the one meant [nm]."""


def cases_plain(dataset: xr.Dataset) -> list[dict[str, Any]]:
    """Levels, numbers of the optimum, its slopes, kept flights and rules of every case [units in the keys].

    Of a grid only: the cases of a sample are answers together, not one by one.
    """
    over = [str(name) for name in dataset["status"].dims]
    if over == ["case"]:
        return []
    size = dataset["status"].size
    levels = {name: dataset[name].broadcast_like(dataset["status"]).to_numpy().ravel() for name in over}
    columns = {name: _flat(values, over, size) for name, values in dataset.data_vars.items()}
    rules = [str(name) for name in dataset["rule"].to_numpy()] if "rule" in dataset.dims else []
    places = dataset["distance_to_go"].to_numpy() / NAUTICAL_MILE if "distance_to_go" in dataset.dims else []
    found: list[dict[str, Any]] = []
    for number in range(size):
        row: dict[str, Any] = {name: _plain(own[number]) for name, own in levels.items()}
        row["solved"] = int(dataset["status"].to_numpy().ravel()[number]) == 0
        row |= {_key(dataset[name]): _plain(own[number]) for name, own in columns.items() if own.ndim == 1}
        if "cost_per" in dataset:
            quantities = dataset["quantity"].to_numpy()
            row["cost_per"] = {
                str(q).partition(" [")[0]: _plain(v)
                for q, v in zip(quantities, columns["cost_per"][number], strict=True)
            }
        row |= {
            _key(dataset[name]): {f"{place:.0f}_nm": _plain(v) for place, v in zip(places, own[number], strict=True)}
            for name, own in columns.items()
            if dataset[name].dims[len(over) :] == ("distance_to_go",)
        }
        row["rules"] = [
            {"rule": rule}
            | {
                _key(dataset[name]): _plain(own[number, place])
                for name, own in columns.items()
                if "rule" in dataset[name].dims and own.ndim == 2
            }
            for place, rule in enumerate(rules)
        ]
        found.append(row)
    return found


def steps_told(scenario: Scenario, said: dict[str, Any]) -> list[dict[str, Any]]:
    """The last useful points that a corridor tells, with the step to the next place asked, nearer [units in the keys].

    Raises
    ------
    LookupError
        A point told is none of the places that are asked.
    """
    distances = sorted({point["distance_nm"] * NAUTICAL_MILE for point in said["points"]})
    places = ground_of(scenario, max(distances), distances).to_go / NAUTICAL_MILE
    return [
        {**flight, "last_useful": [{**row, "step_nm": _step(places, row)} for row in flight["last_useful"]]}
        for flight in said["last_useful"]
    ]


def _step(places: Array, row: dict[str, Any]) -> float | None:
    if row["distance_nm"] is None:
        return None
    found = np.flatnonzero(np.abs(places - row["distance_nm"]) < _SAME_NM)
    if found.size != 1:
        raise LookupError(f"{row['devices']}: {row['distance_nm']} nm is no place that is asked")
    at = int(found[0])
    return round(float(places[at] - places[max(at - 1, 0)]), 2)


def _flat(values: xr.DataArray, over: list[str], size: int) -> Any:
    """Values by case, and what other dimensions they have [units of the trade]; none of what has no cases."""
    if not set(over) <= set(values.dims):
        return np.empty((0, 0, 0))
    own = values.transpose(*over, ...).to_numpy()
    suffix = values.attrs.get(CHARTED)
    scaled = own / UNITS[suffix].factor if suffix else own
    return scaled.reshape(size, *own.shape[len(over) :])


def _key(values: xr.DataArray) -> str:
    suffix = values.attrs.get(CHARTED)
    return f"{values.name}_{suffix}" if suffix else str(values.name)


def _plain(value: Any) -> Any:
    if isinstance(value, str) or not np.isscalar(value):
        return str(value)
    number = float(value)
    return None if np.isnan(number) else float(f"{number:.6g}")
