"""What a flight cannot be asked: before it begins, after it ends, where something of it is not known.

Each is told as a finding to note, so that what is not said of a flight is not taken for nothing found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import MOVES
from optdescent.arrival import Gate
from optdescent.corridor import SCHEDULE, Still
from optdescent.debrief.track import SINGLY, Track
from optdescent.motion.stability import AtGate, shortfalls
from optdescent.results.debrief import Finding, Severity, Subject
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
_TOLD_FROM, _FAST_FROM = 10.0, 3.0
"""For how long [s] something has to be not known, or a speed outside the corridor's, to be told."""
_BY = 2.0 * KNOT
"""Speed [m/s] by which a flight counts as outside the corridor's."""
_ASKED = {
    "pressure_altitude": "altitude",
    "calibrated_airspeed": "airspeed",
    "flaps": "slats and flaps",
    "gear": "gear",
}
"""What the corridor is asked with: columns and their words."""


def not_told(track: Track, checks: Sequence[float]) -> Iterator[Finding]:
    """What cannot be asked of a flight, by distances to go [m] at which a crew checks."""
    yield from _before(track, checks)
    yield from _unknown(track)
    yield from _outside_speeds(track)
    yield from _last_useful(track)
    yield from _after(track, checks)


def _noted(track: Track, at: int, evidence: str) -> Finding:
    """A finding to note at a point, or at the last before it of which the distance is known."""
    known = np.flatnonzero(np.isfinite(track.to_go))
    place = known[max(int(np.searchsorted(known, at, side="right")) - 1, 0)]
    return track.finding(int(place), Subject.NOT_TOLD, Severity.NOTE, evidence)


def _checks(checks: Sequence[float]) -> str:
    places = _listed([f"{check / NAUTICAL_MILE:.0f}" for check in checks])
    return f"energy at the check{'s' if len(checks) > 1 else ''} at {places} nm"


