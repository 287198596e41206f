"""What two scenarios must have in common to be one problem with other numbers."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import devices
from optdescent.motion import Control
from optdescent.motion.equations import Motion
from optdescent.ocp import Point
from optdescent.optimum.boundaries import demands_at
from optdescent.optimum.events import (
    Event,
    EventKind,
    Order,
    approach_meets,
    asks_for,
    behind,
    cruise_meets,
    fixed_distance,
    fixed_events,
    level_meets,
)
from optdescent.optimum.legs import Leg
from optdescent.optimum.limits import limits_along
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.quantities import Quantities
from optdescent.scenario import Scenario


def world(scenario: Scenario) -> Hashable:
    """What the phases of all orders of events have in common but for numbers of the problem [-].

    Scenarios of one world may share what was compiled.
    """
    return (
        scenario.airframe.model_dump_json(),
        (scenario.arrival.track.turns, scenario.arrival.track.convergence),
        scenario.arrival.glide_path.capture,
        scenario.wind.field,
        scenario.handling.configuration,
        behind(scenario),
        tuple((name, value.size) for name, value in parameter_values(scenario).items()),
    )


def structure(scenario: Scenario, order: Order, legs: Sequence[Leg]) -> Hashable:
    """Everything of a scenario posed in the phases of an order of events that is not a number of its problem [-].

    Two of one structure are the same program: phases with the same constraints, parameters of the same sizes, fixed
    events in their order. What the constraints are made of stands in their names; what the order itself has to keep,
    because no constraint asks for it, in what `_kept_by` says.
    """
    quantities = Quantities(scenario)
    here = [event for event in order if event.is_fixed]
    places = [fixed_distance(scenario, event) for event in here]
    sinks = [limit.below_height for limit in scenario.arrival.sink_limits]
    return (
        world(scenario),
        set(here) == set(fixed_events(scenario)) and places == sorted(places),
        _kept_by(scenario, here, legs),
        tuple(sorted(range(len(sinks)), key=sinks.__getitem__)),
        tuple(
            (
                leg.kind,
                tuple(limit.name for limit in limits_along(quantities, leg, _unseen, is_firm=False)),
                tuple(demand.name for demand in demands_at(quantities, leg)),
            )
            for leg in legs
        ),
    )


def _kept_by(scenario: Scenario, fixed: Sequence[Event], legs: Sequence[Leg]) -> Hashable:
    """Which demands are met by where the order has them: a window by the cruise or by the level of a hold-down.

    Likewise a gate by the approach speed, and what a gate asks to be out.
    """
    gates = [event for event in fixed if event.kind is EventKind.GATE]
    numbers = [device.number for device in devices(scenario.airframe)]
    return (
        tuple(cruise_meets(scenario, event) for event in fixed),
        tuple(
            level_meets(scenario, Event(EventKind.HOLD_BEGINS, leg.hold), leg.ends)
            for leg in legs
            if leg.hold is not None
        ),
        tuple(approach_meets(scenario, gate) for gate in gates),
        tuple(asks_for(scenario, gate, number) for gate in gates for number in numbers),
    )


def _unseen(point: Point) -> tuple[Control, Configuration, Motion]:
    raise AssertionError(f"a constraint is evaluated where only its name is wanted ({point})")
