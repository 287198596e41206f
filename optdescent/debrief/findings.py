"""What a flight shows, point by point: energy against the corridor, devices, thrust, sink rate, capture, gate.

Thresholds are ours, chosen above what noise and a good crew do; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import GEAR, Device
from optdescent.arrival import Capture
from optdescent.corridor import EVERYTHING, SCHEDULE
from optdescent.debrief.not_told import gate_index, is_gate_told, not_told
from optdescent.debrief.track import SINGLY, Track
from optdescent.results import Breach
from optdescent.results.debrief import Finding, Severity, Subject
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
CHECKS = tuple(nm * NAUTICAL_MILE for nm in (25.0, 20.0, 15.0, 10.0))
"""Distances to go [m] at which a crew checks (common practice, no source)."""
_HIGH, _STILL_HIGH = 300.0 * FOOT, 150.0 * FOOT
"""Energy height [m] beyond what idle and the schedule can lose that is told at a check, and that counts as high."""
_NEAR_IDLE = 1500.0 * FOOT
"""Energy height [m] to spare at idle within which height above the rule counts."""
_OUT, _IN = 0.5, 0.15
_BRAKE_IN_FOR = 8.0
_LEVEL, _LEVEL_FOR = 400.0 * FOOT_PER_MINUTE, 12.0
"""Sink rate [m/s] below which a flight counts as level, and for how long [s]."""
_BOTH, _BOTH_FOR = 0.08, 5.0
_LATE_BY, _FAST_BY = 6.0 * KNOT, 2.0 * KNOT
_LATE_FROM, _LATE_AFTER = 2.0 * KNOT, 12.0
"""Speed [m/s] below the schedule's at which a device is late when it has been so for some time [s]."""
_SINK_BY, _SINK_FOR = 150.0 * FOOT_PER_MINUTE, 4.0
_ABOVE = 100.0 * FOOT


def findings(track: Track) -> tuple[Finding, ...]:
    """Everything found, in order of time."""
    looks: Sequence[Callable[[Track], Iterator[Finding]]] = (
        _too_high, _brake_stowed, _levelled, _thrust_with_brake, _selections, _capture, _sink, _limits, _last_useful,
        _gate, _gone_around,
    )  # fmt: skip
    found = [finding for look in looks for finding in look(track)]
    found += [*_demands(track, {finding.subject for finding in found}), *not_told(track, CHECKS)]
    return tuple(sorted(found, key=lambda finding: finding.time))


def _beyond(track: Track) -> Array:
    """Energy height (point,) [m] beyond what idle and the schedule can lose; not a number where nobody asked."""
    return -track.to_spare(SCHEDULE.name)


def _feet(amount: float) -> str:
    return "far" if np.isinf(amount) else f"{round(amount / FOOT, -1):.0f} ft"


def _too_high(track: Track) -> Iterator[Finding]:
    beyond, everything = _beyond(track), track.to_spare(EVERYTHING.name)
    for check in CHECKS:
        if not track.to_go[-1] < check < track.to_go[0]:
            continue
        at = int(np.searchsorted(-track.to_go, -check))
        if np.isnan(beyond[at]) or beyond[at] < _HIGH:
            continue
        severity = Severity.SEVERE if everything[at] < 0.0 else Severity.CAUTION
        evidence = f"at {check / NAUTICAL_MILE:.0f} nm {_energy(track, float(beyond[at]))}"
        yield track.finding(at, Subject.TOO_HIGH, severity, evidence)


def _energy(track: Track, beyond: float) -> str:
    """Energy height [m] beyond what idle and the schedule can lose, in feet, and in miles on the glide path's angle."""
    if np.isinf(beyond):
        return "idle and the schedule lose too little from any height"
    miles = beyond / track.scenario.arrival.glide_path.gradient / NAUTICAL_MILE
    return f"{_feet(beyond)} of energy, {miles:.1f} nm of path, more than idle and the schedule can lose"


