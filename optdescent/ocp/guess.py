"""A first guess: what the states and controls might look like."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp.fault import ProblemFault, numbers
from optdescent.ocp.problem import Phase, Problem

Series = Sequence[float] | NDArray[np.float64]


@dataclass(frozen=True)
class PhaseGuess:
    """Series (k,) of a phase, k >= 2; ``independent`` must not decrease."""

    independent: Series
    states: Mapping[str, Series]
    controls: Mapping[str, Series] = field(default_factory=dict[str, Series])


@dataclass(frozen=True)
class Guess:
    """Guesses of all phases and values of all statics."""

    phases: Mapping[str, PhaseGuess]
    statics: Mapping[str, float] = field(default_factory=dict[str, float])


def check_guess(problem: Problem, guess: Guess) -> None:
    """Raise ProblemFault when the guess lacks or misspells something, or holds a value that is not finite.

    Raises
    ------
    ProblemFault : with phase, variable and index.
    """
    for name in guess.phases:
        problem.phase(name)
    for phase in problem.phases:
        if phase.name not in guess.phases:
            raise ProblemFault("the guess says nothing about this phase", phase=phase.name)
        _check_phase(phase, guess.phases[phase.name])
    for variable in problem.statics:
        if not np.isfinite(numbers(guess.statics.get(variable.name, np.nan), "", variable.name)):
            raise ProblemFault("the guess of this static is missing or not finite", variable=variable.name)


def _check_phase(phase: Phase, own: PhaseGuess) -> None:
    base = numbers(own.independent, phase.name, "independent")
    if base.ndim != 1 or base.size < 2 or np.any(np.diff(base) < 0.0):
        raise ProblemFault("the guess needs at least two values that do not decrease", phase.name, "independent")
    _check_series(phase.name, "independent", own.independent, base.shape)
    for variables, series in ((phase.states, own.states), (phase.controls, own.controls)):
        known = {v.name for v in variables}
        for name in series:
            if name not in known:
                raise ProblemFault("the guess names a variable that does not exist", phase.name, name)
        for name in sorted(known):
            if name not in series:
                raise ProblemFault("the guess of this variable is missing", phase.name, name)
            _check_series(phase.name, name, series[name], base.shape)


def _check_series(phase: str, name: str, series: Series, shape: tuple[int, ...]) -> None:
    values = numbers(series, phase, name)
    if values.shape != shape:
        raise ProblemFault(f"the guess has shape {values.shape}, the independent variable {shape}", phase, name)
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        raise ProblemFault("the guess is not finite", phase, name, int(bad[0]))
