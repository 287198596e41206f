"""What two scenarios must have in common to be one problem with other numbers."""

from __future__ import annotations

from collections.abc import Hashable

from optdescent.airframe import Configuration
from optdescent.motion import Control
from optdescent.motion.equations import Motion
from optdescent.ocp import Point
from optdescent.optimum.boundaries import demands_at
from optdescent.optimum.events import cruise_meets, fixed_distance, fixed_events
from optdescent.optimum.limits import limits_along
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
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
        tuple((name, value.size) for name, value in parameter_values(scenario).items()),
    )


def structure(pose: Pose) -> Hashable:
    """Everything of a posed scenario that is not a number of its problem [-].

    Two poses of one structure are the same program: phases with the same constraints, parameters of the same sizes,
    fixed events in their order. What the constraints are made of stands in their names.
    """
    scenario = pose.scenario
    here = [event for event in pose.order if event.is_fixed]
    places = [fixed_distance(scenario, event) for event in here]
    sinks = [limit.below_height for limit in scenario.arrival.sink_limits]
    return (
        world(scenario),
        set(here) == set(fixed_events(scenario)) and places == sorted(places),
        tuple(cruise_meets(scenario, event) for event in here),
        tuple(sorted(range(len(sinks)), key=sinks.__getitem__)),
        tuple(
            (
                leg.kind,
                tuple(limit.name for limit in limits_along(pose.quantities, leg, _unseen)),
                tuple(demand.name for demand in demands_at(pose.quantities, leg)),
            )
            for leg in pose.legs
        ),
    )


def _unseen(point: Point) -> tuple[Control, Configuration, Motion]:
    raise AssertionError(f"a constraint is evaluated where only its name is wanted ({point})")