def _listed(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _before(track: Track, checks: Sequence[float]) -> Iterator[Finding]:
    """What lay before the first point, or farther than the corridor is known."""
    begins = float(np.nanmax(track.to_go))
    missed = [check for check in checks if check >= begins]
    path = track.scenario.arrival.glide_path
    lost = [_checks(missed)] if missed else []
    if track.captured_before:
        lost.append("how the glide path was captured")
    elif begins < -path.distance(path.capture_at_most):
        lost.append("what was done before the glide path could be captured")
    out = [device.name for device in track.devices if _first(track.out(device)) > MOVES]
    lost += [f"when {_listed(out)} came out"] if out else []
    if lost:
        yield _noted(track, 0, f"{'; '.join(lost)}: the recording begins here")
    hidden = [device.name for device in track.devices if np.isnan(_first(track.out(device)))]
    if hidden:
        yield _noted(track, 0, f"when {_listed(hidden)} came out: neither recorded nor known otherwise")
    if track.farthest < min(max(checks), begins):
        said = f"energy before {track.farthest / NAUTICAL_MILE:.0f} nm, where the scenario begins"
        yield _noted(track, int(np.nanargmax(np.where(track.to_go <= track.farthest, track.to_go, np.nan))), said)


def _first(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known[0]) if known.size else float("nan")


def _is_asked(track: Track) -> NDArray[np.bool_]:
    """Points between the first within the corridor and the last before the gate; in gaps too."""
    gate = track.scenario.arrival.gate
    inside = (track.to_go <= track.farthest) & (track.to_go >= gate.place(track.scenario.arrival.glide_path))
    between = np.zeros(inside.shape, dtype=np.bool_)
    found = np.flatnonzero(inside)
    if found.size:
        between[found[0] : found[-1] + 1] = True
    return between


def _unknown(track: Track) -> Iterator[Finding]:
    """Stretches within the corridor in which something that it is asked with is not known."""
    unknown = np.isnan(track.to_spare(SCHEDULE.name)) & _is_asked(track)
    for first, last in track.spells(unknown, _TOLD_FROM):
        own = slice(first, last + 1)
        names = [word for name, word in _ASKED.items() if np.isnan(track.column(name)[own]).any()]
        names += ["distance to go"] if np.isnan(track.to_go[own]).any() else []
        seconds = track.time[last] - track.time[first]
        yield _noted(track, first, f"energy against the corridor for {seconds:.0f} s: {_listed(names)} not known")


def _outside_speeds(track: Track) -> Iterator[Finding]:
    """Stretches faster or slower than the corridor is worked out for: the energy is told, by height."""
    slowest, fastest = track.speeds
    for outside, bound, word in (
        (track.speed > fastest + _BY, fastest, "faster"),
        (track.speed < slowest - _BY, slowest, "slower"),
    ):
        for first, last in track.spells(outside & _is_asked(track), _FAST_FROM):
            seconds = track.time[last] - track.time[first]
            said = (
                f"the corridor {word} than {bound / KNOT:.0f} kt, flown for {seconds:.0f} s: "
                f"energy is told against that of {bound / KNOT:.0f} kt"
            )
            yield _noted(track, first, said)


def _last_useful(track: Track) -> Iterator[Finding]:
    """Sets of devices of which no last useful point can be told, those that end alike together."""
    ends: dict[float, list[Still]] = {}
    for one in (own for own in track.last.still if own.devices in SINGLY):
        ends.setdefault(one.distance_to_go if np.isfinite(one.distance_to_go) else -1.0, []).append(one)
    for distance, sets in ends.items():
        names = _listed([one.devices for one in sets])
        if distance < 0.0:
            yield _noted(track, 0, f"the last use of {names}: nowhere before the gate is all known that it takes")
            continue
        at = int(np.count_nonzero(~(track.to_go <= distance)))
        lost_by = sets[0].lost_by
        after = "ends" if np.isnan(lost_by) else f"breaks off, not any more at {lost_by / NAUTICAL_MILE:.1f} nm"
        said = f"the last use of {names}: still of use here, where the recording {after}"
        yield _noted(track, min(at, track.to_go.size - 1), said)


def _after(track: Track, checks: Sequence[float]) -> Iterator[Finding]:
    """What lay after the last point, if it is before the gate, and a gate of which too little is known."""
    gate, ends = track.scenario.arrival.gate, float(np.nanmin(track.to_go))
    missed = [check for check in checks if check <= ends]
    if not is_gate_told(track):
        at, last = gate_index(track), track.to_go.size - 1
        why = _ending(track) if at == last else _listed(track.flight.summary.gate.reasons)
        lost = [*([_checks(missed)] if missed else []), f"whether it was stable at {gate.height / FOOT:.0f} ft"]
        yield _noted(track, at, f"{'; '.join(lost)}: {why}")


def _ending(track: Track) -> str:
    reading = track.flight.reading
    return "gone around here" if reading is not None and reading.is_gone_around else "the recording ends here"


def gate_index(track: Track) -> int:
    """Index of the first point below the gate [-]; the last point if there is none."""
    below = np.flatnonzero(track.height < track.scenario.arrival.gate.height)
    return int(below[0]) if below.size else track.height.size - 1


def is_gate_told(track: Track) -> bool:
    """Whether a flight shows if it is stable at the gate [-]: passed, left again, or its place passed above it."""
    gate, report = track.scenario.arrival.gate, track.flight.summary.gate
    if report.reached:
        return report.stable or _falls_short(track, gate)
    known = track.height[np.isfinite(track.height)]
    if not known.size or known[-1] < gate.height:
        return False  # it begins below the gate, or passes it in a gap
    place = gate.place(track.scenario.arrival.glide_path)
    return bool((known < gate.height).any()) or float(np.nanmin(track.to_go)) < place - _BEYOND


_BEYOND = 0.5 * NAUTICAL_MILE
"""How far beyond the gate's place [m] a flight above its height has missed it."""


def _falls_short(track: Track, gate: Gate) -> bool:
    """Whether something that is known keeps a flight from being stable at the gate."""
    report = track.flight.summary.gate
    at = AtGate(
        report.calibrated_airspeed, report.reference_speed, report.sink, report.off_path, report.flaps, report.gear
    )
    last = len(track.scenario.airframe.steps) - 1
    return any(bool(one.counts) for one in shortfalls(gate, last, at))
