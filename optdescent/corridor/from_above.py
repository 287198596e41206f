"""Capture of the glide path from above: whether, with what, and until where it can still be begun.

The highest edges of `corridor.reach` for an arrival whose path is captured from above say from how high above the path
it can be captured and the gate be met. A flight below the edge keeps the edge's speeds and devices and, of its height
above the path, the part that it has of the edge's: sink rates are then no larger, and what the edge takes of energy in
excess is left to less brake, or thrust. The path is captured as early as the devices allow; where that plan is not
kept, where the edge itself captures it. Every plan is flown again, and eased (`corridor.told`) until it is kept: the
gate passed stable, and limits and heights kept on the way. A set of devices of which no plan is kept is not enough.

Sink is limited by the arrival and, until capture, to 2000 ft/min (Flight Safety Foundation, ALAR briefing note 4.2,
from memory); no path is captured below 1000 ft.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import manoeuvre_speed
from optdescent.arrival import Arrival, Capture, GlidePath
from optdescent.corridor.again import OVER, Again, Use, flown_again
from optdescent.corridor.devices import ALL_SETS, EVERYTHING, DeviceSet
from optdescent.corridor.ground import SPACING, Ground, ground_of
from optdescent.corridor.margin import ON_PATH, all_out
from optdescent.corridor.path import Paths, paths
from optdescent.corridor.reach import Edge, Reach, reach
from optdescent.corridor.states import states_of
from optdescent.corridor.told import FLIGHTS, eased, too_much, until_kept
from optdescent.inputs import Fault, InputFault
from optdescent.motion.equations import air_at, passage
from optdescent.results import Flight, Provenance
from optdescent.results.from_above import PLAN_COLUMNS, FromAbove, Situation, plan_dataset
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
LOWEST = 1000.0 * FOOT
ROUND_OUT = 200.0 * FOOT
"""Lowest capture above the threshold, and how far above the gate it is: there the sink is that of the path [m]."""
SINK_ROOM = 0.88
"""Part of each sink limit [-] that a plan uses: when it is flown, pitch lags and catches up with a little more."""


def situation_of(flight: Flight, distance_to_go: float) -> Situation:
    """Where a flight is at a distance to go [m]; a device that travels counts as in.

    Raises
    ------
    InputFault
        The flight does not pass there.
    """
    to_go = flight.column("distance_to_go")
    if not to_go.min() <= distance_to_go <= to_go.max():
        ends = f"{to_go.min() / NAUTICAL_MILE:.1f} to {to_go.max() / NAUTICAL_MILE:.1f} nm"
        raise InputFault([Fault(f"flight {flight.name}", "distance", f"got {_nm(distance_to_go)}", ends)])
    names = ("height_above_threshold", "calibrated_airspeed", "mass", "flaps", "gear")
    height, speed, mass, flaps, gear = (flight.at_distance(name, distance_to_go) for name in names)
    step, is_down = all_out(flaps, gear)
    return Situation(distance_to_go, float(height), float(speed), float(mass), int(step), int(is_down))


def from_above(scenario: Scenario, situation: Situation, spacing: float = SPACING) -> FromAbove:
    """Whether and how the glide path of a scenario can be captured from above from where a flight is [SI].

    An arrival that captures from above is kept as it is. One that captures from below is asked what it would be from
    above, captured anywhere on the way down to 1000 ft, and a little above the gate. Places are at most `spacing` [m]
    apart. As in every corridor the gate is aimed at with a little less than its largest speed.

    Raises
    ------
    InputFault
        A place outside the arrival, below the path, or a speed or devices that are not flown.
    """
    _check(scenario, situation)
    above = situation.height - float(scenario.arrival.glide_path.height(-situation.distance_to_go))
    own = _asked(scenario, situation, above <= ON_PATH)
    ground = ground_of(own, situation.distance_to_go, (situation.distance_to_go,), spacing)
    wanted = 0.0 if above <= ON_PATH else above
    most = _begun(ground, EVERYTHING, situation)
    rooms = most.rooms(np.arange(ground.to_go.size))
    found = _without(scenario, own, situation, above, float(wanted - rooms[-1]))
    if rooms[-1] < wanted:
        return found
    for begun in chain(_fewer(ground, situation), (most,)):
        if not (begun is most or begun.is_enough(wanted)):
            continue
        earliest = _earliest(begun, situation, wanted)
        for one in (earliest,) if earliest is begun else (earliest, begun):
            found = _planned(found, one, wanted)
            if found.is_possible:
                return replace(found, abandon_by=_abandon_by(ground, rooms, wanted))
    return found


def _check(scenario: Scenario, situation: Situation) -> None:
    arrival, airframe = scenario.arrival, scenario.airframe
    path, faults = arrival.glide_path, list[Fault]()
    gate, far = arrival.gate.place(path), min(scenario.start.distance, -path.distance(10000.0 * FOOT))
    if not gate + _NEAREST <= situation.distance_to_go <= far:
        allowed = f"{_nm(gate + _NEAREST)}, a little before the gate, to {_nm(far)}"
        faults.append(Fault("from above", "distance", f"got {_nm(situation.distance_to_go)}", allowed))
    else:
        least = float(path.height(-situation.distance_to_go)) - ON_PATH
        if not least <= situation.height < np.inf:
            allowed = f"at least {least / FOOT:.0f} ft, on the glide path there or above it"
            faults.append(Fault("from above", "height", f"got {situation.height / FOOT:.0f} ft", allowed))
    if not airframe.masses.least <= situation.mass <= airframe.masses.most:
        allowed = f"{airframe.masses.least:.0f} to {airframe.masses.most:.0f} kg ({airframe.title})"
        faults.append(Fault("from above", "mass", f"got {situation.mass:.0f} kg", allowed))
    last = len(airframe.steps) - 1
    if situation.flaps not in range(last + 1) or situation.gear not in (0, 1):
        allowed = f"steps 0 to {last}, gear 0 or 1 ({airframe.title})"
        faults.append(Fault("from above", "devices", f"got step {situation.flaps}, gear {situation.gear}", allowed))
    if faults:
        raise InputFault(faults)


_NEAREST = 0.2 * NAUTICAL_MILE


def _nm(distance: float) -> str:
    return f"{distance / NAUTICAL_MILE:.1f} nm"


def captured_from_above(arrival: Arrival, distance: float) -> GlidePath:
    """The glide path of an arrival, captured from above from a distance to go [m] on, whatever side it asks for.

    One that is to be captured from below may be so anywhere between there and a little above the gate.
    """
    path = arrival.glide_path
    if path.capture is Capture.ABOVE:
        return path
    low = max(LOWEST, arrival.gate.height + ROUND_OUT)
    return path.model_copy(
        update={
            "capture": Capture.ABOVE,
            "capture_at_least": low,
            "capture_at_most": max(low, float(path.height(-distance))),
            "below_within": max(path.below_within, distance),
        }
    )


def _asked(scenario: Scenario, situation: Situation, is_on_path: bool) -> Scenario:
    """The scenario with the mass of the situation, its path captured from above, sink limits with room for lags."""
    arrival = scenario.arrival
    path = captured_from_above(arrival, situation.distance_to_go)
    here = float(path.height(-situation.distance_to_go))
    changed = path.model_copy(
        update={
            "capture_at_least": min(path.capture_at_least, here) if is_on_path else path.capture_at_least,
            "capture_at_most": max(path.capture_at_most, here) if is_on_path else path.capture_at_most,
            "sink_above": SINK_ROOM * path.sink_above,
        }
    )
    limits = tuple(limit.model_copy(update={"sink": SINK_ROOM * limit.sink}) for limit in arrival.sink_limits)
    return replace(
        scenario,
        start=scenario.start.model_copy(update={"mass": situation.mass}),
        arrival=arrival.model_copy(update={"glide_path": changed, "sink_limits": limits}),
    )


@dataclass(frozen=True)
class _Begun:
    """The edge of a set of devices at one speed and configuration, by their indices: from where a capture begins."""

    found: Reach
    speed: int
    configuration: int

    @property
    def ground(self) -> Ground:
        """The places; the flight is at the farthest."""
        return self.found.ground

    @cached_property
    def altitude(self) -> Array:
        """Pressure altitude (place,) [m] of the edge, not a number where there is none."""
        return self.found.altitude[:, self.speed, self.configuration]

    def plans(self, places: Indices) -> Paths:
        """Descents of the edge from some places."""
        same = np.ones_like(places)
        return paths(self.found, places, self.speed * same, self.configuration * same)

    def flown(self, plan: Paths, brake: float) -> Again:
        """A plan flown again; of the brake, if it may be used, a part is out at the planned speed [-]."""
        count = plan.start.size
        is_allowed = np.full(count, self.found.devices.speed_brake)
        return flown_again(self.ground, plan, Use(is_allowed, np.full(count, brake)))

    def rooms(self, places: Indices) -> Array:
        """Largest height above the path (places,) [m] from which a capture begins, what is left at the gate taken off.

        Minus infinity where there is none. On the path there is no height to take it off.
        """
        over = _above_path(self.ground, self.ground.to_go[places], self.altitude[places])
        rooms = np.where(np.isfinite(over), np.maximum(over, 0.0), -np.inf)
        flown = np.flatnonzero((rooms > 0.0) & (places > 0))  # at the gate nothing is left to fly
        if flown.size:
            excess = self.flown(self.plans(places[flown]), 1.0).excess
            rooms[flown] = np.maximum(rooms[flown] - np.fmax(excess, 0.0), 0.0)
        return rooms

    def is_inside(self, wanted: float) -> bool:
        """Whether a height above the path [m] at the farthest place is inside the edge."""
        over = _above_path(self.ground, self.ground.to_go[-1:], self.altitude[-1:])
        return bool(over[0] >= wanted - _EXACT)

    def is_enough(self, wanted: float) -> bool:
        """Whether a height above the path [m] at the farthest place can be lost when it is flown too."""
        return self.is_inside(wanted) and bool(self.rooms(np.array([self.altitude.size - 1]))[0] >= wanted)


_EXACT = 1e-6


def _begun(ground: Ground, devices: DeviceSet, situation: Situation) -> _Begun:
    """The edge of a set of devices for what a flight has.

    A flight slower than the schedule has selected the next device by counts as having that speed: it is on no grid.

    Raises
    ------
    InputFault
        A speed that is not flown with what is out.
    """
    airframe = ground.scenario.airframe
    states = states_of(ground, devices, (airframe.limits.maximum_speed,))
    out = states.index(situation.flaps, situation.gear)
    least, most = float(manoeuvre_speed(airframe, situation.flaps, situation.mass)), float(states.most[out])
    if not least - KNOT <= situation.speed <= most + _EXACT:
        name = airframe.steps[situation.flaps].name
        allowed = f"{least / KNOT:.0f} to {most / KNOT:.0f} kt with {name}{', gear' * situation.gear}"
        raise InputFault([Fault("from above", "speed", f"got {situation.speed / KNOT:.0f} kt", allowed)])
    speed = max(situation.speed, float(states.least[out]))
    found = reach(ground, devices, Edge.HIGHEST, (speed,))
    return _Begun(found, int(np.argmin(np.abs(found.states.speeds - speed))), out)


def _fewer(ground: Ground, situation: Situation) -> Iterator[_Begun]:
    """Edges of the sets of devices, the smaller before the larger, each worked out when it is asked for."""
    return (_begun(ground, devices, situation) for devices in ALL_SETS if devices != EVERYTHING)


def _earliest(begun: _Begun, situation: Situation, wanted: float) -> _Begun:
    """The edge of the same devices that captures farthest out and still loses a height above the path [m]."""
    ground = begun.ground
    enough, too_far = ground.first_capture, ground.last_capture + 1
    while too_far - enough > 1:
        middle = (enough + too_far) // 2
        tried = _begun(replace(ground, first_capture=middle), begun.found.devices, situation)
        if tried.is_inside(wanted):
            begun, enough = tried, middle
        else:
            too_far = middle
    return begun


def _above_path(ground: Ground, to_go: Array, altitude: Array) -> Array:
    """Height above the glide path [m] of pressure altitudes [m] at distances to go [m]."""
    arrival = ground.scenario.arrival
    height = np.asarray(ground.around.air.height(altitude)) - arrival.elevation
    return np.asarray(height - np.asarray(arrival.glide_path.height(-to_go)), dtype=np.float64)


def _abandon_by(ground: Ground, rooms: Array, wanted: float) -> float:
    """Nearest distance to go [m] from which a height above the path [m] can still be lost, from the farthest on in."""
    late = np.flatnonzero(rooms < wanted)
    if not late.size:
        return float(ground.to_go[0])
    last = int(late[-1])
    near, far = rooms[last], rooms[last + 1]
    share = (wanted - near) / (far - near) if np.isfinite(near) else 1.0
    return float(ground.to_go[last] + share * (ground.to_go[last + 1] - ground.to_go[last]))


def _without(scenario: Scenario, own: Scenario, situation: Situation, above: float, too_high: float) -> FromAbove:
    """The answer that there is none."""
    nothing, none = float("nan"), plan_dataset({name: np.empty(0) for name in PLAN_COLUMNS})
    told = scenario.title, scenario.text, scenario.digest
    low, gate = own.arrival.glide_path.capture_at_least, own.arrival.gate.height
    too_high = too_high if 0.0 < too_high < np.inf else nothing
    return FromAbove(
        situation, above, above <= ON_PATH, low, gate, devices="", too_high=too_high, capture_distance=nothing,
        capture_height=nothing, gear_distance=nothing, largest_sink=nothing, largest_sink_again=nothing,
        excess_again=nothing, abandon_by=nothing, plan=none, provenance=Provenance(*told), reason="",
    )  # fmt: skip


def _planned(found: FromAbove, begun: _Begun, wanted: float) -> FromAbove:
    """The answer with the descent of a set of devices from a height above the path [m], or why it has none."""
    ground = begun.ground
    plan = begun.plans(np.array([ground.to_go.size - 1]))
    over = _above_path(ground, ground.to_go, plan.altitude[:, 0])
    part = wanted / float(over[-1]) if over[-1] > 0.0 else 0.0
    plan = replace(plan, altitude=ground.path[:, None] + part * (plan.altitude - ground.path[:, None]))
    plan, again = _kept(begun, plan, part)
    if not again.is_kept[0]:
        return replace(found, reason=_reason(again))
    columns = _columns(ground, plan)
    off = columns["above_path"]
    far_off = np.flatnonzero(off > ground.scenario.arrival.gate.off_path)
    captured = 0 if not far_off.size else int(far_off[-1]) + 1
    is_down = np.flatnonzero(columns["gear"] > 0.5)
    before = columns["sink"][: max(captured, 1)]
    return replace(
        found,
        devices=begun.found.devices.name,
        reason="",
        capture_distance=float(columns["distance_to_go"][captured]),
        capture_height=float(columns["height_above_threshold"][captured]),
        gear_distance=float(columns["distance_to_go"][is_down[0]]),
        largest_sink=float(np.max(before)),
        largest_sink_again=_sink_again(ground, again),
        excess_again=float(again.excess[0]),
        plan=plan_dataset(columns),
    )


def _kept(begun: _Begun, plan: Paths, part: float) -> tuple[Paths, Again]:
    """A plan eased until it is kept, begun where it begins all the same, and how it was flown last."""
    ground, first, last = begun.ground, plan.altitude[plan.start, 0], list[tuple[Paths, Again]]()

    def fly(number: int, _: Indices, lower: Array, slower: Array) -> tuple[NDArray[np.bool_], Array, Array]:
        tried = eased(ground, plan, lower, slower)
        tried.altitude[plan.start, 0] = first
        again = begun.flown(tried, part)
        last[:] = [(tried, again)]
        height, speed = too_much(ground, plan, again)
        return again.is_kept, number * height, number * speed

    until_kept(1, FLIGHTS, fly)
    return last[0]


def _reason(again: Again) -> str:
    """What a descent flown again did not keep, in words."""
    told = (
        (float(again.excess[0]) / FOOT, 0.0, "ft of energy too much at the gate"),
        (float(again.over[0]) / KNOT, OVER / KNOT, "kt over a limit"),
        (float(again.steep[0]) / FOOT_PER_MINUTE, OVER / FOOT_PER_MINUTE, "ft/min too much sink"),
        (float(again.outside[0]) / FOOT, ON_PATH / FOOT, "ft below the path"),
        (float(again.climb[0]) / FOOT, ON_PATH / FOOT, "ft of climb"),
        (float(again.rise[0]) / KNOT, OVER / KNOT, "kt of speed gained after it had begun to fall"),
    )
    found = [f"{amount:.0f} {what}" for amount, allowed, what in told if amount > allowed]
    return "; ".join([*([] if again.is_stable[0] else ["not stable at the gate"]), *found])


def _columns(ground: Ground, plan: Paths) -> dict[str, Array]:
    """Columns (point,) of a plan [SI], from its start to the gate."""
    altitude, speed = plan.altitude[:, 0], plan.speed[:, 0]
    height = np.asarray(ground.around.air.height(altitude)) - ground.scenario.arrival.elevation
    sink = _sink(ground, -ground.to_go[::-1], altitude[::-1], speed[::-1])
    columns = {
        "distance_to_go": ground.to_go[::-1],
        "height_above_threshold": height[::-1],
        "above_path": _above_path(ground, ground.to_go, altitude)[::-1],
        "calibrated_airspeed": speed[::-1],
        "sink": np.append(sink, sink[-1]),
        "flaps": plan.steps[::-1, 0],
        "gear": plan.gear[::-1, 0],
    }
    return {name: np.asarray(values, dtype=float) for name, values in columns.items()}


def _sink(ground: Ground, distance: Array, altitude: Array, speed: Array) -> Array:
    """Sink rate (leg,) [m/s] between points along the track [m], by pressure altitudes [m] and speeds [m/s]."""
    height = np.asarray(ground.around.air.height(altitude))
    slope = -np.diff(height) / np.diff(distance)
    middle = 0.5 * (altitude[1:] + altitude[:-1])
    true = ground.true_airspeed(0.5 * (speed[1:] + speed[:-1]), middle)
    sample = air_at(ground.around, 0.5 * (distance[1:] + distance[:-1]), middle)
    return np.asarray(slope * np.asarray(passage(sample, true, -np.arctan(slope)).ground_speed), dtype=np.float64)


def _sink_again(ground: Ground, again: Again) -> float:
    """Largest sink rate [m/s] of a descent flown again."""
    return float(np.nanmax(_sink(ground, again.distance, again.altitude[:, 0], again.speed[:, 0])))
