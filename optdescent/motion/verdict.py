"""What a flight did not keep: windows, limits, climb, capture, and the state at the gate.

Nothing is hidden and nothing is judged finer than it can be read: half a knot, 20 ft, 20 ft/min.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import least_speed
from optdescent.arrival import Window
from optdescent.results import Breach, GateReport
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

READABLE_SPEED = 0.5 * KNOT
READABLE_HEIGHT = 20.0 * FOOT
READABLE_SINK = 20.0 * FOOT_PER_MINUTE
_OUT = 0.98

Array = NDArray[np.float64]


def gate_report(scenario: Scenario, dataset: xr.Dataset, height: float) -> GateReport:
    """State of a flight where it last passes a height above the threshold [m], and what is not stable there."""
    heights = _column(dataset, "height_above_threshold")
    above = np.flatnonzero(heights >= height)
    if above.size == 0 or above[-1] == heights.size - 1:
        missed = (f"never passes {height / FOOT:.0f} ft above the threshold",)
        return GateReport(height, False, *([float("nan")] * 7), reasons=missed)
    first = int(above[-1])
    share = (heights[first] - height) / (heights[first] - heights[first + 1])

    def at(name: str) -> float:
        values = _column(dataset, name)
        return float(values[first] + share * (values[first + 1] - values[first]))

    path = scenario.arrival.glide_path
    report = GateReport(
        height=height,
        reached=True,
        calibrated_airspeed=at("calibrated_airspeed"),
        reference_speed=at("reference_speed"),
        sink=-at("vertical_speed"),
        off_path=at("height_above_threshold") - float(path.height(-at("distance_to_go"))),
        flaps=at("flaps"),
        gear=at("gear"),
        thrust_fraction=at("thrust_fraction"),
        reasons=(),
    )
    return replace(report, reasons=_unstable(scenario, report))


def _unstable(scenario: Scenario, report: GateReport) -> tuple[str, ...]:
    gate, last = scenario.arrival.gate, len(scenario.airframe.steps) - 1
    target = report.reference_speed + gate.speed_above_reference
    fast = report.calibrated_airspeed - (target + gate.speed_over)
    slow = (target - gate.speed_under) - report.calibrated_airspeed
    reasons: list[str] = []
    if gate.landing_configuration and report.flaps < last - 1 + _OUT:
        reasons.append(f"flaps at {report.flaps:.1f} of {last}, not in the landing configuration")
    if gate.gear_down and report.gear < _OUT:
        reasons.append("gear not down")
    if fast > READABLE_SPEED:
        reasons.append(f"{fast / KNOT:.0f} kt too fast")
    if slow > READABLE_SPEED:
        reasons.append(f"{slow / KNOT:.0f} kt too slow")
    if report.sink - gate.sink > READABLE_SINK:
        reasons.append(f"sink rate {report.sink / FOOT_PER_MINUTE:.0f} ft/min")
    if abs(report.off_path) > gate.off_path:
        side = "above" if report.off_path > 0 else "below"
        reasons.append(f"{abs(report.off_path) / FOOT:.0f} ft {side} the glide path")
    return tuple(reasons)


def breaches(scenario: Scenario, dataset: xr.Dataset) -> tuple[Breach, ...]:
    """Every limit or demand that a flight did not keep, farthest from the threshold first [SI]."""
    found = [breach for window in scenario.arrival.windows for breach in _window_breaches(scenario, dataset, window)]
    found += _limit_breaches(scenario, dataset) + _capture_breaches(scenario, dataset)
    return tuple(sorted(found, key=lambda breach: -breach.distance_to_go))


def _column(dataset: xr.Dataset, name: str) -> Array:
    return np.asarray(dataset[name].to_numpy(), dtype=float)


def _window_breaches(scenario: Scenario, dataset: xr.Dataset, window: Window) -> list[Breach]:
    to_go = _column(dataset, "distance_to_go")

    def at(name: str) -> float:
        return float(np.interp(-window.distance, -to_go, _column(dataset, name)))

    altitude, speed = at("pressure_altitude"), at("calibrated_airspeed")
    found: list[Breach] = []

    def low(least: float | None, value: float, readable: float, unit: str, factor: float, what: str) -> None:
        if least is not None and least - value > readable:
            amount = least - value
            found.append(_breach(window.name, window.distance, amount, f"{amount / factor:.0f} {unit} {what}"))

    def altitude_of(published: float | None) -> float | None:
        return None if published is None else scenario.pressure_altitude(published)

    top, fastest = altitude_of(window.altitude_at_most), window.speed_at_most
    low(altitude_of(window.altitude_at_least), altitude, READABLE_HEIGHT, "ft", FOOT, "below the window")
    low(None if top is None else -top, -altitude, READABLE_HEIGHT, "ft", FOOT, "above the window")
    low(window.speed_at_least, speed, READABLE_SPEED, "kt", KNOT, "slower than the window")
    low(None if fastest is None else -fastest, -speed, READABLE_SPEED, "kt", KNOT, "faster than the window")
    return found


def _breach(demand: str, distance_to_go: float, amount: float, what: str) -> Breach:
    return Breach(demand, distance_to_go, amount, f"{demand}: {what} at {distance_to_go / NAUTICAL_MILE:.1f} nm to go")


def _limit_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    to_go, speed = _column(dataset, "distance_to_go"), _column(dataset, "calibrated_airspeed")
    found: list[Breach] = []

    def worst(demand: str, excess: Array, readable: float, say: Callable[[float], str]) -> None:
        index = int(np.argmax(excess))
        if excess[index] > readable:
            found.append(_breach(demand, float(to_go[index]), float(excess[index]), say(float(excess[index]))))

    over = speed - _column(dataset, "limit_speed")
    worst("largest speed", over, READABLE_SPEED, lambda amount: f"{amount / KNOT:.0f} kt over the limit")
    under = _least_speed(scenario, dataset) - speed
    worst("least speed", under, READABLE_SPEED, lambda amount: f"{amount / KNOT:.0f} kt under the manoeuvring speed")
    sink, height = -_column(dataset, "vertical_speed"), _column(dataset, "height_above_threshold")
    for limit in scenario.arrival.sink_limits:
        name = f"sink below {limit.below_height / FOOT:.0f} ft"
        excess = np.where(height < limit.below_height, sink - limit.sink, -1.0)
        worst(name, excess, READABLE_SINK, lambda amount: f"{amount / FOOT_PER_MINUTE:.0f} ft/min too much")
    altitude = _column(dataset, "altitude")
    climb = altitude - np.minimum.accumulate(altitude)
    worst("no climb", climb, READABLE_HEIGHT, lambda amount: f"climbs {amount / FOOT:.0f} ft")
    return found


def _least_speed(scenario: Scenario, dataset: xr.Dataset) -> Array:
    """Least manoeuvring speed [m/s] of the slats and flaps as they are out."""
    flaps = _column(dataset, "flaps")
    steps = tuple(np.clip(flaps - step, 0.0, 1.0) for step in range(len(scenario.airframe.steps) - 1))
    return np.asarray(
        least_speed(scenario.airframe, Configuration(steps, _column(dataset, "gear")), _column(dataset, "mass"))
    )


def _capture_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    path, gate = scenario.arrival.glide_path, scenario.arrival.gate
    to_go, height = _column(dataset, "distance_to_go"), _column(dataset, "height_above_threshold")
    above = height - np.asarray(path.height(-to_go), dtype=float)
    found: list[Breach] = []
    before_gate = (to_go <= path.below_within) & (height >= gate.height)
    captured = capture_index(scenario, dataset)
    if path.capture_speed_at_most is not None and captured is not None:
        fast = float(_column(dataset, "calibrated_airspeed")[captured]) - path.capture_speed_at_most
        if fast > READABLE_SPEED:
            what = f"{fast / KNOT:.0f} kt faster than allowed"
            found.append(_breach("speed at capture", float(to_go[captured]), fast, what))
    if np.any(before_gate):
        inside = np.where(before_gate, above, -np.inf)
        index = int(np.argmax(inside))
        if inside[index] > gate.off_path:
            what = f"{inside[index] / FOOT:.0f} ft above the glide path"
            found.append(_breach("capture from below", float(to_go[index]), float(inside[index]), what))
    return found


def capture_index(scenario: Scenario, dataset: xr.Dataset) -> int | None:
    """Index of the point from which a flight stays on the glide path, within the gate's height off it [m]."""
    path, gate = scenario.arrival.glide_path, scenario.arrival.gate
    to_go, height = _column(dataset, "distance_to_go"), _column(dataset, "height_above_threshold")
    off = np.abs(height - np.asarray(path.height(-to_go), dtype=float)) > gate.off_path
    late = np.flatnonzero(off & (to_go > 0.0))
    index = 0 if late.size == 0 else int(late[-1]) + 1
    return index if index < to_go.size - 1 else None