def _spare(track: Track, beyond: float) -> str:
    """What idle and the schedule have to spare, or lack, by the energy height [m] beyond what they can lose."""
    if np.isnan(beyond):
        return ""
    if beyond > 0.0:
        return f", {_energy(track, beyond)}"
    return f", where idle and the schedule have {_feet(-beyond)} of energy height to spare"


def _brake_stowed(track: Track) -> Iterator[Finding]:
    """Out, then in for a while, where it may be out, by a flight that is still high, or stays so until it is too high.

    Still high is higher than the rule asks and near what idle can lose, or more.
    """
    brake, beyond = track.column("speed_brake"), _beyond(track)
    by_rule = np.where(beyond > -_NEAR_IDLE, track.above_rule - _HIGH + _STILL_HIGH, -np.inf)
    high: Array = np.fmax(np.where(np.isfinite(beyond), beyond, -np.inf), by_rule)
    for first, last in track.spells(brake < _IN, _BRAKE_IN_FOR):
        before = np.flatnonzero(brake[:first] > _OUT)
        if not before.size or track.time[first] - track.time[before[-1]] > _BRAKE_IN_FOR:
            continue
        at = int(before[-1])
        until = min(last, int(np.count_nonzero(track.time < track.time[first] + _BRAKE_IN_FOR)))
        over, side = float(track.above_rule[at]), "below" if track.above_rule[at] < 0.0 else "above"
        evidence = f"{_feet(abs(over))} {side} what {track.rule} asks for{_spare(track, float(beyond[at]))}"
        if not (_brake_may_be_out(track)[at] and high[at] > _STILL_HIGH and high[until] > _STILL_HIGH):
            too_high = _until_too_high(track, at, last)
            if too_high is None:
                continue
            seconds, until = track.time[too_high] - track.time[at], too_high
            evidence += f", and {seconds:.0f} s later with {_energy(track, float(beyond[too_high]))}"
        severity = Severity.SEVERE if track.to_spare(EVERYTHING.name)[until] < 0.0 else Severity.CAUTION
        yield track.finding(at, Subject.BRAKE_STOWED, severity, evidence)


def _brake_may_be_out(track: Track) -> NDArray[np.bool_]:
    """Whether height and flaps allow the speed brake (point,) [-]."""
    lowest, last_step = track.scenario.handling.speed_brake_above, track.scenario.airframe.speed_brake.last_step
    return (track.height > lowest + _ABOVE) & (track.column("flaps") <= last_step + 0.5)


def _until_too_high(track: Track, first: int, last: int) -> int | None:
    """Index of the point by which a flight has more energy than idle can lose; None if it has not, up to `last`.

    Until then it is above the height that the rule asks for, and could use the speed brake.
    """
    own = slice(first, last + 1)
    may_use_it = (track.above_rule[own] > _STILL_HIGH) & _brake_may_be_out(track)[own]
    count = may_use_it.size if may_use_it.all() else int(np.argmin(may_use_it))
    too_high = np.flatnonzero(_beyond(track)[own][:count] > _STILL_HIGH)
    return first + int(too_high[0]) if too_high.size else None


def _levelled(track: Track) -> Iterator[Finding]:
    """Level while above what idle can lose, or above the glide path, before the gate."""
    sink, beyond = -track.column("vertical_speed"), _beyond(track)
    descending = track.to_go < track.flight.summary.top_of_descent - 5.0 * NAUTICAL_MILE
    above_gate = track.height > track.scenario.arrival.gate.height
    excess = np.fmax(np.where(np.isfinite(beyond), beyond, -np.inf), track.above_path)
    excess = np.where(track.above_path > -_ABOVE, excess, -np.inf)  # below the path it may wait for it
    for first, last in track.spells((sink < _LEVEL) & descending & above_gate, _LEVEL_FOR):
        high = float(np.nanmax(excess[first : last + 1]))
        if high < _ABOVE:
            continue
        began = _began(track, sink, first)
        seconds = track.time[last] - track.time[began]
        lost = Severity.SEVERE if track.to_spare(EVERYTHING.name)[last] < 0.0 else Severity.CAUTION
        yield track.finding(began, Subject.LEVELLED, lost, f"level for {seconds:.0f} s, then {_feet(high)} too high")


