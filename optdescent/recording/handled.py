"""What the crew did, and the mass: slats and flaps, gear, speed brake, thrust, fuel, mass, load factor."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from optdescent.airframe import Airframe
from optdescent.airframe.speeds import MOVES
from optdescent.motion.excess import SIGMAS
from optdescent.recording.clock import seconds
from optdescent.recording.declaration import ColumnMap, Device, Event
from optdescent.recording.doubts import Doubts
from optdescent.recording.known import Known
from optdescent.recording.met import unknown
from optdescent.recording.rough import summed
from optdescent.recording.smooth import slope_sigma
from optdescent.recording.values import Array, Raw
from optdescent.results.reading import Source
from optdescent.scenario import Scenario
from optdescent.units import GRAVITY

PROXY = 0.05
"""One sigma [-] of thrust that is read off fan speed: the two are not proportional (our choice, no source)."""
UNKNOWN_MASS = 0.03
"""One sigma [-] of a mass that is the scenario's (our choice, no source)."""
_WHAT = {
    Device.FLAPS: "slats and flaps are",
    Device.GEAR: "the gear is",
    Device.SPEED_BRAKE: "the speed brake is",
}
_BEYOND = 0.05
"""How far beyond the last step [-] a position of slats and flaps may be read."""
_MOST_OFF = 0.1
"""How far off a whole position [-] a reading is taken as there, at most, however noisy its column is (our choice)."""
_EXACT = 1e-9


