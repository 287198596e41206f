"""Rules made for a test, flown by the narrow-body of the first study, and what was done on the way."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import validated
from optdescent.results import Action, Flight
from optdescent.rules import Rule, fly
from optdescent.rules.parts import RuleFile
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

Array = NDArray[np.float64]
Part = dict[str, Any]

STILL = ("air.wind.kind=none", "arrival.windows=[]")
SHALLOW: Part = {"kind": "height", "gradient_ft_per_nm": 300.0}
STEEP: Part = {"kind": "angle", "angle_deg": 3.3}
"""Too steep for idle with the speeds below: the crew is high and fast from about 30 nm on."""
SPEEDS: Part = {
    "descent_kt": 280.0,
    "by": [
        {"distance_nm": 20.0, "speed": "minimum clean"},
        {"distance_nm": 14.0, "speed": "first step"},
        {"distance_nm": 9.5, "speed": "second step"},
        {"distance_nm": 4.0, "speed": "approach"},
    ],
}
NO_BRAKE_FOR_SPEED: Part = {"kind": "fast", "use": "speed brake", "by_kt": 100.0}
"""So that the rule alone says when the speed brake is out."""


def rule(profile: Part = SHALLOW, speeds: Part = SPEEDS, **parts: Any) -> Rule:
    """A rule of a profile, speeds and further parts, as a file declares them."""
    told = {"name": "made", "title": "made", "source": "made", "profile": profile, "speeds": speeds, **parts}
    return validated(RuleFile, {"rules": [told]}, "x").rules[0]


def scenario(*settings: str) -> Scenario:
    """The first study in still air without windows, with settings."""
    return Scenario.from_toml(STUDY, (*STILL, *settings))


def flown(made: Rule, *settings: str) -> Flight:
    """Flight of a rule in that scenario."""
    return fly(scenario(*settings), made)


def told(flight: Flight, what: str) -> list[Action]:
    """Actions of one sort."""
    return [action for action in flight.actions if action.what == what]


def index(flight: Flight, action: Action) -> int:
    """Look at which an action was taken."""
    return int(np.argmin(np.abs(flight.column("distance_to_go") - action.distance_to_go)))


def first(flight: Flight, what: str) -> int:
    """Look at which the first action of one sort was taken."""
    return index(flight, told(flight, what)[0])


def first_where(condition: NDArray[np.bool_]) -> int:
    """First look at which a condition holds."""
    assert condition.any()
    return int(np.argmax(condition))


def miles(flight: Flight) -> Array:
    """Distance to go (look,) [nm]."""
    return flight.column("distance_to_go") / NAUTICAL_MILE


def knots(flight: Flight) -> Array:
    """Calibrated airspeed (look,) [kt]."""
    return flight.column("calibrated_airspeed") / KNOT


def feet(flight: Flight) -> Array:
    """Height above the threshold (look,) [ft]."""
    return flight.column("height_above_threshold") / FOOT


def feet_above(flight: Flight) -> Array:
    """Height above the one asked for (look,) [ft]."""
    return (flight.column("height_above_threshold") - flight.column("rule_height")) / FOOT


def knots_over(flight: Flight) -> Array:
    """Speed above the planned one (look,) [kt]."""
    return (flight.column("calibrated_airspeed") - flight.column("rule_speed")) / KNOT