def _began(track: Track, sink: Array, level: int) -> int:
    """Index of the point at which the sink rate began to fall to level flight: from nine tenths of what it was."""
    earlier = (track.time > track.time[level] - 25.0) & (track.time < track.time[level] - 10.0)
    if not earlier.any():
        return level
    usual = float(np.median(sink[earlier]))
    first = level
    while first > 0 and sink[first - 1] < 0.9 * usual and track.time[first] > track.time[level] - 10.0:
        first -= 1
    return first


def _thrust_with_brake(track: Track) -> Iterator[Finding]:
    both = (track.column("thrust_fraction") > _BOTH) & (track.column("speed_brake") > _OUT)
    for first, last in track.spells(both, _BOTH_FOR):
        seconds = track.time[last] - track.time[first]
        yield track.finding(first, Subject.THRUST_WITH_BRAKE, Severity.CAUTION, f"both for {seconds:.0f} s")


def _selections(track: Track) -> Iterator[Finding]:
    """Devices selected above their limit speed, or later than speed or energy asked for."""
    airframe, mass = track.scenario.airframe, track.column("mass")
    gate = gate_index(track)
    never = "not before the gate" if is_gate_told(track) else "not as far as it is recorded"
    for device in (device for device in track.devices if track.is_told(device)):
        fast, late = (
            (Subject.GEAR_TOO_FAST, Subject.GEAR_LATE)
            if device.number == GEAR
            else (Subject.FLAPS_TOO_FAST, Subject.FLAPS_LATE)
        )
        at = track.selected(device)
        if at is not None and track.speed[at] > device.limit_speed + _FAST_BY:
            over = (track.speed[at] - device.limit_speed) / KNOT
            yield track.finding(at, fast, Severity.SEVERE, f"{device.name} {over:.0f} kt above its limit speed")
        late_at = _due_by_speed(track, device, gate if at is None else min(at, gate))
        if late_at is None:
            late_at = _due_on_the_path(track, device, gate if at is None else min(at, gate))
            told = f"below its limit speed of {device.limit_speed / KNOT:.0f} kt, and idle no longer slows enough"
        else:
            scheduled = float(np.asarray(device.scheduled_speed(airframe, mass), dtype=float)[late_at])
            told = f"its speed of {scheduled / KNOT:.0f} kt passed"
        if late_at is not None:
            when = never if at is None else f"{track.time[at] - track.time[late_at]:.0f} s later"
            yield track.finding(late_at, late, Severity.CAUTION, f"{device.name}: {told}; selected {when}")


def _due_by_speed(track: Track, device: Device, end: int) -> int | None:
    """Index of the point from which a device is out of time by its speed; None if it comes soon enough, before `end`.

    It does if it is selected within some seconds, and before the speed is far below the schedule's.
    """
    scheduled = np.asarray(device.scheduled_speed(track.scenario.airframe, track.column("mass")), dtype=float)
    under = np.where(np.arange(track.speed.size) < end, scheduled - track.speed, -np.inf)
    begun = [first for first, _ in track.spells(under > _LATE_FROM, _LATE_AFTER)]
    begun += np.flatnonzero(under > _LATE_BY)[:1].tolist()
    if not begun:
        return None
    first = min(begun)
    not_yet = np.flatnonzero(under[:first] <= 0.0)
    return int(not_yet[-1]) + 1 if not_yet.size else first


