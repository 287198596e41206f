"""Invented sweeps, optima that know their winds, and last useful points: numbers made up, computed by nothing."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import xarray as xr

from optdescent.results import Flight, Kind, Provenance, Slope, SolverRecord
from optdescent.results.last_action import LastAction, LastActions
from optdescent.results.sweep import CHARTED, Swept
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures.flights import flight

AXES = ("added_tailwind_kt", "mass_kg", "temperature_offset_k")
LEVELS = (np.linspace(-30.0, 30.0, 7), np.array([54000.0, 60000.0, 66000.0]), np.array([-15.0, 0.0, 15.0]))
UNITS = ("knot", "kg", "K")
WORDS = ("added tailwind", "mass at the start", "temperature above the standard")
RULES = ("three-to-one", "300-with-allowances")
BANDS = ((0, 5000), (5000, 10000), (10000, 20000), (20000, 30000), (30000, 50000))
SETS = ("idle and schedule", "speed brake", "early flaps", "early gear", "everything")


@cache
def swept(title: str = "Invented sweep", *, is_grid: bool = True, with_rules: bool = True) -> Swept:
    """Fuel and top of descent over three axes, and two rules that break in a tailwind; one case has no answer."""
    wind, mass, warm = np.meshgrid(*LEVELS, indexing="ij")
    fuel = 480.0 - 1.9 * wind + (mass - 60000.0) / 700.0 + 0.4 * warm + 0.01 * wind**2
    fuel[0, 0, 1] = np.nan
    top = (108.0 + 0.3 * wind + (mass - 60000.0) / 2500.0) * NAUTICAL_MILE
    stable = np.stack([wind < 12.0 + (mass - 60000.0) / 800.0, wind < 24.0], axis=-1).astype(np.int8)
    columns = {
        "fuel": (AXES, fuel, {"long_name": "fuel from the start to the threshold", "units": "kg", CHARTED: "kg"}),
        "top_of_descent": (AXES, top, {"long_name": "distance to go at the top", "units": "m", CHARTED: "nm"}),
        "status": (AXES, np.zeros(fuel.shape, dtype=np.int8), {}),
        "reason": (AXES, np.full(fuel.shape, "", dtype=object), {}),
    }
    if with_rules:
        rule_fuel = fuel[..., None] + np.array([20.0, 8.0])
        columns["rule_stable"] = ((*AXES, "rule"), stable, {})
        columns["rule_fuel"] = ((*AXES, "rule"), rule_fuel, {"long_name": "fuel", "units": "kg", CHARTED: "kg"})
    told = zip(AXES, LEVELS, WORDS, UNITS, strict=True)
    coordinates = {name: (name, own, {"long_name": said, "units": unit}) for name, own, said, unit in told}
    dataset = xr.Dataset(columns, coords={**coordinates, "rule": list(RULES)}, attrs={"axes": json.dumps(AXES)})
    if not is_grid:
        dataset = dataset.stack(case=AXES).reset_index("case").transpose(..., "case")
    return Swept(dataset, Provenance(title, "", "0123456789ab", of="study"))


@cache
def of_corridor(*, is_grid: bool = True) -> Swept:
    """A corridor alone: highest heights by devices at two places and speeds, over two axes; they fall with tailwind."""
    places, speeds = np.array([12.0, 16.0]) * NAUTICAL_MILE, np.array([170.0, 210.0]) * KNOT
    wind, mass, sets, place, speed = np.meshgrid(
        LEVELS[0], LEVELS[1], np.arange(float(len(SETS))), places, speeds, indexing="ij"
    )
    feet = 300.0 * place / NAUTICAL_MILE - 10.0 * wind + 200.0 * sets + (mass - 60000.0) / 60.0
    highest = (feet - 10.0 * (speed / KNOT - 170.0)) * FOOT
    axes = AXES[:2]
    told = {"long_name": "highest height", "units": "m", CHARTED: "ft"}
    columns = {
        "corridor_highest": ((*axes, "devices", "corridor_distance", "corridor_speed"), highest, told),
        "status": (axes, np.zeros(highest.shape[:2], dtype=np.int8), {}),
        "reason": (axes, np.full(highest.shape[:2], "", dtype=object), {}),
    }
    coordinates = {
        name: (name, own, {"long_name": said, "units": unit})
        for name, own, said, unit in (
            *zip(axes, LEVELS[:2], WORDS[:2], UNITS[:2], strict=True),
            ("devices", np.array(SETS, dtype=object), "drag devices", ""),
            ("corridor_distance", places, "distance to go, of the corridor", "m"),
            ("corridor_speed", speeds, "airspeed, of the corridor", "m s-1"),
        )
    }
    dataset = xr.Dataset(columns, coords=coordinates, attrs={"axes": json.dumps(axes)})
    if not is_grid:
        dataset = dataset.stack(case=axes).reset_index("case").transpose(..., "case")
    return Swept(dataset, Provenance("Invented corridor", "", "0123456789ab", of="study"))


def with_stored_texts(dataset: xr.Dataset) -> xr.Dataset:
    """A sweep with texts of variable length, as the package stores them."""
    texts = {
        name: own.astype(np.dtypes.StringDType()) for name, own in dataset.variables.items() if own.dtype.kind in "OU"
    }
    return dataset.assign(texts)


def store(path: Path, **attributes: str) -> None:
    """Write the sweep as the package stores one, texts of variable length; an attribute that is `-` is left out."""
    given = {"study": "{}", "title": "A sweep", "scenario": "", "scenario_digest": "0123456789ab"} | attributes
    stamped = with_stored_texts(swept().dataset).assign_attrs(given)
    stamped.attrs = {key: value for key, value in stamped.attrs.items() if value != "-"}
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Consolidated metadata is currently not part")
        stamped.to_zarr(path, consolidated=True, zarr_format=3)


def optimum(name: str = "optimum", *, factor: float = 1.0, title: str = "Invented descent") -> Flight:
    """An optimum with sensitivities to wind by height, made up."""
    slopes = [
        Slope(f"tailwind from {low} to {high} ft", "kt", 0.0, factor * fuel / KNOT, place * NAUTICAL_MILE / KNOT)
        for (low, high), fuel, place in zip(
            BANDS, (-0.42, -0.31, -0.55, -0.38, 0.09), (0.03, 0.05, 0.11, 0.12, -0.01), strict=True
        )
    ]
    whole = Slope("tailwind at every height", "kt", 0.0, -1.6 / KNOT, 0.3 * NAUTICAL_MILE / KNOT)
    record = SolverRecord(
        "made up", 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 0.0, 0.0, 0.0, (), (), (), (whole, *slopes)
    )  # fmt: skip
    own = flight(name, Kind.OPTIMUM, slope_ft_per_nm=295.0, title=title)
    high = own.dataset["height_above_threshold"] + 600.0 * FOOT
    return replace(own, solver=record, dataset=own.dataset.assign(altitude=high))


def last_useful(name: str = "three to one", *, nearer: float = 0.0) -> LastActions:
    """Five sets along a flight: one of no use, three with a last point, one enough to the gate."""
    nan = float("nan")
    rows = ((False, False, nan), (True, False, 17.5), (True, False, 13.2), (True, False, 12.1), (True, True, nan))
    actions = tuple(
        LastAction(
            devices, 1000.0 * FOOT, is_of_use, is_kept, (place - nearer) * NAUTICAL_MILE, 300.0 * place * FOOT,
            (150.0 + 5.0 * place) * KNOT, 1500.0 - 20.0 * place, nan, nan,
        )
        for devices, (is_of_use, is_kept, place) in zip(SETS, rows, strict=True)
    )  # fmt: skip
    return LastActions(name, actions, Provenance("Invented descent", "", "0123456789ab"))


def flown(name: str = "three to one", **shape: float) -> Flight:
    """The flight that last useful points are along."""
    return flight(name, Kind.RULE, **shape)  # type: ignore[arg-type]
