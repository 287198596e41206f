"""Whether the glide path can be captured from above from where a flight is, how, and until where it can be begun."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.results.files import csv_text, write_text
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.schema import Column
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Plain = dict[str, Any]
_COLUMNS = (
    Column("distance_to_go", "m", "distance to go to the threshold", "nm"),
    Column("height_above_threshold", "m", "geopotential height above the threshold", "ft"),
    Column("above_path", "m", "height above the glide path", "ft"),
    Column("calibrated_airspeed", "m s-1", "calibrated airspeed", "kt"),
    Column("sink", "m s-1", "sink rate towards the next point", "ft_per_min"),
    Column("flaps", "1", "step of slats and flaps selected", ""),
    Column("gear", "1", "gear, up (0) or selected down (1)", ""),
)
PLAN_COLUMNS = {column.name: column for column in _COLUMNS}
"""Every variable of a planned descent by name, over `point`, from where the flight is to the gate."""


def plan_dataset(columns: Mapping[str, Array]) -> xr.Dataset:
    """Dataset of a planned descent from columns (point,) [SI].

    Raises
    ------
    ValueError
        The columns are not those of the schema.
    """
    if set(columns) != set(PLAN_COLUMNS):
        raise ValueError(f"columns differ from the schema: {sorted(set(columns) ^ set(PLAN_COLUMNS))}")
    return xr.Dataset(
        {
            name: ("point", np.asarray(columns[name], dtype=float), {"units": one.unit, "long_name": one.long_name})
            for name, one in PLAN_COLUMNS.items()
        }
    )


@dataclass(frozen=True)
class Situation:
    """Where a flight is: distance to go [m], height above the threshold [m], calibrated airspeed [m/s], mass [kg].

    `flaps` is the step that is out, `gear` whether it is down (1) [-].
    """

    distance_to_go: float
    height: float
    speed: float
    mass: float
    flaps: int
    gear: int


@dataclass(frozen=True, repr=False)
class FromAbove:
    """A capture from above, or that there is none [SI].

    Parameters
    ----------
    situation : Situation
        From where it is asked.
    above_path, is_on_path : float, bool
        Height above the glide path there [m], and whether that is so little that the flight is on it.
    lowest_capture : float
        Height above the threshold [m] below which the path is not captured.
    gate_height : float
        Height of the gate [m].
    devices : str
        The fewest devices that do, by the name of their set; empty if none do.
    too_high : float
        Height [m] above the highest from which it can be begun with everything; not a number where there is none.
    capture_distance, capture_height : float
        Where the planned descent is on the path to stay: distance to go [m], height above the threshold [m].
    gear_distance : float
        Where the gear is selected [m to go]; where the flight is, if it is down.
    largest_sink, largest_sink_again : float
        Largest sink rate before capture [m/s]: planned, and when the plan is flown again with its lags.
    excess_again : float
        Energy height at the gate [m] above the most allowed when the plan is flown again.
    abandon_by : float
        Distance to go [m] to which the flight may go on at this height above the path and this speed, and still begin,
        with everything.
    plan : Dataset
        The planned descent: see `PLAN_COLUMNS`; no points if there is none.
    reason : str
        What the descent with everything did not keep when it was flown again; empty if it was kept, or never flown.
    """

    situation: Situation
    above_path: float
    is_on_path: bool
    lowest_capture: float
    gate_height: float
    devices: str
    too_high: float
    capture_distance: float
    capture_height: float
    gear_distance: float
    largest_sink: float
    largest_sink_again: float
    excess_again: float
    abandon_by: float
    plan: xr.Dataset
    provenance: Provenance
    reason: str

    @property
    def is_possible(self) -> bool:
        """Whether the path can be captured and the gate be met."""
        return bool(self.devices)

    @property
    def sentence(self) -> str:
        """What it says to a pilot."""
        situation = self.situation
        where = f"At {_miles(situation.distance_to_go)} to go and {situation.speed / KNOT:.0f} kt, "
        where += "on the glide path" if self.is_on_path else f"{_feet(self.above_path)} above the glide path"
        if not self.is_possible:
            why = "" if np.isnan(self.too_high) else f" ({_feet(self.too_high)} too high)"
            if self.reason:
                return f"{where}: with everything it is not kept when it is flown ({self.reason}); abandon"
            if self.is_on_path:
                return f"{where}: the gate at {_feet(self.gate_height)} cannot be met with everything; abandon"
            return (
                f"{where}: it cannot be captured by {_feet(self.lowest_capture)} and the gate at "
                f"{_feet(self.gate_height)} be met, not even with everything{why}; abandon"
            )
        gear = "gear is down" if situation.gear else f"gear by {_miles(self.gear_distance)}"
        until = f"abandon if not begun by {_miles(self.abandon_by)}"
        if self.is_on_path:
            return f"{where}: the gate at {_feet(self.gate_height)} can be met with {self.devices}, {gear}; {until}"
        return (
            f"{where}: capture from above with {self.devices}, {gear}, on the path at "
            f"{_miles(self.capture_distance)} and {_feet(self.capture_height)}, sink up to "
            f"{round(self.largest_sink / FOOT_PER_MINUTE, -1):.0f} ft/min; {until}"
        )

    def __repr__(self) -> str:
        return f"FromAbove({self.sentence})"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card("Capture from above", self.provenance, self.plan, [self.sentence])

    def column(self, name: str) -> Array:
        """Values (point,) of a column of the plan [SI]."""
        return np.asarray(self.plan[name].to_numpy(), dtype=float)

    def to_csv(self, path: Path) -> None:
        """Write the planned descent as CSV, with comment lines of provenance, sentence and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        comments = (self.provenance.source, self.sentence, CAUTION)
        write_text(path, csv_text(comments, list(_keys()), from_above_plain(self)["plan"]))


