"""From any moment of a flight on, another action: flown by a perfect crew that goes on by a rule."""

from __future__ import annotations

from enum import Enum
from typing import assert_never

from optdescent.motion.verdict import gate_report
from optdescent.results import Flight
from optdescent.results.debrief import WhatIf
from optdescent.rules import Rule
from optdescent.rules.parts import DeviceBy, DeviceName, Use, always_high
from optdescent.rules.stretches import Stretch, flown_in_stretches, moment_of
from optdescent.scenario import Scenario
from optdescent.scenario.technique import PERFECT
from optdescent.units import FOOT, NAUTICAL_MILE


class Action(Enum):
    """What is done from a moment on; the value names it on the command line."""

    RULE = "rule"
    SPEED_BRAKE = "speed-brake"
    FLAPS = "flaps"
    GEAR = "gear"
    EVERYTHING = "everything"

    @property
    def words(self) -> str:
        """The action in words."""
        match self:
            case Action.RULE:
                return "the rule flown by a perfect crew"
            case Action.SPEED_BRAKE:
                return "speed brake out and kept"
            case Action.FLAPS:
                return "flaps as early as their limits allow"
            case Action.GEAR:
                return "gear down"
            case Action.EVERYTHING:
                return "speed brake, gear and flaps as early as their limits allow"
            case _:
                assert_never(self)


def what_if(scenario: Scenario, rule: Rule, flight: Flight, time: float, action: Action) -> WhatIf:
    """The flight from a time [s] on with an action.

    Raises
    ------
    ValueError
        The time is not within the flight.
    InputFault
        Something that a flight goes on with is not known then, such as a device.
    """
    moment = moment_of(flight, time)
    changed = with_action(rule, action, moment.distance_to_go)
    stretch = Stretch(moment.distance_to_go, changed, PERFECT)
    name = f"{action.value} at {time:.0f} s"
    flown = flown_in_stretches(scenario, (stretch,), name, moment)
    return WhatIf(time, action.words, flown, gate_report(scenario, flown.dataset, _LOW))


def with_action(rule: Rule, action: Action, distance: float) -> Rule:
    """The rule with an action from a distance to go [m] on; limit speeds are obeyed."""
    devices, when = list(rule.devices), list(rule.when)
    by = min(distance, _FARTHEST)
    if action in (Action.GEAR, Action.EVERYTHING):
        devices.append(_device(DeviceName.GEAR, by))
    if action in (Action.FLAPS, Action.EVERYTHING):
        devices += [_device(name, by) for name in _STEPS]
    if action in (Action.SPEED_BRAKE, Action.EVERYTHING):
        when.append(always_high(Use.SPEED_BRAKE, _A_LITTLE, 0.0))  # until nothing is left
    return rule.model_copy(update={"devices": tuple(devices), "when": tuple(when)})


_LOW = 500.0 * FOOT
"""Height [m] by which an approach in visual conditions has to be stable (see `arrival.gate`)."""
_A_LITTLE = 50.0 * FOOT
"""Height [m] above the one to have from which the brake is used."""
_FARTHEST = 60.0 * NAUTICAL_MILE
_STEPS = (DeviceName.FIRST_STEP, DeviceName.SECOND_STEP, DeviceName.THIRD_STEP, DeviceName.LAST_STEP)


def _device(name: DeviceName, distance: float) -> DeviceBy:
    return DeviceBy.model_construct(device=name, distance=distance, height=None, at_capture=False, terms=())
