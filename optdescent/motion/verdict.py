"""What a flight did not keep: windows, floor, hold-downs, limits, handling, capture, and the state at the gates.

Nothing is hidden and nothing is judged finer than it can be read: see `motion.excess`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import xarray as xr

from optdescent.arrival import Gate
from optdescent.motion.capture import capture_breaches, capture_index
from optdescent.motion.demands import demand_breaches
from optdescent.motion.excess import breach, column
from optdescent.motion.handling import handling_breaches
from optdescent.motion.stability import AtGate, shortfalls
from optdescent.results import Breach, GateReport
from optdescent.scenario import Scenario
from optdescent.units import FOOT

__all__ = ["breaches", "capture_index", "gate_report"]


def gate_report(scenario: Scenario, dataset: xr.Dataset, height: float, gate: Gate | None = None) -> GateReport:
    """State of a flight where it last passes a height above the threshold [m], and what is not stable there.

    Judged by the demands of a gate: of the one that decides, if none is given.
    """
    passed = _passage(dataset, height)
    if passed is not None and np.isnan(passed("height_above_threshold")):
        lost = (f"passes {height / FOOT:.0f} ft above the threshold in a gap",)
        return GateReport(height, False, *([float("nan")] * 7), reasons=lost)
    if passed is None:
        missed = (f"never passes {height / FOOT:.0f} ft above the threshold",)
        return GateReport(height, False, *([float("nan")] * 7), reasons=missed)
    path = scenario.arrival.glide_path
    report = GateReport(
        height=height,
        reached=True,
        calibrated_airspeed=passed("calibrated_airspeed"),
        reference_speed=passed("reference_speed"),
        sink=-passed("vertical_speed"),
        off_path=passed("height_above_threshold") - float(path.height(-passed("distance_to_go"))),
        flaps=passed("flaps"),
        gear=passed("gear"),
        thrust_fraction=passed("thrust_fraction"),
        reasons=(),
    )
    asked = gate or scenario.arrival.gate
    unstable = _unstable(asked, len(scenario.airframe.steps) - 1, report)
    return replace(report, reasons=(*(reason for _, reason in unstable), *_not_known(asked, report)))


def _not_known(gate: Gate, report: GateReport) -> list[str]:
    """What a gate asks for and a recording does not tell: a flight is not stable by what is not known."""
    asked = {
        "slats and flaps": gate.landing_configuration and np.isnan(report.flaps),
        "gear": gate.gear_down and np.isnan(report.gear),
        "speed": np.isnan(report.calibrated_airspeed - report.reference_speed),
        "sink rate": np.isnan(report.sink),
        "height off the glide path": np.isnan(report.off_path),
    }
    return [f"{what} not known" for what, is_missing in asked.items() if is_missing]


def _passage(dataset: xr.Dataset, height: float) -> Callable[[str], float] | None:
    """Values of columns where a flight last passes a height above the threshold [m]; None if it never does."""
    heights = column(dataset, "height_above_threshold")
    above = np.flatnonzero(heights >= height)
    if above.size == 0 or above[-1] == heights.size - 1:
        return None
    first = int(above[-1])
    share = (heights[first] - height) / (heights[first] - heights[first + 1])

    def at(name: str) -> float:
        values = column(dataset, name)
        return float(values[first] + share * (values[first + 1] - values[first]))

    return at


def _unstable(gate: Gate, last: int, report: GateReport) -> list[tuple[float, str]]:
    """What is not stable at a gate: by how much [-, m/s, m], and the reason; `last` is the number of the last step."""
    at = AtGate(
        report.calibrated_airspeed,
        report.reference_speed,
        report.sink,
        report.off_path,
        report.flaps,
        report.gear,
    )
    return [(one.amount, one.say(one.amount)) for one in shortfalls(gate, last, at) if one.counts]


def _gate_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """What the further gates ask for and a flight does not have there; the gate that decides has its own report."""
    found: list[Breach] = []
    for gate in scenario.arrival.more_gates:
        name = f"gate at {gate.height / FOOT:.0f} ft"
        report, passed = gate_report(scenario, dataset, gate.height, gate), _passage(dataset, gate.height)
        if passed is None or not report.reached:
            found.append(breach(name, 0.0, gate.height, "never passed" if passed is None else "passed in a gap"))
            continue
        place = passed("distance_to_go")
        for amount, reason in _unstable(gate, len(scenario.airframe.steps) - 1, report):
            found.append(breach(name, place, amount, reason))
    return found


READABLE_MASS = 50.0
"""Mass [kg] by which the largest landing mass may be passed before it is said."""


def breaches(scenario: Scenario, dataset: xr.Dataset) -> tuple[Breach, ...]:
    """Every limit or demand that a flight did not keep, farthest from the threshold first [SI]."""
    found = [
        *demand_breaches(scenario, dataset),
        *handling_breaches(scenario, dataset),
        *capture_breaches(scenario, dataset),
        *_gate_breaches(scenario, dataset),
    ]
    over = float(column(dataset, "mass")[-1]) - scenario.airframe.masses.most_landing
    if over > READABLE_MASS:
        found.append(
            breach(
                "landing mass", float(column(dataset, "distance_to_go")[-1]), over, f"{over:.0f} kg over the largest"
            )
        )
    return tuple(sorted(found, key=lambda one: -one.distance_to_go))
