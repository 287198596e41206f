"""The best order of events on a first mesh, from a flown guess; where that leads nowhere, from one that slows first."""

from __future__ import annotations

from optdescent.ocp import Memory
from optdescent.optimum.conflict import DemandsConflict, NotConverged, telling
from optdescent.optimum.glide import begins_with_a_step, first_flight
from optdescent.optimum.order import order_of
from optdescent.optimum.progress import Progress
from optdescent.optimum.search import in_right_order
from optdescent.optimum.trial import Trial
from optdescent.scenario import Scenario
from optdescent.scenario.midway import CRUISE


def first_trial(scenario: Scenario, progress: Progress, memory: Memory, is_firm: bool) -> Trial:
    """The best order found from a first flight [SI].

    Where the scenario begins too near or too high for the usual one, or with something out, what it does not find is
    sought from a flight that slows down first. `is_firm` : see `Pose`.

    Raises
    ------
    DemandsConflict
        No descent meets the demands.
    NotConverged
        Neither a descent nor a conflict was found.
    """
    progress("first flight")
    failures: list[DemandsConflict | NotConverged] = []
    flight = first_flight(scenario)
    try:
        return in_right_order(scenario, flight, *order_of(scenario, flight), progress, memory, is_firm=is_firm)
    except (DemandsConflict, NotConverged) as failure:
        if not begins_with_a_step(flight) and scenario.midway == CRUISE:
            raise
        failures.append(failure)
    progress("no descent found: from a flight that slows down first")
    flight = first_flight(scenario, slows_first=True)
    order = order_of(scenario, flight, early=True)
    try:
        return in_right_order(scenario, flight, *order, progress, memory, is_firm=is_firm)
    except (DemandsConflict, NotConverged) as failure:
        failures.append(failure)
    raise telling(*failures)
