"""Whether rules can be flown from where a scenario starts: a descent that would have begun before is no comparison.

This is decided here and nowhere else. A command that flies one scenario refuses such a rule (`check_start`); where
conditions differ it is left out of those in which it cannot start, and they say why (`why_not_started`). `fly` itself
flies what it is given: a descent begun at once is what a crew makes of such a rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import pressure
from optdescent.air.wind import forecast
from optdescent.air.wind.direction import along_and_across
from optdescent.curves.elementary import rounded
from optdescent.inputs import Fault, InputFault
from optdescent.motion.record import surroundings
from optdescent.rules.parts import Rule
from optdescent.rules.rule import Place, asked
from optdescent.scenario import BelievedWind, Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
_SPACING = 0.5 * NAUTICAL_MILE
_WORTH_TELLING = 0.5 * KNOT


def check_start(scenario: Scenario, rules: Sequence[Rule], name: str) -> None:
    """Check that each rule starts down between the scenario's start and its gate, in level cruise as it is met [SI].

    Raises
    ------
    InputFault
        A rule asks for less than the cruise height [m] before the start, or for no less down to the gate; `name` is the
        file of the rules.
    """
    faults: list[Fault] = []
    ends = _Cruise.between_ends(scenario)
    for index, rule in enumerate(rules):
        found = _fault(scenario, rule, ends)
        if found is not None:
            faults.append(Fault(name, f"rules[{index}].profile", *found))
    if faults:
        raise InputFault(faults)


def why_not_started(scenario: Scenario, rule: Rule) -> str:
    """Why a rule cannot be flown from where a scenario starts; empty where it can [-]."""
    return whys_not_started(scenario, (rule,))[0]


def whys_not_started(scenario: Scenario, rules: Sequence[Rule]) -> list[str]:
    """Why each rule cannot be flown from where a scenario starts; empty where it can [-]; its air is met once."""
    ends = _Cruise.between_ends(scenario)
    found = (_fault(scenario, rule, ends) for rule in rules)
    return ["" if fault is None else fault[0] for fault in found]


@dataclass(frozen=True)
class _Cruise:
    """Level cruise along the track as a crew believes it to be: cruise height above the threshold [m], the places."""

    height: float
    tailwind: Array
    place: Place

    @classmethod
    def between_ends(cls, scenario: Scenario) -> _Cruise:
        """At the start and at the gate."""
        return cls.along(scenario, np.array([-scenario.start.distance, -_gate(scenario)]))

    @classmethod
    def along(cls, scenario: Scenario, x: Array) -> _Cruise:
        """At coordinates along the track (place,) [m]."""
        altitude = scenario.pressure_altitude(scenario.start.altitude)
        above_sea = float(scenario.air.height(altitude))
        anti_ice = surroundings(scenario).anti_ice_share(altitude)
        tailwind = _believed(scenario, x, above_sea)
        place = Place(
            x,
            above_sea - scenario.arrival.elevation,
            altitude,
            pressure(altitude),
            tailwind,
            scenario.start.mass,
            scenario.temperature_offset,
            0.0 if anti_ice is None else anti_ice,
            tailwind_at=lambda there: _believed(scenario, x, scenario.arrival.elevation + there),
        )
        return cls(above_sea - scenario.arrival.elevation, tailwind, place)

    def asked(self, scenario: Scenario, rule: Rule) -> Array:
        """Height above the threshold that a rule asks for (place,) [m]."""
        shift = setting_shift(scenario.qnh)
        wanted = asked(rule, scenario.airframe, scenario.arrival, self.place, shift, scenario.start.mach).height
        return np.broadcast_to(np.asarray(wanted, dtype=float), self.tailwind.shape)


def _gate(scenario: Scenario) -> float:
    return scenario.arrival.gate.place(scenario.arrival.glide_path)


def _fault(scenario: Scenario, rule: Rule, ends: _Cruise) -> tuple[str, str] | None:
    """What a rule asks for that cannot be flown, and what is allowed [file units]; None if it can be."""
    length, height, wanted = scenario.start.distance, ends.height, ends.asked(scenario, rule)
    if wanted[0] < height:
        tailwind = float(ends.tailwind[0])
        met = f", with {tailwind / KNOT:.0f} kt of tailwind" if abs(tailwind) > _WORTH_TELLING else ""
        there = f"at the start, {length / NAUTICAL_MILE:.0f} nm to go{met}"
        given = f"{rule.name} asks for {wanted[0] / FOOT:.0f} ft {there}"
        return given, f"{height / FOOT:.0f} ft or more, the cruise height: the descent would begin before the start"
    if wanted[-1] >= height:
        x = np.linspace(-length, -_gate(scenario), round(length / _SPACING) + 2)
        if np.all(_Cruise.along(scenario, x).asked(scenario, rule) >= height):
            given = f"{rule.name} never asks for less than the cruise height, {height / FOOT:.0f} ft"
            return given, "a descent that begins before the gate"
    return None


def _believed(scenario: Scenario, x: Array, above_sea: float) -> Array:
    """Tailwind [m/s] that the crew believes to be at coordinates along the track [m] and a height above the sea [m]."""
    technique = scenario.technique
    match technique.wind:
        case BelievedWind.NONE:
            return np.zeros_like(x)
        case BelievedWind.MET:
            coefficients = scenario.air.wind
        case BelievedWind.FORECAST:
            coefficients = forecast(scenario.wind)
    sample = scenario.air.field.sample(coefficients, x, np.full_like(x, above_sea))
    along, _ = along_and_across(sample.east, sample.north, scenario.arrival.track.course(x))
    believed = np.asarray(along, dtype=float) + technique.drawn.wind_error
    return np.asarray(rounded(believed, technique.wind_rounding), dtype=float)
