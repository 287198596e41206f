"""The main job: the optimum, each rule flown as a crew would, and what separates them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.motion.verdict import capture_index, gate_report
from optdescent.optimum import optimise
from optdescent.optimum.progress import Progress, silent
from optdescent.results import Flight, Provenance
from optdescent.results.margins import COORDINATES, MARGIN_COLUMNS, Margins
from optdescent.results.price import price
from optdescent.results.schema import Column
from optdescent.rules import Rule, fly
from optdescent.rules.fly import rule_heights
from optdescent.scenario import Scenario
from optdescent.units import FOOT, NAUTICAL_MILE

DISTANCES = tuple(distance * NAUTICAL_MILE for distance in (25.0, 20.0, 15.0, 10.0))
"""Distances to go [m] at which heights and energies are compared."""
HEIGHTS = (1000.0 * FOOT, 500.0 * FOOT)
"""Heights above the threshold [m] at which stability is judged, whatever the scenario's own gate."""

Array = NDArray[np.float64]


def margins(scenario: Scenario, rules: Sequence[Rule], progress: Progress | None = None) -> Margins:
    """Optimum and rules of a scenario, and the table of what separates them [SI].

    Raises
    ------
    DemandsConflict
        No descent meets the demands.
    NotConverged
        The optimum was not found.
    """
    say = progress or silent
    optimum = optimise(scenario, say)
    flights = [optimum]
    for rule in rules:
        say(f"flying {rule.name}")
        flights.append(fly(scenario, rule))
    provenance = Provenance(scenario.title, scenario.text, scenario.digest)
    return Margins(_table(scenario, tuple(rules), tuple(flights)), tuple(flights), provenance)


def _table(scenario: Scenario, rules: tuple[Rule, ...], flights: tuple[Flight, ...]) -> xr.Dataset:
    optimum = flights[0]
    summaries = [flight.summary for flight in flights]
    table: dict[str, tuple[tuple[str, ...], Any]] = {
        "fuel": (("flight",), [summary.fuel for summary in summaries]),
        "fuel_above_optimum": (("flight",), [price(flight, optimum) for flight in flights]),
        "cost_above_optimum": (("flight",), [price(flight, optimum, scenario.cost.time) for flight in flights]),
        "time": (("flight",), [summary.time for summary in summaries]),
        "top_of_descent": (("flight",), [summary.top_of_descent for summary in summaries]),
        "thrust_distance": (("flight",), [summary.thrust_distance for summary in summaries]),
        "thrust_fuel": (("flight",), [summary.thrust_fuel for summary in summaries]),
        "brake_distance": (("flight",), [summary.brake_distance for summary in summaries]),
        "height": (("flight", "at_distance"), [_at(flight, "height_above_threshold") for flight in flights]),
        "excess_energy": (("flight", "at_distance"), [_excess_energy(flight, optimum) for flight in flights]),
        "height_against_rule": (
            ("flight", "rule", "at_distance"),
            [[_against(scenario, rule, flight) for rule in rules] for flight in flights],
        ),
        **_captures(scenario, flights),
        **_gates(scenario, flights),
        "limits_kept": (("flight",), [float(summary.keeps_every_limit) for summary in summaries]),
        "breaches": (("flight",), [_joined(breach.sentence for breach in s.breaches) for s in summaries]),
    }
    coordinates = {
        "flight": [flight.name for flight in flights],
        "rule": [rule.name for rule in rules],
        "at_distance": ("at_distance", list(DISTANCES), _attributes(COORDINATES["at_distance"])),
        "at_height": ("at_height", list(HEIGHTS), _attributes(COORDINATES["at_height"])),
        "rule_title": ("rule", [rule.title for rule in rules]),
        "rule_source": ("rule", [rule.source for rule in rules]),
    }
    dataset = xr.Dataset(table, coords=coordinates)
    for name, column in MARGIN_COLUMNS.items():
        dataset[name].attrs = _attributes(column)
    return dataset


def _attributes(column: Column) -> dict[str, str]:
    return {"units": column.unit, "long_name": column.long_name}


def _joined(sentences: Iterable[str]) -> str:
    return "; ".join(sentences)


def _at(flight: Flight, name: str) -> Array:
    """A column of a flight at the compared distances [SI]; not a number where the flight does not reach."""
    x = -flight.column("distance_to_go")
    return np.interp(-np.array(DISTANCES), x, flight.column(name), left=np.nan, right=np.nan)


def _excess_energy(flight: Flight, optimum: Flight) -> Array:
    return _at(flight, "specific_energy_height") - _at(optimum, "specific_energy_height")


def _against(scenario: Scenario, rule: Rule, flight: Flight) -> Array:
    """Height of a flight above what a rule asks for where the flight is, in the wind it meets there [m]."""
    asked = rule_heights(scenario, rule, flight)
    x = -flight.column("distance_to_go")
    return _at(flight, "height_above_threshold") - np.interp(-np.array(DISTANCES), x, asked, left=np.nan, right=np.nan)


def _captures(scenario: Scenario, flights: tuple[Flight, ...]) -> dict[str, tuple[tuple[str, ...], Any]]:
    sources = {
        "capture_distance": "distance_to_go",
        "capture_height": "height_above_threshold",
        "capture_speed": "calibrated_airspeed",
        "capture_flaps": "flaps",
        "capture_gear": "gear",
    }
    found = [capture_index(scenario, flight.dataset) for flight in flights]
    return {
        name: (
            ("flight",),
            [
                np.nan if index is None else flight.column(source)[index]
                for flight, index in zip(flights, found, strict=True)
            ],
        )
        for name, source in sources.items()
    }


def _gates(scenario: Scenario, flights: tuple[Flight, ...]) -> dict[str, tuple[tuple[str, ...], Any]]:
    reports = [[gate_report(scenario, flight.dataset, height) for height in HEIGHTS] for flight in flights]
    dims = ("flight", "at_height")
    return {
        "gate_speed": (dims, [[r.calibrated_airspeed for r in row] for row in reports]),
        "gate_above_reference": (dims, [[r.calibrated_airspeed - r.reference_speed for r in row] for row in reports]),
        "gate_sink": (dims, [[r.sink for r in row] for row in reports]),
        "gate_off_path": (dims, [[r.off_path for r in row] for row in reports]),
        "gate_flaps": (dims, [[r.flaps for r in row] for row in reports]),
        "gate_gear": (dims, [[r.gear for r in row] for row in reports]),
        "gate_stable": (dims, [[float(r.stable) for r in row] for row in reports]),
        "gate_reasons": (dims, [[_joined(r.reasons) for r in row] for row in reports]),
    }
