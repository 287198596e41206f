"""How a flight captured the glide path, and what it did not keep there.

Capture takes some hundred metres: it begins where the flight comes within the gate's height off the path, to stay
there, and it ends where the flight lies along the path to a fifth of a degree. Between the two the flight rounds out.
"""

from __future__ import annotations

import numpy as np
import xarray as xr

from optdescent.arrival import Capture
from optdescent.motion.excess import (
    READABLE_ANGLE,
    READABLE_HEIGHT,
    READABLE_SINK,
    READABLE_SPEED,
    Array,
    breach,
    column,
    held,
    readable,
    worst,
)
from optdescent.results import Breach
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT


def capture_index(scenario: Scenario, dataset: xr.Dataset) -> int | None:
    """Index of the point from which a flight stays on the glide path, within the gate's height off it [m]."""
    to_go = column(dataset, "distance_to_go")
    off_path = scenario.arrival.gate.off_path + readable(dataset, "height_above_threshold", 0.0)
    late = np.flatnonzero((np.abs(_above_path(scenario, dataset)) > off_path) & (to_go > 0.0))
    index = 0 if late.size == 0 else int(late[-1]) + 1
    return index if index < to_go.size - 1 else None


def capture_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Height and speed at capture, and the side it is captured from, where a flight did not keep them.

    One that begins on the path was captured before: how, nobody knows.
    """
    captured = capture_index(scenario, dataset)
    found = [*_side_breaches(scenario, dataset, captured), *_sink_breaches(scenario, dataset, captured)]
    if captured:
        along = _along_path(scenario, dataset, captured)
        found += [*_height_breaches(scenario, dataset, captured, along), *_speed_breaches(scenario, dataset, along)]
    return found


def _above_path(scenario: Scenario, dataset: xr.Dataset) -> Array:
    """Height above the glide path (point,) [m]."""
    path = scenario.arrival.glide_path
    return column(dataset, "height_above_threshold") - np.asarray(path.height(-column(dataset, "distance_to_go")))


def _along_path(scenario: Scenario, dataset: xr.Dataset, captured: int) -> int:
    """Index of the first point of capture where the flight lies along the path; where it begins if it never does."""
    slope = column(dataset, "vertical_speed")[captured:] / column(dataset, "ground_speed")[captured:]
    along = np.abs(slope + scenario.arrival.glide_path.gradient) < READABLE_ANGLE
    return captured + (int(np.argmax(along)) if np.any(along) else 0)


def _height_breaches(scenario: Scenario, dataset: xr.Dataset, captured: int, along: int) -> list[Breach]:
    """Too low already where capture begins, or still too high where it ends.

    A flight that is between the two heights at any point of its capture keeps them. Judged at one point alone, the
    same joining would be too high from level flight or too low from a slow convergence.
    """
    path, to_go = scenario.arrival.glide_path, column(dataset, "distance_to_go")
    height = column(dataset, "height_above_threshold")
    low, high = path.capture_at_least - height[captured], height[along] - path.capture_at_most
    found: list[Breach] = []
    least = readable(dataset, "height_above_threshold", READABLE_HEIGHT)
    for index, amount, word in ((captured, float(low), "low"), (along, float(high), "high")):
        if amount > least:
            what = f"{amount / FOOT:.0f} ft too {word}"
            found.append(breach("height at capture", float(to_go[index]), amount, what))
    return found


def _speed_breaches(scenario: Scenario, dataset: xr.Dataset, along: int) -> list[Breach]:
    """Too fast still where capture ends: a flight may slow down while it rounds out."""
    most = scenario.arrival.glide_path.capture_speed_at_most
    if most is None:
        return []
    fast = float(column(dataset, "calibrated_airspeed")[along]) - most
    if fast <= readable(dataset, "calibrated_airspeed", READABLE_SPEED):
        return []
    place = float(column(dataset, "distance_to_go")[along])
    return [breach("speed at capture", place, fast, f"{fast / KNOT:.0f} kt faster than allowed")]


def _side_breaches(scenario: Scenario, dataset: xr.Dataset, captured: int | None) -> list[Breach]:
    """On the wrong side of the path, within the distance from which the side is asked for, and above the gate.

    Before the path is met nothing on the wrong side that can be read is allowed. It is met at the first point of
    capture that is not readably on that side: at its beginning if the flight comes from the side asked for. From there
    on the gate's height off the path holds, so that a crew which overshoots a little as it rounds out keeps the demand.
    """
    path, gate = scenario.arrival.glide_path, scenario.arrival.gate
    to_go, height = column(dataset, "distance_to_go"), column(dataset, "height_above_threshold")
    is_above = path.capture is Capture.ABOVE
    wrong = _above_path(scenario, dataset) * (-1.0 if is_above else 1.0)
    to_go_near, height_near, wrong_near = held(path.below_within - to_go, to_go, height, wrong)
    place, excess = held(height_near - gate.height, to_go_near, wrong_near)
    least = readable(dataset, "height_above_threshold", READABLE_HEIGHT)
    later = gate.off_path + readable(dataset, "height_above_threshold", 0.0)
    counts = np.where(place > _met_at(to_go, wrong, captured, least), least, later)
    judged = np.where(excess > counts, excess, -np.inf)
    asked, side = ("above", "below") if is_above else ("below", "above")
    return worst(
        f"capture from {asked}", place, judged, 0.0, lambda amount: f"{amount / FOOT:.0f} ft {side} the glide path"
    )


def _met_at(to_go: Array, wrong: Array, captured: int | None, least: float) -> float:
    """Distance to go [m] where the path is met: first in capture and not readably [m] on the wrong side of it.

    Before its first point by a flight that begins on the path.
    """
    if captured is None:
        return -np.inf
    if captured == 0:
        return np.inf
    met = np.flatnonzero(wrong[captured:] <= least)
    return float(to_go[captured + int(met[0])]) if met.size else -np.inf


def _sink_breaches(scenario: Scenario, dataset: xr.Dataset, captured: int | None) -> list[Breach]:
    """Sinking too fast to a capture from above, from the distance on from which the side is asked for."""
    path = scenario.arrival.glide_path
    if path.capture is not Capture.ABOVE or captured == 0:
        return []
    to_go, sink = column(dataset, "distance_to_go"), -column(dataset, "vertical_speed")
    last = -np.inf if captured is None else float(to_go[captured])
    place, excess = held(path.below_within - to_go, to_go, sink - path.sink_above)
    return worst(
        "sink to a capture from above",
        place,
        np.where(place >= last, excess, -np.inf),
        readable(dataset, "vertical_speed", READABLE_SINK),
        lambda amount: f"{amount / FOOT_PER_MINUTE:.0f} ft/min too much",
    )
