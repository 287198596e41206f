"""The numbers of one airframe that figures show: drag, idle and operating speeds, as one small dataset."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from optdescent.results.provenance import Provenance
from optdescent.results.schema import Column

_COLUMNS = (
    Column("lift_coefficient", "1", "lift coefficient", ""),
    Column("drag_coefficient", "1", "drag coefficient below the drag rise", ""),
    Column("best_lift_over_drag", "1", "best lift over drag below the drag rise", ""),
    Column("best_lift_coefficient", "1", "lift coefficient at the best lift over drag", ""),
    Column("pressure_altitude", "m", "pressure altitude", "ft"),
    Column("mach", "1", "Mach number", ""),
    Column("idle_thrust", "N", "idle net thrust of all engines", "kn"),
    Column("idle_flow", "kg s-1", "idle fuel flow of all engines", "kg_per_min"),
    Column("mass", "kg", "mass", "t"),
    Column("stall_speed", "m s-1", "stall speed at one g, equivalent", "kt"),
    Column("manoeuvre_speed", "m s-1", "least manoeuvring speed, calibrated", "kt"),
    Column("selection_speed", "m s-1", "calibrated airspeed at which the schedule selects the step", "kt"),
    Column("limit_speed", "m s-1", "largest calibrated airspeed with the step out", "kt"),
    Column("gear_limit_speed", "m s-1", "largest calibrated airspeed with the gear out", "kt"),
    Column("brake_limit_speed", "m s-1", "largest calibrated airspeed with the speed brake out", "kt"),
    Column("largest_landing_mass", "kg", "largest landing mass", "t"),
)
AIRFRAME_COLUMNS = {column.name: column for column in _COLUMNS}
"""Every variable and numeric coordinate by name; `configuration`, `idle` and `step` are coordinates of names."""
DIMENSIONS: dict[str, tuple[str, ...]] = {
    "drag_coefficient": ("configuration", "lift_coefficient"),
    "best_lift_over_drag": ("configuration",),
    "best_lift_coefficient": ("configuration",),
    "idle_thrust": ("idle", "mach", "pressure_altitude"),
    "idle_flow": ("idle", "mach", "pressure_altitude"),
    "stall_speed": ("step", "mass"),
    "manoeuvre_speed": ("step", "mass"),
    "selection_speed": ("step", "mass"),
    "limit_speed": ("step",),
    "gear_limit_speed": (),
    "brake_limit_speed": (),
    "largest_landing_mass": (),
}
"""Dimensions of each variable. What is not flown is not a number: lift beyond the largest, speed beyond the limit."""
COORDINATES = ("configuration", "lift_coefficient", "idle", "mach", "pressure_altitude", "step", "mass")


@dataclass(frozen=True)
class AirframeNumbers:
    """Numbers of one airframe over configuration, lift, altitude, Mach number and mass, and where they are from."""

    dataset: xr.Dataset
    provenance: Provenance

    @classmethod
    def of(
        cls, values: Mapping[str, ArrayLike], coordinates: Mapping[str, ArrayLike], provenance: Provenance
    ) -> AirframeNumbers:
        """Numbers [SI] by the names of the schema, in the order of its dimensions.

        Raises
        ------
        ValueError
            A name that the schema does not have, or one that it has and is absent.
        """
        wrong = (set(values) ^ set(DIMENSIONS)) | (set(coordinates) ^ set(COORDINATES))
        if wrong:
            raise ValueError(f"names differ from the schema: {sorted(wrong)}")
        variables = {name: (DIMENSIONS[name], np.asarray(value), _attributes(name)) for name, value in values.items()}
        named = {name: ((name,), np.asarray(value), _attributes(name)) for name, value in coordinates.items()}
        return cls(xr.Dataset(variables, coords=named), provenance)

    def charted(self, name: str) -> NDArray[np.float64]:
        """Values of a variable or numeric coordinate in the unit of charts [see `AIRFRAME_COLUMNS`]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float) / AIRFRAME_COLUMNS[name].chart_unit.factor

    def names(self, coordinate: str) -> tuple[str, ...]:
        """Names along `configuration`, `idle` or `step`."""
        return tuple(str(name) for name in self.dataset[coordinate].to_numpy())


def _attributes(name: str) -> dict[str, Any]:
    column = AIRFRAME_COLUMNS.get(name)
    return {} if column is None else {"units": column.unit, "long_name": column.long_name}
