"""A refinement ends where more points no longer help: where a control swings to and fro on any mesh."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import casadi as ca
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from optdescent.ocp import (
    BoundaryConstraint,
    Family,
    Guess,
    Outcome,
    PathConstraint,
    Phase,
    PhaseGuess,
    Problem,
    RefineSettings,
    Round,
    Settings,
    Span,
    Variable,
    find_chatter,
    solve,
)
from optdescent.ocp.damped import has_stalled, is_stuck
from tests.ocp.benchmark_problems import bang_singular, goddard

ROUND = Round(10, 100, 1.0, 1e-3, 0.0, 0.0, 20, 0.1, Outcome.SOLVED)
ASKED = RefineSettings(local_error=1e-6, excess=1e-4)


def rounds(*seen: tuple[int, float], excess: float = 0.0) -> tuple[Round, ...]:
    """Rounds with these points and local errors."""
    return tuple(replace(ROUND, points=points, local_error=error, excess=excess) for points, error in seen)


def test_many_more_points_for_little_are_too_many() -> None:
    assert is_stuck(rounds((100, 3e-3), (160, 2e-3), (300, 2.5e-3), (600, 2e-3)), False, ASKED)


@pytest.mark.parametrize(
    "history",
    [
        rounds((100, 3e-3), (300, 2e-3), (600, 2e-3)),
        rounds((100, 3e-3), (160, 2e-3), (300, 2.5e-3), (600, 9e-4)),
        rounds((100, 3e-6), (110, 2e-6), (120, 2.5e-6), (130, 2e-6)),
        rounds((100, 1e-7), (160, 1e-7), (300, 1e-7), (600, 1e-7)),
        rounds((120, 3e-3), (160, 2e-3), (200, 2.5e-3), (246, 1.2e-3)),
    ],
    ids=["too early to say", "the error falls", "few points more", "good, but the cost moves", "few points as yet"],
)
def test_other_refinements_go_on(history: tuple[Round, ...]) -> None:
    assert not is_stuck(history, False, ASKED)


def test_few_points_are_those_of_a_mesh_that_has_not_grown_to_four_times_the_first() -> None:
    later = ((120, 3e-3), (160, 2e-3), (200, 2.5e-3), (246, 1.2e-3))
    assert not is_stuck(rounds((62, 5e-3), *later), False, ASKED)
    assert is_stuck(rounds((61, 5e-3), *later), False, ASKED)


def test_where_a_control_swings_few_points_are_enough_to_see_it() -> None:
    history = rounds((100, 3e-3), (110, 2e-3), (120, 2.5e-3), (130, 2e-3))
    assert is_stuck(history, True, ASKED)
    assert not is_stuck(history, False, ASKED)


def test_what_is_broken_between_points_counts_too() -> None:
    assert is_stuck(rounds((100, 1e-7), (160, 1e-7), (300, 1e-7), (600, 1e-7), excess=1e-2), False, ASKED)


def test_errors_that_come_and_go_for_four_rounds_have_stalled() -> None:
    history = rounds((300, 2.7e-5), (370, 1.8e-6), (380, 5.3e-6), (385, 7e-6), (390, 2.7e-6), (390, 1.7e-5))
    assert has_stalled(history, ASKED)
    assert not has_stalled(history[:-1], ASKED)
    assert not has_stalled((*history[:-1], *rounds((390, 1.7e-6))), ASKED)
    assert not has_stalled((*history[:-1], *rounds((390, 9e-7))), ASKED)
    good = rounds(*[(100 + i, 1e-7 + i * 1e-8) for i in range(8)])
    assert not has_stalled(good, ASKED)
    assert has_stalled(tuple(replace(r, excess=2e-4 + i * 1e-5) for i, r in enumerate(good)), ASKED)


def test_a_control_that_swings_on_any_mesh_is_given_up() -> None:
    """The square of the control pays and its integral costs: the best is to swing without end (Young, Lectures on the
    Calculus of Variations and Optimal Control Theory, 1969, on Bolza's example).
    """
    phase = Phase(
        "arc",
        (Variable("x", -1, 1), Variable("v", 0, 10)),
        (Variable("u", -1, 1),),
        lambda p: {"x": p["u"] + 0.3 * p["x"], "v": -p["v"] * p["u"] ** 2},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: 10 * p["x"] ** 2,
    )
    ends = (
        BoundaryConstraint("start of x", lambda e: e["arc"].start["x"], 0, 0),
        BoundaryConstraint("start of v", lambda e: e["arc"].start["v"] - 1, 0, 0),
    )
    problem = Problem("swing", (phase,), lambda e: e["arc"].end["v"] + e["arc"].integral, boundaries=ends)
    guess = PhaseGuess([0, 0.3, 0.6, 1], {"x": [0, 0.1, -0.1, 0], "v": [1, 0.7, 0.4, 0.3]}, {"u": [1, -1, 1, -1]})
    found = solve(problem, Guess({"arc": guess}))
    assert found.outcome is Outcome.COARSE
    assert len(found.history) < ASKED.rounds - 5, "given up before the mesh has grown beyond use"
    assert found.mesh.points < 3000


def held_at_a_limit() -> tuple[Problem, Guess, float]:
    """Farthest along a limit on the speed that rises and falls, against drag, with the best cost.

    The more speed the better: full thrust up to the limit, then along it, by adaptive quadrature. What a thrust that
    holds it swings costs next to nothing.
    """
    phase = Phase(
        "arc",
        (Variable("v"),),
        (Variable("u", -1, 1),),
        lambda p: {"v": p["u"] - 0.2 * p["v"] ** 2},
        Span(0, 0),
        Span(6, 6),
        path=(PathConstraint("limit", lambda p: p["v"] - 1 - 0.3 * ca.sin(p.independent), upper=0.0),),
        integrand=lambda p: 1e-4 * p["u"] ** 2 - p["v"],
    )
    start = BoundaryConstraint("start", lambda e: e["arc"].start["v"], 0, 0)
    problem = Problem("held", (phase,), lambda e: e["arc"].integral, boundaries=(start,))
    guess = Guess({"arc": PhaseGuess([0, 6], {"v": [0, 1]}, {"u": [0.5, 0.2]})})

    drag = math.sqrt(0.2)
    meets = brentq(lambda t: math.tanh(drag * t) / drag - 1 - 0.3 * math.sin(t), 0.5, 3)

    def along(t: float) -> float:
        speed = 1 + 0.3 * math.sin(t)
        return 1e-4 * (0.3 * math.cos(t) + 0.2 * speed**2) ** 2 - speed

    before = 1e-4 * meets - math.log(math.cosh(drag * meets)) / 0.2
    return problem, guess, before + quad(along, meets, 6)[0]


def test_a_control_that_holds_a_limit_is_damped() -> None:
    """Gauss points carry the kink where the limit is met along all of it, and no finer mesh ends that."""
    problem, guess, best = held_at_a_limit()
    found = solve(problem, guess)
    assert found.outcome is Outcome.SOLVED
    assert found.mesh.phases["arc"].family is Family.FLIPPED
    assert found.cost == pytest.approx(best, abs=1e-6)
    assert not find_chatter(found)
    assert found.mesh.points < 300
    assert found.certificate.local_error <= 1e-6


@pytest.mark.parametrize("pose", [goddard, bang_singular])
def test_controls_that_swing_on_a_good_mesh_are_calmed(pose: Callable[[], tuple[Problem, Guess]]) -> None:
    """Along singular arcs, at an error that a mesh meets on which the control is not settled."""
    problem, guess = pose()
    asked = RefineSettings(local_error=1e-4, cost_change=1e-4)
    swings, calm = (
        solve(problem, guess, settings=Settings(refinement=replace(asked, calming=times))) for times in (0, 2)
    )
    assert swings.outcome is calm.outcome is Outcome.SOLVED
    assert find_chatter(swings)
    assert not find_chatter(calm)
    assert calm.cost == pytest.approx(swings.cost, rel=1e-4)


def test_swings_that_stay_are_told_and_are_no_coarse_mesh() -> None:
    """The Goddard rocket to an error of 1e-3: a quarter and a sixteenth of it do not calm its thrust."""
    problem, guess = goddard()
    found = solve(problem, guess, settings=Settings(refinement=RefineSettings(local_error=1e-3, cost_change=1e-3)))
    assert found.outcome is Outcome.SOLVED
    assert find_chatter(found)