def _due_on_the_path(track: Track, device: Device, end: int) -> int | None:
    """Index of the point on the glide path, before `end`, from which a device would have to come; None if it need not.

    Its limit speed allows it, the step before it is out, and idle and the schedule no longer lose enough energy. The
    gear waits for no step: as a drag device it may be lowered as soon as its limit speed allows.
    """
    if track.captured is None:
        return None
    before = 0 if device.number == GEAR else device.number - 1
    count = np.arange(track.speed.size)
    may_be_out = (track.speed < device.limit_speed - _FAST_BY) & (track.column("flaps") > before - 0.1)
    is_needed = _beyond(track) > 0.0
    spells = track.spells((count >= track.captured) & (count < end) & may_be_out & is_needed, _LATE_AFTER)
    return next((first for first, _ in spells), None)


def _capture(track: Track) -> Iterator[Finding]:
    """Too fast for the second step, clean, or from above."""
    at, path = track.captured, track.scenario.arrival.glide_path
    if at is None or track.captured_before:
        return
    steps = [device for device in track.devices if device.number]
    limit = min(steps[min(1, len(steps) - 1)].limit_speed, path.capture_speed_at_most or np.inf)
    everything = track.to_spare(EVERYTHING.name)[at]
    lost = Severity.SEVERE if everything < 0.0 else Severity.CAUTION
    over = track.speed[at] - limit
    if over > _FAST_BY:
        yield track.finding(at, Subject.CAPTURED_FAST, lost, f"{over / KNOT:.0f} kt too fast for the second step")
    if track.column("flaps")[at] < 0.5:
        yield track.finding(at, Subject.CAPTURED_CLEAN, lost, f"no flaps at {track.speed[at] / KNOT:.0f} kt")
    if path.capture is Capture.ABOVE:
        return
    before = np.flatnonzero(track.above_path[:at] > _ABOVE)
    near = before[track.to_go[before] <= path.below_within]
    if near.size:
        most = float(np.max(track.above_path[near]))
        first = int(near[0])
        evidence = f"up to {_feet(most)} above the path, from {track.to_go[first] / NAUTICAL_MILE:.1f} nm on"
        yield track.finding(first, Subject.CAPTURED_FROM_ABOVE, Severity.CAUTION, evidence)


def _sink(track: Track) -> Iterator[Finding]:
    """Beyond the arrival's limits by height, and the gate's below it."""
    arrival, sink = track.scenario.arrival, -track.column("vertical_speed")
    limits = [(limit.below_height, limit.sink) for limit in arrival.sink_limits]
    limits.append((arrival.gate.height, arrival.gate.sink))
    most = np.full(sink.shape, np.inf)
    for below, allowed in limits:
        most = np.where(track.height < below, np.minimum(most, allowed), most)
    for first, last in track.spells(sink > most, _SINK_FOR):
        over = sink[first : last + 1] - most[first : last + 1]
        worst = first + int(np.argmax(over))
        if np.count_nonzero(over > _SINK_BY) < 2:
            continue
        evidence = (
            f"{sink[worst] / FOOT_PER_MINUTE:.0f} ft/min with {most[worst] / FOOT_PER_MINUTE:.0f} allowed, "
            f"for {track.time[last] - track.time[first]:.0f} s"
        )
        yield track.finding(first, Subject.SINK, Severity.SEVERE, evidence)


def _limits(track: Track) -> Iterator[Finding]:
    """Limits of speed, load and path that the verdict on the flight found passed, each where it was worst."""
    for breach in _breaches(track):
        if breach.demand in _LIMITS:
            yield track.finding(_nearest(track, breach), Subject.LIMIT, Severity.SEVERE, breach.sentence)


def _demands(track: Track, told: Collection[Subject]) -> Iterator[Finding]:
    """Everything else that the verdict found not kept, but what findings about some subjects tell in their own words.

    Windows, floor, hold-downs, further gates, height of capture, climb, thrust, path, bank, brake that is to be stowed.
    """
    for breach in _breaches(track):
        own = next((subject for begins, subject in _TOLD_BY.items() if breach.demand.startswith(begins)), None)
        if breach.demand not in _LIMITS and own not in told:
            yield track.finding(_nearest(track, breach), Subject.DEMAND, Severity.CAUTION, breach.sentence)


