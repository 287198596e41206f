"""Demands of one arrival that contradict each other, found when it is read, with the amount.

Altitudes are compared as they are published, and with the glide path as heights in the standard atmosphere: what a
day's pressure and temperature add is left to the optimum, which names it as a conflict.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.arrival.declaration import Arrival
from optdescent.arrival.floor import floor_at
from optdescent.arrival.gate import Gate
from optdescent.arrival.glide_path import Capture
from optdescent.arrival.hold_down import HoldDown
from optdescent.arrival.legs import leg_faults
from optdescent.arrival.window import SpeedLimit, Window
from optdescent.arrival.words import feet, knots, miles
from optdescent.units import FOOT, KNOT

Contradiction = tuple[str, str, str]
"""Key, what was given, what is allowed [file units]."""
_ROUNDING = 1e-6


def arrival_faults(arrival: Arrival) -> list[Contradiction]:
    """Contradictions between the demands of one arrival: key, what was given, what is allowed [file units]."""
    return [
        *_window_faults(arrival.windows),
        *_speed_limit_faults(arrival),
        *_glide_path_faults(arrival),
        *leg_faults(arrival.legs, arrival.course, -arrival.glide_path.distance(arrival.glide_path.capture_at_most)),
        *_gate_faults(arrival),
        *_floor_faults(arrival),
        *_hold_down_faults(arrival),
    ]


def _window_faults(windows: Sequence[Window]) -> list[Contradiction]:
    faults = [fault for index, window in enumerate(windows) for fault in _own_faults(index, window)]
    farthest_first = sorted(windows, key=lambda window: -window.distance)
    for position, far in enumerate(farthest_first):
        for near in farthest_first[position + 1 :]:
            faults += _climb_faults(far, near)
            if near.distance == far.distance:
                faults += _climb_faults(near, far)
    return faults


def _own_faults(index: int, window: Window) -> list[Contradiction]:
    faults: list[Contradiction] = []
    demands = (
        ("altitude", window.altitude_at_least, window.altitude_at_most, window.altitude_at, FOOT, "ft"),
        ("speed", window.speed_at_least, window.speed_at_most, window.speed_at, KNOT, "kt"),
    )
    for what, low, high, exact, factor, unit in demands:
        if low is not None and high is not None and low > high:
            given = f"window {window.name!r}: {what} at least {low / factor:.0f} and at most {high / factor:.0f} {unit}"
            allowed = f"a lower bound not above the upper (they cross by {(low - high) / factor:.0f} {unit})"
            faults.append((f"arrival.windows[{index}].{what}_at_least_{unit}", given, allowed))
        beside = [
            f"{word} {bound / factor:.0f}"
            for word, bound in (("at least", low), ("at most", high))
            if bound is not None
        ]
        if exact is not None and beside:
            given = f"window {window.name!r}: {what} at {exact / factor:.0f} {unit} and {' and '.join(beside)} {unit}"
            allowed = f"{what}_at_{unit} alone, or {what}_at_least_{unit} and {what}_at_most_{unit} without it"
            faults.append((f"arrival.windows[{index}].{what}_at_{unit}", given, allowed))
    return faults


def _climb_faults(far: Window, near: Window) -> list[Contradiction]:
    if far.highest is None or near.lowest is None or near.lowest <= far.highest:
        return []
    after, before = ("at least" if near.altitude_at is None else "at"), ("at most" if far.altitude_at is None else "at")
    given = f"window {near.name!r} {after} {feet(near.lowest)} after window {far.name!r} {before} {feet(far.highest)}"
    climb = feet(near.lowest - far.highest)
    return [("arrival.windows", given, f"windows that need no climb (these need {climb})")]


def _speed_limit_faults(arrival: Arrival) -> list[Contradiction]:
    faults: list[Contradiction] = []
    for index, limit in enumerate(arrival.speed_limits):
        key = f"arrival.speed_limits[{index}]"
        if (limit.below_altitude is None) == (limit.within is None):
            given = "neither" if limit.within is None else "both below_altitude_ft and within_nm"
            faults.append((key, f"got {given}", "exactly one of below_altitude_ft and within_nm"))
            continue
        for window in arrival.windows:
            if window.slowest is not None and window.slowest > limit.speed and _holds_at(limit, window):
                given = f"at most {knots(limit.speed)} where window {window.name!r} asks for {knots(window.slowest)}"
                over = knots(window.slowest - limit.speed)
                faults.append((f"{key}.speed_kt", given, f"at least the window's speed ({over} more)"))
    return faults


def _holds_at(limit: SpeedLimit, window: Window) -> bool:
    """Whether a limit holds wherever a window may be passed."""
    if limit.within is not None:
        return window.distance <= limit.within
    return limit.below_altitude is not None and window.highest is not None and window.highest < limit.below_altitude


def _glide_path_faults(arrival: Arrival) -> list[Contradiction]:
    path = arrival.glide_path
    faults: list[Contradiction] = []
    if path.capture_at_least > path.capture_at_most:
        given = f"at least {feet(path.capture_at_least)}, at most {feet(path.capture_at_most)}"
        faults.append(("arrival.glide_path", given, "capture_at_least_ft <= capture_at_most_ft"))
    highest = -path.distance(path.capture_at_most)
    if highest > path.below_within:
        allowed = f"at least the distance of the highest capture, {miles(highest)}"
        faults.append(("arrival.glide_path.below_within_nm", f"got {miles(path.below_within)}", allowed))
    return faults


def _gate_faults(arrival: Arrival) -> list[Contradiction]:
    faults: list[Contradiction] = []
    gates = [("arrival.gate", arrival.gate)]
    gates += [(f"arrival.more_gates[{index}]", gate) for index, gate in enumerate(arrival.more_gates)]
    least = arrival.glide_path.capture_at_least
    for key, gate in gates:
        if gate.height > least:
            given = f"gate at {feet(gate.height)}, capture from {feet(least)}"
            faults.append((f"{key}.height_ft", given, "a gate below the capture of the glide path"))
    highest_first = sorted(gates, key=lambda entry: -entry[1].height)
    for (_, high), (key, low) in pairwise(highest_first):
        if high.height == low.height:
            faults.append((f"{key}.height_ft", f"two gates at {feet(low.height)}", "gates at heights that differ"))
        faults += _speeding_up(key, high, low)
    held = arrival.gate.speed_above_reference
    for key, gate in gates[1:]:
        most = gate.speed_above_reference + gate.speed_over
        if most < held - _ROUNDING:
            given = f"at most the reference speed + {knots(most)}"
            allowed = f"at least + {knots(held)}, the target of arrival.gate: the flight slows to it and no further"
            faults.append((f"{key}.speed_over_kt", given, allowed))
    return faults


def _speeding_up(key: str, high: Gate, low: Gate) -> list[Contradiction]:
    """A gate that is slower than a lower one allows."""
    most = high.speed_above_reference + high.speed_over
    least = low.speed_above_reference - low.speed_under
    if least <= most + _ROUNDING:
        return []
    given = f"at least the reference speed + {knots(least)} after at most + {knots(most)} at {feet(high.height)}"
    allowed = f"gates between which the flight need not speed up (by {knots(least - most)})"
    return [(f"{key}.speed_above_reference_kt", given, allowed)]


def _floor_faults(arrival: Arrival) -> list[Contradiction]:
    if not arrival.floor:
        return []
    faults: list[Contradiction] = []
    seen: set[float] = set()
    for index, point in enumerate(arrival.floor):
        if point.distance in seen:
            given = f"another point at {miles(point.distance)}"
            faults.append((f"arrival.floor[{index}].distance_nm", given, "one point at each distance"))
        seen.add(point.distance)
    for window in arrival.windows:
        if window.highest is not None:
            over = highest_floor(arrival, window.distance) - window.highest
            if over > _ROUNDING:
                given = f"{feet(over)} above the highest altitude of window {window.name!r}, {feet(window.highest)}"
                faults.append(("arrival.floor", given, "a floor under the window and all that follows it"))
    return [*faults, *_floor_and_path_faults(arrival)]


def highest_floor(arrival: Arrival, distance: float) -> float:
    """Highest floor [m] between a distance to go [m] and the capture of the glide path, at its farthest."""
    capture = -arrival.glide_path.distance(arrival.glide_path.capture_at_most)
    points = [point.distance for point in arrival.floor if capture < point.distance < distance]
    return float(np.max(_floor(arrival, [distance, min(capture, distance), *points])))


def _floor(arrival: Arrival, to_go: Sequence[float]) -> NDArray[np.float64]:
    floor = arrival.floor
    return floor_at([point.distance for point in floor], [point.altitude for point in floor], to_go)


def _floor_and_path_faults(arrival: Arrival) -> list[Contradiction]:
    """A floor above the glide path where the flight has to be on it, or below it on the way to it."""
    path = arrival.glide_path
    nearest, farthest = (-path.distance(height) for height in (path.capture_at_least, path.capture_at_most))
    points = [point.distance for point in arrival.floor]

    def over(low: float, high: float) -> NDArray[np.float64]:
        at = np.array([low, high, *(distance for distance in points if low < distance < high)])
        return _floor(arrival, list(at)) - arrival.elevation - np.asarray(path.height(-at))

    faults: list[Contradiction] = []
    least = float(np.min(over(nearest, farthest)))
    if least > _ROUNDING:
        given = f"{feet(least)} or more above the glide path from {miles(farthest)} to {miles(nearest)}"
        allowed = "a floor that does not lie above the glide path everywhere that it may be captured"
        faults.append(("arrival.floor", given, allowed))
    elif path.capture is Capture.BELOW and path.below_within > farthest:
        most = float(np.max(over(farthest, path.below_within)))
        if most > _ROUNDING:
            given = f"up to {feet(most)} above the glide path from {miles(path.below_within)} to {miles(farthest)}"
            allowed = "a floor below the glide path where the flight stays below it (glide_path.below_within_nm)"
            faults.append(("arrival.floor", given, allowed))
    return faults


def _hold_down_faults(arrival: Arrival) -> list[Contradiction]:
    faults: list[Contradiction] = []
    for index, hold in enumerate(arrival.hold_downs):
        key = f"arrival.hold_downs[{index}]"
        if hold.from_ <= hold.to:
            given = f"from {miles(hold.from_)} to {miles(hold.to)}"
            faults.append((f"{key}.from_nm", given, "a level segment that begins farther out than it ends"))
        faults += _hold_down_and_path_faults(arrival, key, hold)
        if arrival.floor:
            over = highest_floor(arrival, hold.from_) - hold.altitude
            if over > _ROUNDING:
                given = f"{feet(hold.altitude)}, {feet(over)} below the floor there or after it"
                faults.append((f"{key}.altitude_ft", given, "a level above the floor"))
        for window in arrival.windows:
            faults += _hold_down_and_window_faults(key, hold, window)
    order = sorted(enumerate(arrival.hold_downs), key=lambda item: -item[1].from_)
    for (_, far), (index, near) in pairwise(order):
        key = f"arrival.hold_downs[{index}]"
        if near.from_ >= far.to:
            given = f"begins at {miles(near.from_)}, before the one ahead of it ends at {miles(far.to)}"
            faults.append((f"{key}.from_nm", given, "hold-downs that neither overlap nor touch"))
        if near.altitude > far.altitude:
            climb = near.altitude - far.altitude
            given = f"{feet(near.altitude)} after {feet(far.altitude)}"
            faults.append((f"{key}.altitude_ft", given, f"hold-downs that need no climb (these need {feet(climb)})"))
    return faults


def _hold_down_and_path_faults(arrival: Arrival, key: str, hold: HoldDown) -> list[Contradiction]:
    path, height = arrival.glide_path, hold.altitude - arrival.elevation
    if height < path.capture_at_least:
        least = path.capture_at_least + arrival.elevation
        return [(f"{key}.altitude_ft", f"got {feet(hold.altitude)}", f"at least {feet(least)}, the lowest capture")]
    nearest = -path.distance(path.capture_at_least)
    if hold.to < nearest:
        given = f"got {miles(hold.to)}"
        return [(f"{key}.to_nm", given, f"at least {miles(nearest)}, before the capture of the glide path")]
    above = height - float(path.height(-hold.to))
    if path.capture is Capture.BELOW and hold.to <= path.below_within and above > 0.0:
        given = f"got {miles(hold.to)}, where the level is {feet(above)} above the glide path"
        return [(f"{key}.to_nm", given, "an end where the level is still below the glide path")]
    return []


def _hold_down_and_window_faults(key: str, hold: HoldDown, window: Window) -> list[Contradiction]:
    """A window inside or after the hold-down that lies above it, inside or before it one that lies below it."""
    low, high = window.lowest, window.highest
    if low is not None and window.distance <= hold.from_ and low > hold.altitude:
        given = f"{feet(hold.altitude)}, {feet(low - hold.altitude)} below the lowest altitude of {window.name!r}"
        return [(f"{key}.altitude_ft", given, "a level from which no window needs a climb")]
    if high is not None and window.distance >= hold.to and high < hold.altitude:
        given = f"{feet(hold.altitude)}, {feet(hold.altitude - high)} above the highest altitude of {window.name!r}"
        return [(f"{key}.altitude_ft", given, "a level that needs no climb after a window")]
    return []
