"""A flight debriefed: against rules, corridor and optimum, point by point."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.airframe.speeds import devices
from optdescent.corridor import ALL_SETS, EVERYTHING, Edges, Grid, bounds_of, edges_for, last_found
from optdescent.debrief.findings import findings
from optdescent.debrief.from_there import Compiled, optimum_told
from optdescent.debrief.track import Track
from optdescent.debrief.what_if import Action, what_if
from optdescent.results import Flight
from optdescent.results.debrief import Debrief, Finding, Severity
from optdescent.rules import Rule
from optdescent.rules.fly import rule_heights
from optdescent.rules.stretches import unknown_at
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Measures:
    """What a flight is debriefed against: its scenario, a rule, the edges of the corridor, and the optimum if any."""

    scenario: Scenario
    rule: Rule
    edges: Edges
    optimum: Flight | None = None


def measures(
    scenario: Scenario, rule: Rule, flight: Flight, progress: Callable[[str], None], optimum: Flight | None = None
) -> Measures:
    """What a flight is debriefed against [SI].

    The corridor is that of energy alone: from which side and how low the glide path is captured is another finding.
    """
    lowest = {"below_within": 0.0, "capture_at_least": scenario.arrival.gate.height + ROUND_OUT}
    path = scenario.arrival.glide_path.model_copy(update=lowest)
    free = replace(scenario, arrival=scenario.arrival.model_copy(update={"glide_path": path}))
    return Measures(scenario, rule, edges_for(free, _grid(free, flight), ALL_SETS, progress), optimum)


def _grid(scenario: Scenario, flight: Flight) -> Grid:
    """The farthest and fastest of a flight, as far as a corridor can be asked of them.

    One that begins late, or is faster or slower than the airframe allows, is asked as if it did not and were not.
    """
    bounds, to_go = bounds_of(scenario), flight.column("distance_to_go")
    farthest = max(min(FARTHEST, float(np.nanmax(to_go)), bounds.farthest), bounds.nearest)
    speeds = flight.column("calibrated_airspeed")[to_go <= farthest]
    airframe, mass = scenario.airframe, scenario.start.mass
    scheduled = max(float(device.scheduled_speed(airframe, mass)) for device in devices(airframe))
    wanted = np.array([*speeds[np.isfinite(speeds)], scheduled]) + AHEAD
    return Grid((farthest,), (float(np.clip(wanted.max(), bounds.slowest, bounds.fastest)),))


FARTHEST = 40.0 * NAUTICAL_MILE
"""Distance to go [m] from which on a flight is looked at against the corridor."""
ROUND_OUT = 300.0 * FOOT
"""Height [m] above the gate in which a flight from above the glide path has to settle on it (our choice)."""
LEAST_TO_GO = 1.0 * NAUTICAL_MILE
"""Distance to go [m] up to which another action can be tried."""
AHEAD = 2.0 * KNOT
"""How much faster [m/s] than the flight the corridor is worked out."""


def debrief(flight: Flight, against: Measures, progress: Callable[[str], None]) -> Debrief:
    """Findings of a flight with what would have come of it otherwise, and its energy point by point [SI]."""
    progress("corridor along the flight")
    margins, sets = against.edges.margins(flight), tuple(own.devices.name for own in against.edges.highest)
    above_rule = flight.column("height_above_threshold") - rule_heights(against.scenario, against.rule, flight)
    last, speeds = last_found(against.edges, flight), against.edges.highest[0].states.speeds
    fastest = min(float(speeds[-1]), bounds_of(against.scenario).fastest)
    farthest = float(against.edges.ground.to_go[-1])
    rule, within = against.rule.name, (float(speeds[0]), fastest)
    track = Track(flight, against.scenario, margins, sets, rule, above_rule, last, farthest, within)
    found = findings(track)
    progress("what a perfect crew would have made of it")
    compiled = Compiled()
    places, moments = dict[float, str](), dict[float, str]()  # findings at one place or moment are answered once
    for finding in (one for one in found if one.severity is not Severity.NOTE):
        place, moment = finding.distance_to_go, finding.time
        if against.optimum is not None and place not in places:
            to_spare = track.to_spare(EVERYTHING.name)[int(np.argmin(np.abs(track.to_go - place)))]
            places[place] = optimum_told(against.scenario, flight, place, float(to_spare), compiled)
        if moment not in moments:
            moments[moment] = _perfect(flight, against, finding)
    told = tuple(_with_instead(against.optimum, finding, places, moments) for finding in found)
    others = () if against.optimum is None else (against.optimum,)
    return Debrief(flight, told, _points(flight, against.optimum, track), last.told, others)


def _with_instead(
    optimum: Flight | None, finding: Finding, places: Mapping[float, str], moments: Mapping[float, str]
) -> Finding:
    """A finding with what the optimum had there and, unless to note, what it and a perfect crew make of it.

    The latter two by places to go [m] and by times [s].
    """
    said = list[str]()
    if optimum is not None:
        names = ("height_above_threshold", "calibrated_airspeed")
        height, speed = (float(optimum.at_distance(name, finding.distance_to_go)) for name in names)
        said.append(f"the optimum is at {round(height / FOOT, -1):.0f} ft and {speed / KNOT:.0f} kt there")
    if finding.severity is not Severity.NOTE:
        said += [places[finding.distance_to_go]] if optimum is not None else []
        said.append(moments[finding.time])
    return replace(finding, instead="; ".join(said))


def _perfect(flight: Flight, against: Measures, finding: Finding) -> str:
    """Which action from there on makes the gate stable, the smallest first."""
    lacking = unknown_at(flight, finding.time)
    if lacking:
        return f"{lacking} there: no other action is tried"
    if finding.height <= against.scenario.arrival.gate.height:
        return "at or below the gate nothing is asked"
    if finding.distance_to_go < LEAST_TO_GO:
        return "too near the threshold for another action"
    for action in Action:
        tried = what_if(against.scenario, against.rule, flight, finding.time, action)
        if tried.flight.summary.gate.stable:
            how = "by the rule alone" if action is Action.RULE else f"with {action.words}"
            return f"a perfect crew is stable from there {how}"
    return "a perfect crew that goes on by the rule is not stable from there, whatever it uses"


def _points(flight: Flight, optimum: Flight | None, track: Track) -> xr.Dataset:
    over = np.full(track.above_rule.shape, np.nan)
    if optimum is not None:
        to_go, own = flight.column("distance_to_go"), optimum.column("distance_to_go")
        theirs = optimum.at_distance("specific_energy_height", to_go)
        is_flown = (to_go <= own[0]) & (to_go >= own[-1])
        over = np.where(is_flown, flight.column("specific_energy_height") - theirs, np.nan)
    names = {
        "height_above_rule": (track.above_rule, "height above what the rule asks for"),
        "energy_above_optimum": (over, "energy height above the optimum's at the same distance"),
    }
    variables = {
        name: ("point", values, {"units": "m", "long_name": sentence}) for name, (values, sentence) in names.items()
    }
    spare = {"units": "m", "long_name": "energy height inside the reach of a set of devices"}
    way = {"units": "m", "long_name": "way along the glide path that loses the energy height inside the reach"}
    along = track.margins / track.scenario.arrival.glide_path.gradient
    return xr.Dataset(
        {
            **variables,
            "energy_to_spare": (("devices", "point"), track.margins, spare),
            "way_to_spare": (("devices", "point"), along, way),
        },
        coords={
            "devices": np.array(track.sets, dtype=object),
            "distance_to_go": flight.dataset["distance_to_go"],
            "time": flight.dataset["time"],
        },
    )
