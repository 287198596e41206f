"""Demands of the arrival that the start of the flight contradicts, with the amount."""

from __future__ import annotations

import numpy as np

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.atmosphere import pressure
from optdescent.arrival import Arrival, highest_floor
from optdescent.arrival.words import miles
from optdescent.scenario.declaration import Start
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

_ROUNDING = 1e-6
FARTHEST_NORTH = 85.0
"""Latitude [degrees] beyond which courses turn too fast to be tabulated."""


def start_faults(start: Start, arrival: Arrival) -> list[tuple[str, str, str]]:
    """What does not lie between the start and the threshold: key, what was given, what is allowed [file units].

    Nothing may need a climb from the cruise altitude, and no limit that holds from the start may be slower than it.
    """
    faults: list[tuple[str, str, str]] = []
    nearer = f"less than start.distance_nm ({start.distance / NAUTICAL_MILE:.1f})"
    cruise = f"start.altitude_ft ({start.altitude / FOOT:.0f})"
    for index, window in enumerate(arrival.windows):
        key = f"arrival.windows[{index}]"
        if window.distance >= start.distance:
            faults.append((f"{key}.distance_nm", f"got {window.distance / NAUTICAL_MILE:.1f}", nearer))
        if window.lowest is not None and window.lowest > start.altitude:
            bound = "altitude_at_ft" if window.altitude_at is not None else "altitude_at_least_ft"
            faults.append((f"{key}.{bound}", f"got {window.lowest / FOOT:.0f}", f"at most {cruise}"))
    for index, hold in enumerate(arrival.hold_downs):
        key = f"arrival.hold_downs[{index}]"
        if hold.from_ >= start.distance:
            faults.append((f"{key}.from_nm", f"got {hold.from_ / NAUTICAL_MILE:.1f}", nearer))
        if hold.altitude >= start.altitude:
            faults.append((f"{key}.altitude_ft", f"got {hold.altitude / FOOT:.0f}", f"below {cruise}"))
    if arrival.floor and (over := highest_floor(arrival, start.distance) - start.altitude) > _ROUNDING:
        faults.append(("arrival.floor", f"up to {over / FOOT:.0f} ft above the start", f"at most {cruise}"))
    faults += _track_faults(start, arrival)
    return faults + _speed_faults(start, arrival)


def _speed_faults(start: Start, arrival: Arrival) -> list[tuple[str, str, str]]:
    """Speed limits that hold from the start and are slower than it."""
    faults: list[tuple[str, str, str]] = []
    speed = float(calibrated_from_mach(start.mach, pressure(start.altitude)))
    for index, limit in enumerate(arrival.speed_limits):
        if limit.speed >= speed:
            continue
        if limit.within is not None and limit.within >= start.distance:
            where = f"from {limit.within / NAUTICAL_MILE:.1f} nm on"
        elif limit.below_altitude is not None and limit.below_altitude > start.altitude:
            where = f"below {limit.below_altitude / FOOT:.0f} ft"
        else:
            continue
        allowed = f"at least the {speed / KNOT:.0f} kt of the cruise where it holds from the start"
        faults.append((f"arrival.speed_limits[{index}].speed_kt", f"{limit.speed / KNOT:.0f} kt {where}", allowed))
    return faults


def _track_faults(start: Start, arrival: Arrival) -> list[tuple[str, str, str]]:
    """Turns that begin before the flight, and a track too near a pole."""
    faults: list[tuple[str, str, str]] = []
    nearer = f"less than start.distance_nm ({start.distance / NAUTICAL_MILE:.1f})"
    for turn in arrival.track.turns:
        if turn.begins <= -start.distance:
            given = f"the turn at {miles(-turn.middle)} begins at {miles(-turn.begins)}"
            faults.append(("arrival.legs", given, f"turns that begin at {nearer}"))
    route = arrival.route((-start.distance, 0.0))
    if route is not None and float(np.max(np.abs(route.latitude))) > FARTHEST_NORTH:
        given = f"the track comes to latitude {float(np.max(np.abs(route.latitude))):.1f}"
        faults.append(("arrival.position", given, f"a track within {FARTHEST_NORTH:.0f} degrees of the equator"))
    return faults
