"""Values that a sweep stores of a solved case [SI], and its slopes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.ocp import ProblemFault
from optdescent.optimum.beside import Programs
from optdescent.optimum.columns import REFLIGHT
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.report import cost_column, directions, regularisation
from optdescent.optimum.trajectory import refly
from optdescent.optimum.trial import Trial
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.sweep.question import Case, Value
from optdescent.units import UNITS

Array = NDArray[np.float64]

_NUDGE = 1e-4
"""Part of an axis by which it is moved to see what it changes of the parameters, which are smooth in it."""
_NOT_FOUND = (ProblemFault, ValueError, ArithmeticError)
"""What a re-flight or slopes may end in: numbers that the engine refuses, or the integrator or a linear system (numpy's
LinAlgError is a ValueError), or that cannot be computed with. Anything else is a defect and shows as one."""


def summary_values(trial: Trial, flight: Flight) -> dict[str, Value]:
    """What the descent is, by column [SI]."""
    summary, gate = flight.summary, flight.summary.gate
    return {
        "cost": trial.solution.cost,
        "fuel": summary.fuel,
        "time": summary.time,
        "top_of_descent": summary.top_of_descent,
        "thrust_distance": summary.thrust_distance,
        "thrust_fuel": summary.thrust_fuel,
        "brake_distance": summary.brake_distance,
        "gate_speed": gate.calibrated_airspeed,
        "gate_above_reference": gate.calibrated_airspeed - gate.reference_speed,
        "gate_sink": gate.sink,
        "stable": int(gate.stable),
    }


def certificate_values(trial: Trial) -> dict[str, Value]:
    """What the solution shows for itself, by column [SI]."""
    solution = trial.solution
    return {
        "iterations": solution.iterations,
        "optimality": solution.dual_infeasibility,
        "constraint_violation": solution.constraint_violation,
        "local_error": trial.largest_error,
        "program_size": solution.raw.x.size,
        "regularisation": regularisation(trial.pose, solution),
        "order": trial.sentence,
    }


def reflight_values(trial: Trial) -> dict[str, Value]:
    """How far it is off when flown again, by column [SI]; nothing where that cannot be done: the optimum stays."""
    try:
        again = refly(trial.pose, trial.solution)
    except _NOT_FOUND:
        return {}
    flown = (again.altitude, again.speed, again.fuel)
    return {column.name: value for column, value in zip(REFLIGHT, flown, strict=True)}


def slopes(case: Case, trial: Trial, programs: Programs) -> tuple[Array, Array] | None:
    """Derivatives of the cost: to each ordered axis in its unit, and to the quantities of a report in theirs [kg].

    None where they cannot be computed: the optimum stays.
    """
    try:
        whole = cost_column(programs.of(trial), trial.solution)
        here = _column(case.scenario)
        axes = case.asked.conditions.axes
        to_axes = [_slope(case, index, whole, here) if axis.is_ordered else np.nan for index, axis in enumerate(axes)]
        found = directions(trial.pose.scenario, trial.problem)
    except _NOT_FOUND:
        return None
    to_quantities = [float(whole @ direction) * UNITS[unit].factor for _, unit, direction in found]
    return np.array(to_axes), np.array(to_quantities)


def _slope(case: Case, axis: int, whole: Array, here: Array) -> float:
    """Derivative to an axis, from that to the whole column of parameters and their difference over a small part of it.

    The other way at the end of what a scenario allows; not a number where neither is a scenario of the same numbers.
    """
    step = _NUDGE * case.asked.conditions.axes[axis].span
    for by in (step, -step):
        try:
            there = _column(case.moved(axis, by))
        except InputFault:
            continue
        if there.size == here.size:
            return float(whole @ (there - here)) / by
    return float("nan")


def _column(scenario: Scenario) -> Array:
    """Every parameter of a scenario's problem, in their order."""
    return np.concatenate(list(parameter_values(scenario).values()))