def add_devices(known: Known, raw: Raw, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> None:
    """Slats and flaps in steps, gear and speed brake [-]: as recorded, else from events, else not known.

    Raises
    ------
    InputFault
        A step that the airframe does not have, or an event without a time that can be read.
    """
    last = len(scenario.airframe.steps) - 1
    flaps = known.column("flaps")
    if known.has("flaps") and float(np.nanmax(flaps)) > last + _BEYOND:
        # resampling and smoothing leave steps as they are, so the raw rows have it too
        rows = raw.rows[raw.values["flaps"] > last + _BEYOND]
        given = f"goes to step {float(np.nanmax(flaps)):.3g} in {doubts.said(rows)}"
        steps = ", ".join(f"{number} {step.name}" for number, step in enumerate(scenario.airframe.steps))
        doubts.fault(asked.columns["flaps"].column, given, f"0 to {last} ({steps})")
    for device in Device:
        name = device.value
        most = float(last) if device is Device.FLAPS else 1.0
        events = [event for event in asked.events if event.device is device]
        if known.has(name):
            _settle(known, name, most, 0.0 if device is Device.SPEED_BRAKE else MOVES)
        elif events:
            values = _moved(known.time, events, raw.stamped, scenario.airframe, doubts)
            told = "from events, at the airframe's pace; how exact their times are is not known"
            known.fill(name, np.clip(values, 0.0, most), math.nan, told)
        else:
            known.put(name, np.full(known.time.size, np.nan), unknown(name, "not recorded"))
            doubts.warn(f"{_WHAT[device]} not recorded: what they are judged by is not judged")
    doubts.refuse()


def _settle(known: Known, name: str, most: float, still: float) -> None:
    """Take readings of a device close to a whole position, or beyond its last, as that position [-].

    Close is within what counts as standing still [-], none of a brake, which may be out a little; or within the sigmas
    that nothing is judged finer than.
    """
    before = known.origins[name]
    within = min(max(still, SIGMAS * known.sigma(name)), _MOST_OFF)
    values = np.clip(known.column(name), 0.0, most)
    whole = np.rint(values)
    settled = np.where(np.abs(values - whole) <= within, whole, values)
    count = int(np.count_nonzero(np.abs(settled - known.column(name)) > _EXACT))
    if count:
        told = f"{before.sentence}; {count} points within {within:.2g} of a whole position taken as there"
        known.put(name, settled, replace(before, sentence=told))
    else:
        known.put(name, settled, before)


def _moved(time: Array, events: list[Event], stamped: bool, airframe: Airframe, doubts: Doubts) -> Array:
    """Position (point,) [-] of a device that events move, one after the other."""
    found = np.zeros(time.size)
    for index, event in enumerate(events):
        begins = event.at if event.at is not None else seconds(event.at_time or "")
        if not math.isfinite(begins) or stamped != (event.at_time is not None):
            given = f"got {event.at if event.at is not None else event.at_time!r}"
            allowed = "at_time, a timestamp, as the time column has" if stamped else "at_s, as the time column has"
            doubts.fault(f"{event.device.value} event {index}", given, allowed)
            continue
        at = float(np.interp(begins, time, found))
        takes = abs(event.to - at) * _pace(event, at, airframe)
        share = np.clip((time - begins) / max(takes, 1e-6), 0.0, 1.0)
        found = np.where(time < begins, found, at + share * (event.to - at))
    return found


def _pace(event: Event, at: float, airframe: Airframe) -> float:
    """Time [s] a device takes for one step, or all the way."""
    match event.device:
        case Device.FLAPS:
            low, high = sorted((round(at), min(round(event.to), len(airframe.steps) - 1)))
            steps = airframe.steps[low + 1 : high + 1] or airframe.steps[-1:]
            return sum(step.travel_time for step in steps) / len(steps)
        case Device.GEAR:
            return airframe.gear.travel_time
        case Device.SPEED_BRAKE:
            return airframe.speed_brake.travel_time


def add_mass(known: Known, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> None:
    """Mass and fuel used since the first point [kg]: as recorded, from fuel flow, or the scenario's."""
    flow, given = known.column("fuel_flow"), asked.mass
    burnt = summed(known.time, flow) if known.has("fuel_flow") else np.zeros(known.time.size)
    if not known.has("mass"):
        at_start = scenario.start.mass if given.at_start is None else given.at_start
        if given.at_end is not None:
            at_start = given.at_end + float(burnt[-1])
        is_given = given.at_start is not None or given.at_end is not None
        told = "given in the map" if is_given else f"the scenario's at the start, {at_start:.0f} kg"
        how = "and less by the recorded fuel flow" if known.has("fuel_flow") else "held, as no fuel flow is recorded"
        is_derived = is_given and known.has("fuel_flow")
        sigma = _burnt_sigma(known) if is_derived else UNKNOWN_MASS * at_start
        own = "; how exact the mass given is, is not known and not in sigma" if is_derived else ""
        source = Source.DERIVED if is_derived else Source.ASSUMED
        known.fill("mass", at_start - burnt, sigma, f"{told}, {how}{own}", source)
        if source is Source.ASSUMED:
            doubts.warn(f"mass is not recorded: {told}, {how}")
    if known.has("fuel_flow"):
        known.fill("fuel_used", burnt, _burnt_sigma(known), "from fuel flow")
    elif known.is_recorded("mass"):
        mass = known.column("mass")
        first = float(mass[np.flatnonzero(np.isfinite(mass))[0]])
        known.fill("fuel_used", first - mass, known.sigma("mass"), "from mass")


def _burnt_sigma(known: Known) -> float:
    """One sigma of fuel added up from fuel flow [kg], over half of the flight: the quadratic mean over its points."""
    return known.sigma("fuel_flow") * known.grid.step * float(np.sqrt(known.time.size / 2.0))


def add_thrust(known: Known) -> None:
    """Thrust between idle and largest [-], with fan speed as its proxy where nothing else is recorded."""
    if known.has("fan_speed"):
        sigma = float(np.hypot(PROXY, known.sigma("fan_speed")))
        told = "from fan speed between idle and full, as a proxy"
        known.fill("thrust_fraction", known.column("fan_speed"), sigma, told)
    if not known.has("thrust_fraction"):
        nothing = np.full(known.time.size, np.nan)
        known.put("thrust_fraction", nothing, unknown("thrust_fraction", "not recorded"))


def add_load_factor(known: Known) -> None:
    """Load factor [-] that turned the path as it turned, where none is recorded: V g' = G (n - cos g) + W' sin g."""
    turn, sigma = known.slope("flight_path_angle")
    gust, _ = known.slope("wind_along")
    true, angle = known.column("true_airspeed"), known.column("flight_path_angle")
    lift = float(np.nanmean(true)) * sigma
    if not known.is_recorded("vertical_speed"):
        # the angle is a slope itself: its noise is that of the altitude, taken twice through the window
        altitude, noise = known.column("altitude"), known.sigma("altitude")
        lift = slope_sigma(altitude, known.grid.step, known.window, noise, times=2)
    found = np.cos(angle) + (true * turn - gust * np.sin(angle)) / GRAVITY
    told = f"from the turning of the path, over {known.window:g} s"
    known.fill("load_factor", found, lift / GRAVITY, told)