def from_above_plain(found: FromAbove) -> Plain:
    """A capture from above as a plain dictionary for JSON; keys carry their unit [nm, ft, kt, kg, ft/min]."""
    situation = found.situation
    columns = [found.column(name) / one.chart_unit.factor for name, one in PLAN_COLUMNS.items()]
    return {
        "scenario": {"title": found.provenance.title, "digest": found.provenance.scenario_digest},
        "from": {
            "distance_nm": _number(situation.distance_to_go / NAUTICAL_MILE, 2),
            "height_ft": _number(situation.height / FOOT, 0),
            "above_path_ft": _number(found.above_path / FOOT, 0),
            "speed_kt": _number(situation.speed / KNOT, 1),
            "mass_kg": _number(situation.mass, 0),
            "flaps": situation.flaps,
            "gear": situation.gear,
        },
        "possible": found.is_possible,
        "devices": found.devices or None,
        "reason": found.reason or None,
        "too_high_ft": _number(found.too_high / FOOT, 0),
        "capture_nm": _number(found.capture_distance / NAUTICAL_MILE, 2),
        "capture_ft": _number(found.capture_height / FOOT, 0),
        "gear_nm": _number(found.gear_distance / NAUTICAL_MILE, 2),
        "largest_sink_ft_per_min": _number(found.largest_sink / FOOT_PER_MINUTE, 0),
        "largest_sink_again_ft_per_min": _number(found.largest_sink_again / FOOT_PER_MINUTE, 0),
        "excess_again_ft": _number(found.excess_again / FOOT, 0),
        "abandon_by_nm": _number(found.abandon_by / NAUTICAL_MILE, 2),
        "sentence": found.sentence,
        "plan": [
            {key: _number(float(value), 2) for key, value in zip(_keys(), row, strict=True)}
            for row in zip(*columns, strict=True)
        ],
        "caution": CAUTION,
    }


def _keys() -> list[str]:
    """Names of the plan's columns with the suffix of their unit."""
    return [f"{name}_{one.charted}" if one.charted else name for name, one in PLAN_COLUMNS.items()]


def _number(value: float, digits: int) -> float | None:
    return None if np.isnan(value) else round(value, digits) + 0.0


def _miles(distance: float) -> str:
    return f"{distance / NAUTICAL_MILE:.1f} nm"


def _feet(height: float) -> str:
    return f"{round(height / FOOT, -1) + 0.0:.0f} ft"
