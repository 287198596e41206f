"""What a flight did not keep: windows, limits, handling, capture, and the state at the gate.

Nothing is hidden and nothing is judged finer than it can be read: see `motion.excess`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import xarray as xr

from optdescent.arrival import Window
from optdescent.motion.capture import capture_breaches, capture_index
from optdescent.motion.excess import READABLE_HEIGHT, READABLE_SINK, READABLE_SPEED, breach, column
from optdescent.motion.handling import handling_breaches
from optdescent.results import Breach, GateReport
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT

__all__ = ["breaches", "capture_index", "gate_report"]

_OUT = 0.98


def gate_report(scenario: Scenario, dataset: xr.Dataset, height: float) -> GateReport:
    """State of a flight where it last passes a height above the threshold [m], and what is not stable there."""
    heights = column(dataset, "height_above_threshold")
    above = np.flatnonzero(heights >= height)
    if above.size == 0 or above[-1] == heights.size - 1:
        missed = (f"never passes {height / FOOT:.0f} ft above the threshold",)
        return GateReport(height, False, *([float("nan")] * 7), reasons=missed)
    first = int(above[-1])
    share = (heights[first] - height) / (heights[first] - heights[first + 1])

    def at(name: str) -> float:
        values = column(dataset, name)
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


READABLE_MASS = 50.0
"""Mass [kg] by which the largest landing mass may be passed before it is said."""


def breaches(scenario: Scenario, dataset: xr.Dataset) -> tuple[Breach, ...]:
    """Every limit or demand that a flight did not keep, farthest from the threshold first [SI]."""
    found = [one for window in scenario.arrival.windows for one in _window_breaches(scenario, dataset, window)]
    found += handling_breaches(scenario, dataset) + capture_breaches(scenario, dataset)
    over = float(column(dataset, "mass")[-1]) - scenario.airframe.masses.most_landing
    if over > READABLE_MASS:
        found.append(breach("landing mass", 0.0, over, f"{over:.0f} kg over the largest"))
    return tuple(sorted(found, key=lambda one: -one.distance_to_go))


def _window_breaches(scenario: Scenario, dataset: xr.Dataset, window: Window) -> list[Breach]:
    to_go = column(dataset, "distance_to_go")

    def at(name: str) -> float:
        return float(np.interp(-window.distance, -to_go, column(dataset, name)))

    altitude, speed = at("pressure_altitude"), at("calibrated_airspeed")
    found: list[Breach] = []

    def low(least: float | None, value: float, readable: float, unit: str, factor: float, what: str) -> None:
        if least is not None and least - value > readable:
            amount = least - value
            found.append(breach(window.name, window.distance, amount, f"{amount / factor:.0f} {unit} {what}"))

    def altitude_of(published: float | None) -> float | None:
        return None if published is None else scenario.pressure_altitude(published)

    top, fastest = altitude_of(window.altitude_at_most), window.speed_at_most
    low(altitude_of(window.altitude_at_least), altitude, READABLE_HEIGHT, "ft", FOOT, "below the window")
    low(None if top is None else -top, -altitude, READABLE_HEIGHT, "ft", FOOT, "above the window")
    low(window.speed_at_least, speed, READABLE_SPEED, "kt", KNOT, "slower than the window")
    low(None if fastest is None else -fastest, -speed, READABLE_SPEED, "kt", KNOT, "faster than the window")
    return found