def _breaches(track: Track) -> Iterator[Breach]:
    """What the verdict found not kept where the flight was."""
    for breach in track.flight.summary.breaches:
        if track.to_go[-1] - _PAST_ITS_END <= breach.distance_to_go <= track.to_go[0]:
            yield breach


def _nearest(track: Track, breach: Breach) -> int:
    """Index of the point nearest to where a demand was not kept."""
    return int(np.argmin(np.abs(track.to_go - breach.distance_to_go)))


_PAST_ITS_END = 0.5 * NAUTICAL_MILE
"""How far beyond its last point [m] a flight is judged: it may end a little before the threshold."""
_TOLD_BY = {
    "sink": Subject.SINK,
    "no climb": Subject.LEVELLED,
    "speed at capture": Subject.CAPTURED_FAST,
    "capture from": Subject.CAPTURED_FROM_ABOVE,
}
"""How demands begin that findings of their own are about, and the subjects of these."""
_LIMITS = ("largest speed", "least speed", "least speed with speed brake", "largest load factor", "least load factor")
"""Names of what a verdict calls them (`motion.handling`)."""


def _last_useful(track: Track) -> Iterator[Finding]:
    """Where each device and everything is last enough, if the approach is then lost to it for good.

    What two devices together still save stands in the last useful points. Everything may be lost from the first point
    asked on, or in a gap: then where that is known first.
    """
    severe = Severity.SEVERE
    for action in (own for own in track.last.told.actions if own.devices in SINGLY):
        if not action.is_of_use and action.devices == EVERYTHING.name:
            asked = np.flatnonzero(~np.isnan(track.to_spare(action.devices)))
            yield track.finding(int(asked[0]) if asked.size else 0, Subject.LAST_USEFUL, severe, action.sentence)
        if not action.has_point:
            continue
        at = _last_before(track, action.distance_to_go)
        is_last = action.devices == EVERYTHING.name
        after = "nothing brings it to the gate any more" if is_last else f"{action.devices} alone is too late"
        severity = severe if is_last else Severity.NOTE
        yield track.finding(at, Subject.LAST_USEFUL, severity, f"{action.devices}: after this {after}")
    for one in track.last.still:
        if one.devices == EVERYTHING.name and np.isfinite(one.lost_by):
            far, near = (place / NAUTICAL_MILE for place in (one.distance_to_go, one.lost_by))
            evidence = f"{one.devices}: between {far:.1f} and {near:.1f} nm, where the recording breaks off"
            yield track.finding(_last_before(track, one.lost_by), Subject.LAST_USEFUL, severe, evidence)


def _last_before(track: Track, place: float) -> int:
    """Index of the last point farther out than a distance to go [m], of those of which it is known."""
    farther = np.flatnonzero(track.to_go > place + _SAME_PLACE)
    return int(farther[-1]) if farther.size else 0


_SAME_PLACE = 1.0
"""Two places closer than this [m] are one."""


def _gate(track: Track) -> Iterator[Finding]:
    gate = track.flight.summary.gate
    if not gate.stable and is_gate_told(track):
        evidence = "; ".join(gate.reasons) or "it is not passed"
        at = gate_index(track)
        yield track.finding(at, Subject.UNSTABLE, Severity.SEVERE, f"at {gate.height / FOOT:.0f} ft: {evidence}")


def _gone_around(track: Track) -> Iterator[Finding]:
    """Where a recording climbs away from its approach: to note, whatever it was for."""
    reading = track.flight.reading
    if reading is not None and reading.is_gone_around:
        evidence = f"climbs away from {_feet(float(track.height[-1]))}; the approach is debriefed up to here"
        yield track.finding(track.height.size - 1, Subject.GONE_AROUND, Severity.NOTE, evidence)
