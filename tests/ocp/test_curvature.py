"""Which solutions are told to be no minimum, and which are not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import (
    BoundaryConstraint,
    Ends,
    Family,
    Guess,
    Mesh,
    Outcome,
    Parameter,
    PathConstraint,
    Phase,
    PhaseGuess,
    Problem,
    RefineSettings,
    Settings,
    Solution,
    Span,
    Variable,
    solve,
    transcribe,
)
from tests.ocp import benchmark_problems as posed

ONE_MESH = Settings(refinement=RefineSettings(rounds=0))


def with_static(
    cost: Callable[[Ends], ca.SX],
    low: float,
    high: float,
    rows: tuple[BoundaryConstraint, ...] = (),
    scale: float | None = None,
) -> tuple[Problem, Guess]:
    """A static to be chosen, beside a state that decays."""
    phase = Phase("arc", (Variable("x", -1, 1),), (), lambda p: {"x": -p["x"]}, Span(0, 0), Span(1, 1))
    problem = Problem(
        "static",
        (phase,),
        cost,
        boundaries=(*posed.ends({"x": 0.5}, {}), *rows),
        statics=(Variable("s", low, high, scale),),
        parameters=(Parameter("slope"),),
    )
    return problem, Guess({"arc": PhaseGuess([0, 1], {"x": [0.5, 0.2]})}, {"s": 0.3})


def wells(e: Ends) -> ca.SX:
    """slope * s^2 / 2 + s^4 / 4 is least at 0 or, of a negative slope, in two wells beside it."""
    return e.parameters["slope"] * e.static["s"] ** 2 / 2 + e.static["s"] ** 4 / 4


def solved(posing: tuple[Problem, Guess], slope: float) -> Solution:
    """On one mesh."""
    return solve(*posing, {"slope": slope}, settings=ONE_MESH)


def test_what_is_no_minimum_is_told() -> None:
    """Newton's method stays where first-order conditions hold, though the minimum there has become a maximum."""
    problem, guess = with_static(wells, -2, 2)
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    least = program.solve({"slope": 1.0}, guess)
    assert least.statics["s"] == pytest.approx(0.0, abs=1e-6)
    assert least.certificate.lacking_curvature == 0.0
    stays = program.solve({"slope": -1.0}, least)
    assert stays.statics["s"] == pytest.approx(0.0, abs=1e-6)
    bends = stays.scales["s"] ** 2 / stays.scales["cost"]
    assert bends < stays.certificate.lacking_curvature < 100.0 * bends
    falls = program.solve({"slope": -1.0}, guess)
    assert abs(falls.statics["s"]) == pytest.approx(1.0, rel=1e-6)
    assert falls.certificate.lacking_curvature == 0.0


def test_what_nothing_tried_is_enough_for_is_a_number() -> None:
    """JSON has none that are not finite."""
    problem, guess = with_static(wells, -2, 2, scale=1e3)
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    stays = program.solve({"slope": -1.0}, program.solve({"slope": 1.0}, guess))
    assert stays.statics["s"] == pytest.approx(0.0, abs=1e-6)
    assert stays.certificate.lacking_curvature == 1e5


@pytest.mark.parametrize("slope", [-2.0, -0.5])
def test_along_a_limit_that_is_pushed_against_nothing_need_curve(slope: float) -> None:
    """Of the wells' descent at 0.1 to 0.5 the middle curves downwards."""
    found = solved(with_static(wells, 0.1, 0.5), slope)
    assert found.statics["s"] == pytest.approx(0.5)
    assert found.certificate.lacking_curvature == 0.0


def test_where_all_is_held_nothing_need_curve() -> None:
    """All columns, too."""
    found = solved(with_static(wells, 0.3, 0.3), -2.0)
    assert found.certificate.lacking_curvature == 0.0
    still = Phase("arc", (Variable("x", 0.5, 0.5),), (), lambda p: {"x": 0.0 * p["x"]}, Span(0, 0), Span(1, 1))
    problem = Problem("still", (still,), lambda e: -(e["arc"].end["x"] ** 2))
    found = solve(problem, Guess({"arc": PhaseGuess([0, 1], {"x": [0.5, 0.5]})}), settings=ONE_MESH)
    assert found.certificate.lacking_curvature == 0.0


@pytest.mark.parametrize("steepness", [1.0, 1e-3, 1e-5])
def test_an_equation_that_is_nearly_flat_holds_as_well(steepness: float) -> None:
    """The only point there is, though the cost curves downwards along the static."""

    def row(e: Ends) -> ca.SX:
        return steepness * (e.static["s"] + e.static["s"] ** 3 / 10)

    asked = steepness * 1.1
    found = solved(
        with_static(lambda e: -5 * e.static["s"] ** 2, -2, 2, (BoundaryConstraint("row", row, asked, asked),)), 0.0
    )
    assert found.statics["s"] == pytest.approx(1.0, rel=1e-4)
    assert found.certificate.lacking_curvature == 0.0


def held(by: str) -> tuple[Problem, Guess]:
    """A control whose square pays, held at 1 at most by its own limit, or near it by a path limit."""
    limit = PathConstraint("least", lambda p: p["u"] + 0.1 * p["x"], upper=1.0)
    phase = Phase(
        "arc",
        (Variable("x", -5, 5),),
        (Variable("u", 0.0, 1.0 if by == "bound" else 3.0),),
        lambda p: {"x": p["u"]},
        Span(0, 0),
        Span(1, 1),
        path=(limit,) if by == "path" else (),
        integrand=lambda p: -(p["u"] ** 2) - p["u"],
    )
    problem = Problem("held", (phase,), lambda e: e["arc"].integral, boundaries=posed.ends({"x": 0}, {}))
    return problem, Guess({"arc": PhaseGuess([0, 1], {"x": [0, 0.5]}, {"u": [0.5, 0.5]})})


@pytest.mark.parametrize("by", ["bound", "path"])
def test_along_a_control_that_is_held_nothing_need_curve(by: str) -> None:
    problem, guess = held(by)
    found = transcribe(problem, Mesh.uniform(problem, 5, 3)).solve({}, guess)
    assert found.outcome is Outcome.SOLVED
    assert found.certificate.lacking_curvature == 0.0


@pytest.mark.parametrize("elements", [10, 20, 30])
@pytest.mark.parametrize("pose", [posed.goddard, posed.goddard_three])
def test_limits_that_are_barely_pushed_against_count(pose: Callable[[], tuple[Problem, Guess]], elements: int) -> None:
    """Along the rocket's singular arc: an interior point leaves as much room there as it has multiplier."""
    problem, guess = pose()
    found = transcribe(problem, Mesh.uniform(problem, elements, 4, Family.FLIPPED)).solve({}, guess)
    assert found.is_usable
    assert found.certificate.lacking_curvature == 0.0


def test_what_is_no_solution_is_no_minimum_either() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    few = program.solve({"updraught": 1.0}, guess)
    lost = replace(few, outcome=Outcome.INFEASIBLE)
    assert np.isnan(lost.certificate.lacking_curvature)
    coarse = replace(few, outcome=Outcome.COARSE)
    assert coarse.certificate.lacking_curvature == few.certificate.lacking_curvature == 0.0
