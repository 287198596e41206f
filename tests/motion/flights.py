"""Datasets of a flight that keeps every demand, to be spoilt one column at a time."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.airframe.speeds import reference_speed, selected_on_schedule
from optdescent.motion.verdict import breaches
from optdescent.results import Breach
from optdescent.results.flight import flight_dataset
from optdescent.results.schema import COLUMNS
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.scenario.files import scenario

SCENARIO: Scenario = scenario("air.wind.kind=none")
"""Windows at 60 nm (16 000 to 22 000 ft) and 30 nm (7000 to 10 000 ft); airport at 600 ft; standard setting."""
MASS = 60000.0
TARGET = float(reference_speed(SCENARIO.airframe, MASS)) + SCENARIO.arrival.gate.speed_above_reference
SINK = 700.0 * FOOT_PER_MINUTE
Columns = dict[str, NDArray[np.float64]]


def good_columns() -> Columns:
    """A made-up flight: cruise, a straight descent to 3000 ft above the threshold, level, glide path; not flown."""
    to_go = np.linspace(160.0, 0.0, 1601) * NAUTICAL_MILE
    path = SCENARIO.arrival.glide_path
    on_path = np.asarray(path.height(-to_go), dtype=float)
    profile = np.interp(
        to_go / NAUTICAL_MILE, [10.2, 30.0, 60.0, 110.0], np.array([3000.0, 8000.0, 18000.0, 34400.0]) * FOOT
    )
    height = np.where(to_go <= path.below_within, np.minimum(on_path, 3000.0 * FOOT), profile)
    speed = np.interp(to_go / NAUTICAL_MILE, [4.0, 12.0, 28.0, 40.0, 60.0], [TARGET / KNOT, 170.0, 230.0, 250.0, 280.0])
    out = selected_on_schedule(SCENARIO.airframe, speed * KNOT, np.full(to_go.size, MASS))
    flaps = np.asarray(out.position, dtype=float)
    columns = {name: np.zeros(to_go.size) for name in COLUMNS}
    return columns | {
        "distance_to_go": to_go,
        "time": np.linspace(0.0, 1500.0, to_go.size),
        "height_above_threshold": height,
        "altitude": height + SCENARIO.arrival.elevation,
        "pressure_altitude": height + SCENARIO.arrival.elevation,
        "calibrated_airspeed": speed * KNOT,
        "limit_speed": np.full(to_go.size, 300.0 * KNOT),
        "vertical_speed": np.full(to_go.size, -SINK),
        "ground_speed": np.full(to_go.size, SINK / path.gradient),
        "flight_path_angle": np.full(to_go.size, -path.angle),
        "load_factor": np.ones(to_go.size),
        "mass": np.full(to_go.size, MASS),
        "flaps": flaps,
        "configuration": flaps,
        "gear": np.asarray(out.gear, dtype=float),
        "reference_speed": np.full(to_go.size, float(reference_speed(SCENARIO.airframe, MASS))),
    }


def dataset_of(columns: Columns) -> xr.Dataset:
    """Dataset with the names of the steps."""
    return flight_dataset(columns, tuple(step.name for step in SCENARIO.airframe.steps))


def near(columns: Columns, distance: float, half_width: float = 0.5) -> NDArray[np.bool_]:
    """Points within half a width [nm] of a distance to go [nm]."""
    return np.abs(columns["distance_to_go"] / NAUTICAL_MILE - distance) < half_width


def above(columns: Columns, low: float, high: float) -> NDArray[np.bool_]:
    """Points between two heights above the threshold [ft]."""
    height = columns["height_above_threshold"] / FOOT
    return (height > low) & (height < high)


def raise_by(columns: Columns, where: NDArray[np.bool_], feet: float | NDArray[np.float64]) -> None:
    """Move the flight up [ft] at some points; the vertical speed stays."""
    for name in ("altitude", "pressure_altitude", "height_above_threshold"):
        columns[name] = columns[name] + np.where(where, feet * FOOT, 0.0)


def found(spoil: Callable[[Columns], None], *settings: str) -> dict[str, Breach]:
    """Breaches by demand of a spoilt flight; every other demand stays kept."""
    columns = good_columns()
    spoil(columns)
    asked = scenario("air.wind.kind=none", *settings)
    return {breach.demand: breach for breach in breaches(asked, dataset_of(columns))}


def nothing(_columns: Columns) -> None:
    """Spoil nothing."""


def put(name: str, value: float, where: Callable[[Columns], NDArray[np.bool_]]) -> Callable[[Columns], None]:
    """Put a value [SI] into a column at some points."""

    def spoil(columns: Columns) -> None:
        columns[name] = np.where(where(columns), value, columns[name])

    return spoil


def anywhere(columns: Columns) -> NDArray[np.bool_]:
    """All points."""
    return np.ones(columns["time"].size, dtype=bool)
