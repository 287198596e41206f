"""What the optimum makes of a flight from a moment on: the same arrival, begun where the flight is then.

It begins level, or on the glide path where the flight is on it, with the devices out that the flight has out, and the
steps of slats and flaps without which it would be too slow. What is still in is selected where that is best, whatever
the schedule of the airframe. A flight above the glide path where it should be below captures it from above.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from optdescent.air.airspeed import calibrated_from_mach, mach_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import GEAR, devices, manoeuvre_speed, reference_speed
from optdescent.arrival import FloorPoint, HoldDown, floor_at
from optdescent.corridor import captured_from_above
from optdescent.corridor.margin import ON_PATH, all_out
from optdescent.inputs import InputFault
from optdescent.ocp import Memory, ProblemFault
from optdescent.optimum import DemandsConflict, NotConverged
from optdescent.optimum.beside import Accuracy
from optdescent.optimum.cold import found_cold
from optdescent.optimum.optimise import flight_of
from optdescent.optimum.progress import silent
from optdescent.optimum.structure import world
from optdescent.optimum.words import limit_named
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection
from optdescent.scenario.midway import Midway
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Compiled = dict[Hashable, Memory]
_TOO_FAST = 3.0 * KNOT
"""How much faster [m/s] than a limit a flight may be that begins at the limit."""
_SETTINGS = Accuracy(1e-4).first
"""To a local error [scaled, -] that is enough for fuel told to a kilogram."""
_CLEAR = 0.2 * NAUTICAL_MILE
"""How far ahead [m] of the flight a demand of the arrival has to be to be asked for."""


def begun_at(scenario: Scenario, flight: Flight, distance: float) -> Scenario | None:
    """The scenario begun where a flight is at a distance to go [m]; None where it cannot be begun.

    Demands that lie behind are left out, and so is a hold-down that the flight is in but not at the altitude of; one
    that it keeps, or a stretch of the floor that it is in, begins just ahead.
    """
    if why_not_begun(scenario, flight, distance):
        return None
    arrival, published = scenario.arrival, _published(scenario, flight, distance)
    mass, midway = float(flight.at_distance("mass", distance)), _midway(scenario, flight, distance)
    fastest, _ = _fastest(scenario, midway, published, distance)
    speed = min(float(flight.at_distance("calibrated_airspeed", distance)), fastest)
    mach = float(mach_from_calibrated(speed, pressure(scenario.pressure_altitude(published))))
    farthest = distance - _CLEAR
    is_high = not midway.on_path and _is_above(scenario, flight, distance)
    ahead = arrival.model_copy(
        update={
            "glide_path": captured_from_above(arrival, distance) if is_high else arrival.glide_path,
            "windows": tuple(window for window in arrival.windows if window.distance < farthest),
            "hold_downs": tuple(
                level.model_copy(update={"from_": min(level.from_, farthest)})
                for level in arrival.hold_downs
                if level.to < farthest - _CLEAR and (level.from_ < farthest or _is_at(level, published))
            ),
            "floor": _floor_ahead(arrival.floor, farthest),
            "more_gates": tuple(gate for gate in arrival.more_gates if gate.place(arrival.glide_path) < farthest),
        }
    )
    start = {"distance": distance, "altitude": published, "mach": mach, "mass": mass}
    begun = scenario.start.model_copy(update=start)
    handling = scenario.handling.model_copy(update={"configuration": Selection.FREE})
    changed = {"start": begun, "arrival": ahead, "handling": handling}
    told = replace(scenario.told, declared=scenario.told.declared.model_copy(update=changed))
    return replace(scenario, start=begun, arrival=ahead, handling=handling, told=told, midway=midway)


def why_not_begun(scenario: Scenario, flight: Flight, distance: float) -> str:
    """Why no optimum is begun where a flight is at a distance to go [m], in words; empty if one can be."""
    arrival = scenario.arrival
    if distance < arrival.gate.place(arrival.glide_path) + _CLEAR:
        return "at or past the gate"
    after = int(
        np.clip(np.count_nonzero(flight.column("distance_to_go") > distance), 1, flight.column("time").size - 1)
    )
    if np.isnan([flight.column(name)[after - 1 : after + 1] for name in _NEEDED]).any():  # nothing is read across a gap
        return "altitude, speed, mass or configuration not known"
    speed, altitude = float(flight.at_distance("calibrated_airspeed", distance)), _published(scenario, flight, distance)
    midway = _midway(scenario, flight, distance)
    fastest, allowed = _fastest(scenario, midway, altitude, distance)
    if speed > fastest + _TOO_FAST:
        return f"at {speed / KNOT:.0f} kt faster than {allowed}"
    reference = float(reference_speed(scenario.airframe, float(flight.at_distance("mass", distance))))
    slowest = reference + arrival.gate.speed_above_reference - arrival.gate.speed_under
    return f"at {speed / KNOT:.0f} kt slower than the gate allows" if midway.on_path and speed < slowest else ""


_NEEDED = ("altitude", "pressure_altitude", "calibrated_airspeed", "mass", "flaps", "gear", "height_above_threshold")


def _midway(scenario: Scenario, flight: Flight, distance: float) -> Midway:
    """What a flight has out at a distance to go [m], or is too slow without, and whether it is on the glide path."""
    airframe, path = scenario.airframe, scenario.arrival.glide_path
    names = ("flaps", "gear", "calibrated_airspeed", "mass", "height_above_threshold")
    flaps, gear, speed, mass, height = (flight.at_distance(name, distance) for name in names)
    step, is_down = all_out(flaps, gear)
    step, last = int(step), len(airframe.steps) - 1
    while step < last and speed < manoeuvre_speed(airframe, step, float(mass)):
        step += 1
    # higher up a flight crosses the line of the path, or is on it by chance
    is_on_path = abs(float(height) - float(path.height(-distance))) <= ON_PATH >= float(height) - path.capture_at_most
    return Midway(frozenset(range(1, step + 1)) | frozenset([GEAR] * int(is_down)), is_on_path)


def _is_at(level: HoldDown, published: float) -> bool:
    """Whether a published altitude [m] is that of a level segment, as far as it allows."""
    return abs(published - level.altitude) <= level.allowance


def _is_above(scenario: Scenario, flight: Flight, distance: float) -> bool:
    """Whether a flight is above the line of the glide path at a distance to go [m] at which a side is asked for."""
    path = scenario.arrival.glide_path
    above = float(flight.at_distance("height_above_threshold", distance)) - float(path.height(-distance))
    return distance <= path.below_within + _CLEAR and above > 0.0


def _fastest(scenario: Scenario, midway: Midway, altitude: float, distance: float) -> tuple[float, str]:
    """Largest speed [m/s, calibrated] at a published altitude and a distance to go [m], and what allows no more."""
    airframe, level = scenario.airframe, scenario.pressure_altitude
    by_mach = float(calibrated_from_mach(airframe.limits.maximum_mach, pressure(level(altitude))))
    found = [(min(airframe.limits.maximum_speed, by_mach), "the airframe allows")]
    found += [
        (device.limit_speed, f"{device.name} allows") for device in devices(airframe) if device.number in midway.out
    ]
    for limit in scenario.arrival.speed_limits:
        is_low = limit.below_altitude is not None and level(altitude) < level(limit.below_altitude)
        if is_low or (limit.within is not None and distance <= limit.within):
            found.append((limit.speed, f"{limit.speed / KNOT:.0f} kt {limit_named(limit)}"))
    return min(found)


def _published(scenario: Scenario, flight: Flight, distance: float) -> float:
    """Altitude [m] of a flight at a distance to go [m] as a clearance gives it: above the transition a flight level."""
    altitude, pressure_altitude = (
        float(flight.at_distance(name, distance)) for name in ("altitude", "pressure_altitude")
    )
    return pressure_altitude if altitude > scenario.arrival.transition_altitude else altitude


def _floor_ahead(floor: Sequence[FloorPoint], farthest: float) -> tuple[FloorPoint, ...]:
    """Points of a floor ahead of a distance to go [m], and the floor there if it began before."""
    ahead = tuple(point for point in floor if point.distance < farthest)
    if len(ahead) == len(floor) or not ahead:
        return ahead
    distances, altitudes = [point.distance for point in floor], [point.altitude for point in floor]
    begins = float(floor_at(distances, altitudes, np.array([farthest]))[0])
    return (floor[0].model_copy(update={"distance": farthest, "altitude": begins}), *ahead)


def optimum_told(scenario: Scenario, flight: Flight, distance: float, to_spare: float, compiled: Compiled) -> str:
    """What the optimum from a distance to go [m] takes and does, in a sentence, or why none is asked for there.

    `to_spare` is the energy height [m] that a flight has inside the reach of everything: outside there is no optimum.
    What was `compiled` is kept there for the next one.
    """
    if to_spare < 0.0:
        return f"from there no optimum is asked for: {-to_spare / FOOT:.0f} ft more energy than everything can lose"
    begun = begun_at(scenario, flight, distance)
    if begun is None:
        return f"from there no optimum is asked for: {why_not_begun(scenario, flight, distance)}"
    try:
        found = flight_of(found_cold(begun, silent, compiled.setdefault(world(begun), Memory()), _SETTINGS))
    except DemandsConflict as conflict:
        nearest = "; ".join(str(shortfall) for shortfall in conflict.shortfalls)
        told = "from there no descent at idle to the approach speed was found that meets every demand"
        return f"{told}; with the least relaxed, {nearest}"
    except (InputFault, ProblemFault) as fault:
        return f"from there no optimum can be asked for: {'; '.join(str(fault).splitlines())}"
    except NotConverged:
        return "from there neither an optimum nor a conflict of its demands was found"
    used = [
        f"{word} for {length / NAUTICAL_MILE:.0f} nm"
        for word, length in (
            ("speed brake", found.summary.brake_distance),
            ("thrust", found.summary.thrust_distance),
        )
        if length > 0.5 * NAUTICAL_MILE
    ]
    next_step = 1 + max(begun.midway.out - {GEAR}, default=0)
    named = [(one.name, found.column("flaps") - next_step + 1.0) for one in scenario.airframe.steps[next_step:][:1]]
    named += [] if GEAR in begun.midway.out else [("gear", found.column("gear"))]
    for name, out in named:
        moving = np.flatnonzero(out > 0.0)
        used += [f"{name} at {found.column('distance_to_go')[one] / NAUTICAL_MILE:.1f} nm" for one in moving[:1]]
    steps, _ = all_out(flight.at_distance("flaps", distance), flight.at_distance("gear", distance))
    late = [step for step in sorted(begun.midway.out - {GEAR}) if step > steps]
    if begun.arrival.glide_path.capture is not scenario.arrival.glide_path.capture:
        used.append("the path captured from above")
    if late:
        used.append(f"{scenario.airframe.steps[late[-1]].name} counted as out, without which it is too slow")
    taken = f"{found.summary.fuel:.0f} kg to the threshold"
    return f"from there the optimum takes {taken}" + "".join(f", {one}" for one in used)
