"""The arrival as a scenario declares it."""

from __future__ import annotations

from optdescent.arrival.gate import Gate
from optdescent.arrival.glide_path import GlidePath
from optdescent.arrival.track import Track
from optdescent.arrival.window import SinkLimit, SpeedLimit, Window
from optdescent.inputs import Declared, entry, quantity
from optdescent.units import FOOT, NAUTICAL_MILE


class Arrival(Declared):
    """Airport, track, windows, limits, glide path and gate."""

    airport: str = entry("name of the airport; invented ones say so")
    elevation: float = quantity("ft", -1300, 15000, "elevation of the threshold above mean sea level")
    course: float = quantity("deg", 0, 360, "course of the straight track, degrees true")
    transition_altitude: float = quantity("ft", 3000, 18000, "altitudes above it are flight levels", default=18000.0)
    windows: tuple[Window, ...] = entry("altitude and speed demanded at distances", default=())
    speed_limits: tuple[SpeedLimit, ...] = entry("largest speeds below altitudes", default=())
    sink_limits: tuple[SinkLimit, ...] = entry("largest sink rates below heights", default=())
    glide_path: GlidePath = entry("glide path", default=GlidePath())
    gate: Gate = entry("gate", default=Gate())

    @property
    def track(self) -> Track:
        """Track over the ground."""
        return Track(self.course)


def arrival_faults(arrival: Arrival) -> list[tuple[str, str, str]]:
    """Contradictions between the demands of one arrival: key, what was given, what is allowed [file units]."""
    faults = [fault for index, window in enumerate(arrival.windows) for fault in _window_faults(index, window)]
    farthest_first = sorted(arrival.windows, key=lambda window: -window.distance)
    for position, far in enumerate(farthest_first):
        for near in farthest_first[position + 1 :]:
            faults += _climb_faults(far, near)
            if near.distance == far.distance:
                faults += _climb_faults(near, far)
    path, gate = arrival.glide_path, arrival.gate
    if path.capture_at_least > path.capture_at_most:
        given = f"at least {path.capture_at_least / FOOT:.0f} ft, at most {path.capture_at_most / FOOT:.0f} ft"
        faults.append(("arrival.glide_path", given, "capture_at_least_ft <= capture_at_most_ft"))
    if gate.height > path.capture_at_least:
        given = f"gate at {gate.height / FOOT:.0f} ft, capture from {path.capture_at_least / FOOT:.0f} ft"
        faults.append(("arrival.gate.height_ft", given, "a gate below the capture of the glide path"))
    highest = -path.distance(path.capture_at_most)
    if highest > path.below_within:
        given = f"got {path.below_within / NAUTICAL_MILE:.1f} nm"
        allowed = f"at least the distance of the highest capture, {highest / NAUTICAL_MILE:.1f} nm"
        faults.append(("arrival.glide_path.below_within_nm", given, allowed))
    return faults


def _window_faults(index: int, window: Window) -> list[tuple[str, str, str]]:
    faults: list[tuple[str, str, str]] = []
    pairs = (
        ("altitude", window.altitude_at_least, window.altitude_at_most, FOOT, "ft"),
        ("speed", window.speed_at_least, window.speed_at_most, 1852.0 / 3600.0, "kt"),
    )
    for what, low, high, factor, unit in pairs:
        if low is not None and high is not None and low > high:
            given = f"window {window.name!r}: {what} at least {low / factor:.0f} and at most {high / factor:.0f} {unit}"
            allowed = f"a lower bound not above the upper (they cross by {(low - high) / factor:.0f} {unit})"
            faults.append((f"arrival.windows[{index}].{what}_at_least_{unit}", given, allowed))
    return faults


def _climb_faults(far: Window, near: Window) -> list[tuple[str, str, str]]:
    if far.altitude_at_most is None or near.altitude_at_least is None:
        return []
    climb = (near.altitude_at_least - far.altitude_at_most) / FOOT
    if climb <= 0.0:
        return []
    given = (
        f"window {near.name!r} at least {near.altitude_at_least / FOOT:.0f} ft after "
        f"window {far.name!r} at most {far.altitude_at_most / FOOT:.0f} ft"
    )
    return [("arrival.windows", given, f"windows that need no climb (these need {climb:.0f} ft)")]
