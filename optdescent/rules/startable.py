"""Whether rules can be flown from where a scenario starts: a descent that would have begun before is no comparison.

Nor is one whose plan contradicts itself there: named speeds have their value from the airframe and the mass.

This is decided here and nowhere else. A command that flies one scenario refuses such a rule (`check_start`); where
conditions differ it is left out of those in which it cannot start, and they say why (`why_not_started`). `fly` itself
flies what it is given: a descent begun at once is what a crew makes of such a rule.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import pressure
from optdescent.air.wind import forecast
from optdescent.curves.elementary import Value, rounded
from optdescent.inputs import Fault, InputFault
from optdescent.motion.record import surroundings
from optdescent.rules.believed import layers, tailwind_along
from optdescent.rules.parts import Rule, SpeedName
from optdescent.rules.rule import Place, asked, named_speed
from optdescent.rules.words import speed_words
from optdescent.scenario import BelievedWind, Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
_NUMBERS = ("distance", "height", "pressure_altitude", "pressure", "tailwind", "mass", "temperature_offset", "anti_ice")
"""Of a place, what differs from scenario to scenario in cruise, by name."""
_SPACING = 0.5 * NAUTICAL_MILE
_WORTH_TELLING = 0.5 * KNOT
_Found = tuple[str, str, str]
"""A fault of a rule: key, what it asks for, what is allowed [file units]."""


def check_start(scenario: Scenario, rules: Sequence[Rule], name: str) -> None:
    """Check that each rule's speeds fall, and that it starts down between the scenario's start and its gate [SI].

    Raises
    ------
    InputFault
        A rule plans to speed up, or asks in level cruise as it is met for less than the cruise height [m] before the
        start, or for no less down to the gate; `name` is the file of the rules.
    """
    _refuse(name, _faults((scenario,), rules)[0])


def check_speeds(scenario: Scenario, rules: Sequence[Rule], name: str) -> None:
    """Check that the speeds of each rule fall, at the mass of the scenario's start [SI].

    Raises
    ------
    InputFault
        A rule plans to speed up; `name` is the file of the rules.
    """
    speeds = _named(scenario)
    _refuse(name, [_plan_fault(rule, speeds) for rule in rules])


def _refuse(name: str, found: Sequence[_Found | None]) -> None:
    """Raise what was found of each rule [file units]."""
    faults = [
        Fault(name, f"rules[{index}].{one[0]}", one[1], one[2]) for index, one in enumerate(found) if one is not None
    ]
    if faults:
        raise InputFault(faults)


def why_not_started(scenario: Scenario, rule: Rule) -> str:
    """Why a rule cannot be flown from where a scenario starts; empty where it can [-]."""
    return whys_not_started((scenario,), (rule,))[0][0]


def whys_not_started(scenarios: Sequence[Scenario], rules: Sequence[Rule]) -> list[list[str]]:
    """Why each rule (scenario, rule) cannot be flown from where a scenario starts; empty where it can [-].

    The air of each scenario is met once, and each rule is asked once in all scenarios of one airframe and arrival.
    """
    found = _faults(scenarios, rules)
    return [["" if fault is None else fault[1] for fault in own] for own in found]


def _faults(scenarios: Sequence[Scenario], rules: Sequence[Rule]) -> list[list[_Found | None]]:
    """What each rule (scenario, rule) asks for that cannot be flown; None if it can be."""
    found: list[list[_Found | None]] = [[None] * len(rules) for _ in scenarios]
    for members in _alike(scenarios):
        own = [scenarios[index] for index in members]
        ends = [_Cruise.between_ends(scenario) for scenario in own]
        speeds = [_named(scenario) for scenario in own]
        together = _Cruise.beside(ends)
        for column, rule in enumerate(rules):
            may_fail = together.may_fail(own, rule)
            for row, index in enumerate(members):
                fault = _plan_fault(rule, speeds[row])
                if fault is None and may_fail[row]:
                    fault = _profile_fault(own[row], rule, ends[row])
                found[index][column] = fault
    return found


def _alike(scenarios: Sequence[Scenario]) -> list[list[int]]:
    """Indices of scenarios that share airframe and arrival."""
    groups: list[list[int]] = []
    for index, scenario in enumerate(scenarios):
        for members in groups:
            first = scenarios[members[0]]
            if scenario.airframe == first.airframe and scenario.arrival == first.arrival:
                members.append(index)
                break
        else:
            groups.append([index])
    return groups


@dataclass(frozen=True)
class _Cruise:
    """Level cruise along the track as a crew believes it to be: cruise height above the threshold [m], the places.

    Arrays are over (place,), or over (place, scenario) of several scenarios beside each other.
    """

    height: Value
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
            mean_tailwind=lambda low, high: _believed(
                scenario, x, *(scenario.arrival.elevation + there for there in layers(low, high))
            ),
        )
        return cls(above_sea - scenario.arrival.elevation, tailwind, place)

    @classmethod
    def beside(cls, cruises: Sequence[_Cruise]) -> _Cruise:
        """Cruises of several scenarios at as many places each."""
        places = [cruise.place for cruise in cruises]
        numbers = {name: np.stack([getattr(place, name) for place in places], axis=-1) for name in _NUMBERS}

        def mean_tailwind(low: float, high: float) -> Array:
            means = (place.mean_tailwind for place in places)
            return np.stack([mean(low, high) for mean in means if mean is not None], axis=-1)

        return cls(numbers["height"], numbers["tailwind"], Place(**numbers, mean_tailwind=mean_tailwind))

    def asked(self, scenarios: Sequence[Scenario], rule: Rule) -> Array:
        """Height above the threshold that a rule asks for, in the shape of these arrays [m]."""
        first = scenarios[0]
        shift = np.array([setting_shift(scenario.qnh) for scenario in scenarios])
        mach = np.array([scenario.start.mach for scenario in scenarios])
        wanted = asked(rule, first.airframe, first.arrival, self.place, shift, mach).height
        return np.broadcast_to(np.asarray(wanted, dtype=float), self.tailwind.shape)

    def may_fail(self, scenarios: Sequence[Scenario], rule: Rule) -> NDArray[np.bool_]:
        """Where (scenario,) a rule asks for less than the cruise height first, or for no less at the gate [-]."""
        wanted = self.asked(scenarios, rule)
        return (wanted[0] < self.height) | (wanted[-1] >= self.height)


def _gate(scenario: Scenario) -> float:
    return scenario.arrival.gate.place(scenario.arrival.glide_path)


def _named(scenario: Scenario) -> dict[SpeedName, float]:
    """Calibrated airspeeds [m/s] of the named speeds at the start."""
    mass = scenario.start.mass
    return {name: float(named_speed(scenario.airframe, scenario.arrival, name, mass)) for name in SpeedName}


def _plan_fault(rule: Rule, speeds: Mapping[SpeedName, float]) -> _Found | None:
    """A speed by a place above the one planned before it; None if there is none."""
    before = {True: rule.speeds.descent, False: rule.speeds.descent}
    for index, by in enumerate(rule.speeds.by):
        wanted = (by.speed_ or 0.0) if by.speed is None else speeds[by.speed]
        slow = before[by.height is None]
        if wanted > slow + _WORTH_TELLING:
            given = f"{rule.name} asks for {speed_words(by)}, {wanted / KNOT:.0f} kt, after {slow / KNOT:.0f} kt"
            return f"speeds.by[{index}]", given, "speeds that fall"
        before[by.height is None] = wanted
    return None


def _profile_fault(scenario: Scenario, rule: Rule, ends: _Cruise) -> _Found | None:
    """A height asked for that cannot be flown; None if there is none."""
    length, height, wanted = scenario.start.distance, float(ends.height), ends.asked((scenario,), rule)
    if wanted[0] < height:
        tailwind = float(ends.tailwind[0])
        met = f", with {tailwind / KNOT:.0f} kt of tailwind" if abs(tailwind) > _WORTH_TELLING else ""
        there = f"at the start, {length / NAUTICAL_MILE:.0f} nm to go{met}"
        given = f"{rule.name} asks for {wanted[0] / FOOT:.0f} ft {there}"
        allowed = f"{height / FOOT:.0f} ft or more, the cruise height: the descent would begin before the start"
        return "profile", given, allowed
    if wanted[-1] >= height:
        x = np.linspace(-length, -_gate(scenario), round(length / _SPACING) + 2)
        if np.all(_Cruise.along(scenario, x).asked((scenario,), rule) >= height):
            given = f"{rule.name} never asks for less than the cruise height, {height / FOOT:.0f} ft"
            return "profile", given, "a descent that begins before the gate"
    return None


def _believed(scenario: Scenario, x: Array, *above_sea: float) -> Array:
    """Mean tailwind [m/s] that the crew believes to be at coordinates along the track and heights above the sea [m]."""
    technique = scenario.technique
    match technique.wind:
        case BelievedWind.NONE:
            return np.zeros_like(x)
        case BelievedWind.MET:
            coefficients = scenario.air.wind
        case BelievedWind.FORECAST:
            coefficients = forecast(scenario.wind)
    heights = [np.full_like(x, height) for height in above_sea]
    along = tailwind_along(scenario.air.field, coefficients, x, heights, scenario.arrival.track.course(x))
    believed = np.asarray(along, dtype=float) + technique.drawn.wind_error
    return np.asarray(rounded(believed, technique.wind_rounding), dtype=float)
