"""What a certificate sees: errors, a re-flight, the Hamiltonian along an arc, switching functions; what it betrays."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest

from optdescent.ocp import (
    Certificate,
    Family,
    Guess,
    Mesh,
    Outcome,
    Phase,
    PhaseGuess,
    Problem,
    ProblemFault,
    Solution,
    Span,
    Variable,
    solve,
    transcribe,
)
from optdescent.ocp.basis import Array
from tests.ocp import benchmark_problems as posed


def with_control(found: Solution, name: str, values: Array) -> Solution:
    """The same solution, but for one control of its first phase."""
    (phase, own), *others = found.phases.items()
    return replace(found, phases={phase: replace(own, controls={**own.controls, name: values}), **dict(others)})


def test_switching_functions_agree_with_a_bang_bang_control_and_not_with_its_opposite() -> None:
    """Least time of the double integrator (Pontryagin 1961): the costate of the speed has one change of sign."""
    problem, guess = posed.double_integrator()
    found = solve(problem, guess, {"distance": 4.0})
    arc = next(iter(found.certificate.arcs.values()))
    (name, seen), points = next(iter(arc.switching.items())), arc.hamiltonian.size
    assert seen.is_linear
    assert seen.wrong == found.certificate.wrong_signs == 0
    own = next(iter(found.phases.values()))
    opposite = with_control(found, name, -own.controls[name])
    assert opposite.certificate.wrong_signs >= points - 1
    delayed = own.controls[name].copy()
    first = int(np.flatnonzero(np.diff(delayed))[-1]) + 1
    delayed[first : first + 3] = delayed[0]
    assert with_control(found, name, delayed).certificate.wrong_signs == 3


def test_the_certificate_goes_with_the_solution_it_is_asked_of() -> None:
    """A changed solution is examined anew, a pickled one without its problem says that it has none."""
    problem, guess = posed.brachistochrone()
    found = solve(problem, guess, {"gravity": 9.80665})
    assert found.certificate is found.certificate
    assert found.certificate.local_error == found.history[-1].local_error
    own = found["arc"]
    worse = with_control(found, "theta", own.controls["theta"] + 0.01)
    assert worse.certificate.local_error > 100.0 * found.certificate.local_error
    assert worse.certificate.stationarity > 1e-3 > 100.0 * found.certificate.stationarity
    travelled = pickle.loads(pickle.dumps(found))
    with pytest.raises(ProblemFault, match="without its problem"):
        _ = travelled.certificate
    assert Certificate(problem, travelled).reflight == found.certificate.reflight


@pytest.mark.parametrize("ends", [(0.0, 0.0), (4.0, 4.0 + 1e-12), (4e9, 4e9 - 3.0)])
def test_a_phase_of_no_length_or_backwards_shows_no_switching(ends: tuple[float, float]) -> None:
    """Nothing that a control is there changes anything."""
    problem, guess = posed.double_integrator()
    found = solve(problem, guess, {"distance": 4.0})
    (name, own), *_ = found.phases.items()
    tiny = replace(own, independent=np.linspace(*ends, own.independent.size))
    nowhere = replace(found, phases={name: tiny, "beside it": own})
    opposite = with_control(nowhere, next(iter(own.controls)), 0.3 - next(iter(own.controls.values())))
    assert opposite.certificate.wrong_signs == 0
    assert opposite.certificate.stationarity == 0.0


def test_the_certificate_of_a_good_solution() -> None:
    problem, guess = posed.hang_glider()
    found = solve(problem, guess, {"updraught": 1.0})
    seen = found.certificate
    arc = seen.arcs["arc"]
    assert seen.optimality < 1e-8
    assert seen.violation < 2e-8
    assert 0.0 <= seen.slackness < 1e-4
    assert seen.local_error <= 1e-6
    assert abs(seen.cost_error) < 1e-4
    assert seen.reflight["x"] < 1e-3
    assert seen.reflight["y"] < 1e-3
    assert arc.is_autonomous
    assert seen.hamiltonian_drift < 1e-4
    assert np.abs(arc.hamiltonian).max() < 1e-3 * arc.size
    assert arc.switching["cl"].wrong == 0
    assert arc.switching["cl"].stationarity < 1e-2
    assert not arc.switching["cl"].is_linear
    assert seen.chatter == ()


def test_the_certificate_betrays_a_spurious_flight() -> None:
    """Standard Radau points report success on 1500 m, the bound of the box; an energy estimate rules it out."""
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 50, 5, Family.STANDARD))
    found = program.solve({"updraught": 1.0}, guess)
    assert found.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(-1500.0, abs=1e-3)
    seen = found.certificate
    assert seen.local_error > 1e-2
    assert seen.reflight["y"] > 10.0
    assert seen.chatter


def test_the_hamiltonian_of_a_least_time_problem_is_minus_one() -> None:
    problem, guess = posed.brachistochrone()
    seen = solve(problem, guess, {"gravity": 9.80665}).certificate
    assert seen.arcs["arc"].hamiltonian == pytest.approx(-1.0, abs=1e-6)


def test_an_explicit_independent_variable_is_noticed() -> None:
    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u", -1, 1),),
        lambda p: {"x": p["u"] * p.independent},
        Span(0, 0),
        Span(1, 1),
    )
    problem = Problem("dated", (phase,), lambda e: -e["arc"].end["x"], boundaries=posed.ends({"x": 0}, {}))
    found = solve(problem, Guess({"arc": PhaseGuess([0, 1], {"x": [0, 0]}, {"u": [0, 0]})}))
    seen = found.certificate
    assert not seen.arcs["arc"].is_autonomous
    assert seen.hamiltonian_drift == 0.0
    assert found.cost == pytest.approx(-0.5, rel=1e-7)
