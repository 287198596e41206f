"""A rule worked out on paper, without flying it: its sheet.

Each height is the one at which the rule, asked at that height, asks for that height: what it plans depends on where the
aircraft is. What the arrival makes of it (windows, floor, glide path) is left out; its speed limits are not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import true_from_calibrated
from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import selected_on_schedule
from optdescent.curves.elementary import rounded, tan
from optdescent.motion.state import anti_ice_of
from optdescent.results import Provenance
from optdescent.results.rule_sheet import RuleSheet, rule_sheet_dataset
from optdescent.rules.fly import ruled
from optdescent.rules.parts import Rule, Sink
from optdescent.rules.rule import Place, asked, planned_speed
from optdescent.rules.words import rule_words
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]

WIND = 40.0
"""Wind of a sheet [kt]."""
WINDS = {"still air": 0.0, f"{WIND:.0f} kt tailwind": WIND * KNOT, f"{WIND:.0f} kt headwind": -WIND * KNOT}
"""Tailwind [m/s] of each wind of a sheet by its name."""
DISTANCES = np.arange(0.0, 250.01, 0.25) * NAUTICAL_MILE
"""Distances to go [m] of a sheet."""
_LOWEST = -1000.0
"""Height [m] above the threshold down to which a height is searched."""
_DEPTH, _STEP = 20000.0, 10.0
"""Pressure altitudes [m] below the cruise, and their steps, by which a height is turned into one."""
_HALVINGS = 40
_THREE = 3.0 * DEGREE

USUAL: dict[str, Any] = {
    "title": "Fictional narrow-body twin, 60 t, FL350, Mach 0.78, to an invented airport at sea level, standard air",
    "airframe": "narrow-body-twin",
    "start": {"distance_nm": 160.0, "altitude_ft": 35000.0, "mach": 0.78, "mass_kg": 60000.0},
    "arrival": {
        "airport": "Level Sands (invented)",
        "elevation_ft": 0.0,
        "course_deg": 90.0,
        "speed_limits": [{"below_altitude_ft": 10000.0, "speed_kt": 250.0}],
    },
}
"""What a sheet is worked out for, if no scenario is given [units in the keys]."""


def usual_scenario() -> Scenario:
    """The scenario of `USUAL` [SI]."""
    return Scenario.from_data(USUAL, "the usual scenario of rule sheets")


def rule_sheet(rule: Rule, scenario: Scenario | None = None) -> RuleSheet:
    """Sheet of a rule in still air and in 40 kt along the track, at the mass of the start [SI].

    Parameters
    ----------
    scenario : Scenario or None
        Airframe, mass, cruise, temperature and arrival; its wind is not used. `USUAL` if none is given.
    """
    desk = _Desk(rule, ruled(usual_scenario() if scenario is None else scenario, rule))
    columns = [desk.worked(tailwind) for tailwind in WINDS.values()]
    path = desk.scenario.arrival.glide_path
    dataset = rule_sheet_dataset(
        tuple(WINDS),
        {
            "distance_to_go": DISTANCES,
            "tailwind": list(WINDS.values()),
            "start_down": [found.start for found in columns],
            "height_to_have": [found.height for found in columns],
            "planned_speed": [found.speed for found in columns],
            "sink_rate": [found.sink for found in columns],
            "three_degrees": path.threshold_crossing_height + float(tan(_THREE)) * DISTANCES,
        },
    )
    told = desk.scenario
    provenance = Provenance(told.title, told.text, told.digest)
    return RuleSheet(dataset, rule.name, rule.title, rule.source, rule_words(rule), provenance, rule.note)


@dataclass(frozen=True)
class _Column:
    """What a rule gives in one wind: where it starts down [m]; heights [m], speeds and sink rates [m/s] (distance,)."""

    start: float
    height: Array
    speed: Array
    sink: Array


class _Desk:
    """A rule and a scenario, asked at heights above the threshold [m] and distances to go [m] in a tailwind [m/s]."""

    def __init__(self, rule: Rule, scenario: Scenario) -> None:
        self._rule, self.scenario = rule, scenario
        self._shift = setting_shift(scenario.qnh)
        cruise = scenario.pressure_altitude(scenario.start.altitude)
        self._levels = np.linspace(cruise - _DEPTH, cruise, round(_DEPTH / _STEP) + 1)
        self._heights = np.asarray(scenario.air.height(self._levels), dtype=float) - scenario.arrival.elevation
        self._cruise = float(self._heights[-1])

    def worked(self, tailwind: float) -> _Column:
        """Heights, speeds and sink rates in a tailwind [m/s]."""
        start, sink = self._start(tailwind), self._rule.sink
        height = self._on_profile(tailwind) if sink is None else self._sunk(sink, start, tailwind)
        place = self._place(DISTANCES, height, tailwind)
        rate = np.full(DISTANCES.size, np.nan)
        if sink is not None:
            rate = np.where(start > DISTANCES, self._rate(sink, place), np.nan)
        return _Column(start, np.where(height >= 0.0, height, np.nan), self._speed(place), rate)

    def _place(self, distance: Array, height: Array, tailwind: float) -> Place:
        """A place on the way down, slats, flaps and gear as the airframe's schedule has them at the planned speed."""
        scenario = self.scenario
        altitude = np.interp(height, self._heights, self._levels)
        anti_ice = anti_ice_of(scenario)
        wind = np.full(distance.shape, tailwind)
        clean = Place(
            distance=-distance,
            height=height,
            pressure_altitude=altitude,
            pressure=pressure(altitude),
            tailwind=wind,
            mass=scenario.start.mass,
            temperature_offset=scenario.temperature_offset,
            anti_ice=0.0 if anti_ice is None else anti_ice.share(altitude),
        )
        out = selected_on_schedule(scenario.airframe, self._speed(clean), scenario.start.mass)
        return replace(clean, gear=out.gear, steps=out.position)

    def _asked(self, distance: Array, height: Array, tailwind: float) -> Array:
        """Height above the threshold [m] that the profile asks for at places."""
        scenario, place = self.scenario, self._place(distance, height, tailwind)
        ask = asked(self._rule, scenario.airframe, scenario.arrival, place, self._shift, scenario.start.mach)
        return np.asarray(ask.height, dtype=float)

    def _speed(self, place: Place) -> Array:
        """Calibrated airspeed [m/s] planned at places."""
        scenario = self.scenario
        speed = planned_speed(self._rule, scenario.airframe, scenario.arrival, place, self._shift, scenario.start.mach)
        return np.asarray(speed, dtype=float)

    def _ground_speed(self, place: Place) -> Array:
        sound = self.scenario.air.speed_of_sound(place.pressure_altitude)
        true = true_from_calibrated(self._speed(place), place.pressure, sound)
        return np.asarray(true + place.tailwind, dtype=float)

    def _rate(self, sink: Sink, place: Place) -> Array:
        return np.asarray(rounded(sink.gradient * self._ground_speed(place), sink.rounding), dtype=float)

    def _start(self, tailwind: float) -> float:
        """Distance to go [m] at which the profile leaves the cruise height; not a number if farther than worked out."""
        short = self._asked(DISTANCES, np.full(DISTANCES.size, self._cruise), tailwind) - self._cruise
        below = np.flatnonzero(short < 0.0)
        if below.size == 0 or (last := int(below[-1])) + 1 == DISTANCES.size:
            return float("nan")
        share = short[last] / (short[last] - short[last + 1])
        return float(DISTANCES[last] + share * (DISTANCES[last + 1] - DISTANCES[last]))

    def _on_profile(self, tailwind: float) -> Array:
        """Heights [m] at which the profile asks for the height itself, at most the cruise height.

        Higher up a descent is planned faster, so the profile asks for less: there is one such height, found by halving.
        """
        low, high = np.full(DISTANCES.size, _LOWEST), np.full(DISTANCES.size, self._cruise)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            is_low = self._asked(DISTANCES, middle, tailwind) > middle
            low, high = np.where(is_low, middle, low), np.where(is_low, high, middle)
        return high

    def _sunk(self, sink: Sink, start: float, tailwind: float) -> Array:
        """Heights [m] where the sink rate is flown from the start of the descent on, whatever the profile asks."""
        heights = np.full(DISTANCES.size, self._cruise if np.isfinite(start) else np.nan)
        distance, height = start, self._cruise
        for index in np.flatnonzero(start > DISTANCES)[::-1]:
            place = self._place(np.array([distance]), np.array([height]), tailwind)
            slope = float((self._rate(sink, place) / self._ground_speed(place))[0])
            height -= slope * (distance - float(DISTANCES[index]))
            distance = float(DISTANCES[index])
            heights[index] = height
        return heights
