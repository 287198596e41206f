"""An order that neither its flight nor a relaxation solves: followed from easier data, then from changed guesses."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp import persist, transcribe
from optdescent.optimum.conflict import NotConverged
from optdescent.optimum.events import Event, EventKind, fixed_distance
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.trial import FLOWN, Trial
from optdescent.results import Flight
from optdescent.scenario import Scenario


def persisted(trial: Trial, flight: Flight, log: list[str]) -> Trial:
    """The trial's order, reached from its descent in easier data or from guesses shaken a little; the log says how.

    The easier data are still air, and windows open to what a `flight` has there.

    Raises
    ------
    NotConverged
        No attempt succeeded.
    """
    program = transcribe(trial.problem, trial.solution.mesh)
    scenario = trial.pose.scenario
    easy = program.solve(eased_values(scenario, flight), trial.guess, FLOWN)
    log.append(f"in still air, windows open: {easy.outcome.name.lower()}")
    near = easy if easy.is_usable else None
    found, attempts = persist(program, parameter_values(scenario), trial.guess, near, FLOWN)
    log += [f"{attempt.step.value}: {attempt.outcome.name.lower()}" for attempt in attempts]
    reached = replace(trial, solution=found, is_elastic=False)
    if not reached.is_orderly:
        raise NotConverged(found.outcome.name.lower(), found.iterations, trial.is_feasible)
    return reached


def eased_values(scenario: Scenario, flight: Flight) -> dict[str, NDArray[np.float64]]:
    """Parameters [SI] with the wind still and each window open to what a flight has there."""
    values = parameter_values(scenario)
    values["wind"] = np.zeros_like(values["wind"])
    x = -flight.column("distance_to_go")
    for index in range(len(scenario.arrival.windows)):
        event = Event(EventKind.WINDOW, index)
        for what, column, low, high in (
            ("altitude", "pressure_altitude", "lowest", "highest"),
            ("speed", "calibrated_airspeed", "slowest", "fastest"),
        ):
            has = np.atleast_1d(np.interp(fixed_distance(scenario, event), x, flight.column(column)))
            own = {key: f"{key} {what} at {event.label}" for key in (low, high, "exact")}
            eased = {low: np.minimum, high: np.maximum}
            for key, name in own.items():
                if name in values:
                    values[name] = eased[key](values[name], has) if key in eased else has
    return values
