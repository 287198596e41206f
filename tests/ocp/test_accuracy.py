"""Order of convergence, refinement, node families, and what the certificate sees."""

from __future__ import annotations

import math
from dataclasses import replace

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import (
    Family,
    Guess,
    Mesh,
    Outcome,
    Phase,
    PhaseGuess,
    PhaseMesh,
    Problem,
    RefineSettings,
    Settings,
    SolverSettings,
    Span,
    Variable,
    find_chatter,
    local_errors,
    solve,
    transcribe,
)
from optdescent.ocp.basis import Array
from optdescent.ocp.point import Point
from optdescent.ocp.refine import decay, enriched, refine
from tests.ocp import benchmark_problems as posed


def regulator() -> tuple[Problem, Guess, float]:
    """x' = u, half the integral of x^2 + u^2 over 2 from x = 1: tanh(2) / 2, by the Riccati equation."""
    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u"),),
        lambda p: {"x": p["u"]},
        Span(0, 0),
        Span(2, 2),
        integrand=lambda p: (p["x"] ** 2 + p["u"] ** 2) / 2,
    )
    problem = Problem("regulator", (phase,), lambda e: e["arc"].integral, boundaries=posed.ends({"x": 1}, {}))
    guess = Guess({"arc": PhaseGuess([0, 2], {"x": [1, 0]}, {"u": [0, 0]})})
    return problem, guess, math.tanh(2.0) / 2


@pytest.mark.parametrize(("family", "lost"), [(Family.GAUSS, 0), (Family.FLIPPED, 1), (Family.STANDARD, 1)])
@pytest.mark.parametrize("degree", [1, 2, 3])
def test_order_of_convergence(family: Family, lost: int, degree: int) -> None:
    """The cost converges with order 2 d (Gauss) or 2 d - 1 (Radau); states with order d + 1 between the ends."""
    problem, guess, optimum = regulator()
    cost, state = [], []
    for elements in (4, 8, 16):
        program = transcribe(problem, Mesh.uniform(problem, elements, degree, family))
        found = program.solve({}, guess, SolverSettings(tolerance=1e-12))
        arc = found["arc"]
        cost.append(abs(found.cost - optimum))
        state.append(np.max(np.abs(arc.states["x"] - np.cosh(2 - arc.independent) / np.cosh(2))))
    orders = np.log2(np.array(cost[:-1]) / cost[1:])
    assert orders == pytest.approx([2 * degree - lost] * 2, abs=0.2)
    assert np.log2(state[-2] / state[-1]) > min(degree + 1, 2 * degree - lost) - 0.35


def test_costates_converge_to_the_gradient_of_the_cost() -> None:
    problem, guess, _ = regulator()
    found = transcribe(problem, Mesh.uniform(problem, 6, 5)).solve({}, guess, SolverSettings(tolerance=1e-12))
    arc = found["arc"]
    exact = np.tanh(2 - arc.control_at) * np.cosh(2 - arc.control_at) / np.cosh(2)
    assert arc.costates["x"] == pytest.approx(exact, abs=1e-7)


def test_a_cost_that_still_moves_is_not_taken_for_settled() -> None:
    """x' = u holds exactly at any degree, so the local error is nil on a mesh whose cost is far off."""
    problem, guess, optimum = regulator()
    coarse = Mesh.uniform(problem, 2, 1)
    first = transcribe(problem, coarse).solve({}, guess)
    assert float(np.max(local_errors(problem, first)["arc"].state)) < 1e-9
    assert abs(first.cost - optimum) > 1e-3
    found = solve(problem, guess, mesh=coarse)
    assert found.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(optimum, rel=1e-7)


def test_refinement_puts_a_boundary_at_the_switch() -> None:
    problem, guess = posed.double_integrator()
    mesh = Mesh.uniform(problem, 7, 4)
    found = solve(problem, guess, {"distance": 1.0}, mesh)
    assert found.cost == pytest.approx(2.0, rel=1e-7)
    assert np.min(np.abs(found["arc"].boundaries - 1.0)) < 1e-4
    assert len(found["arc"].boundaries) < 20


def test_refinement_merges_what_is_idle() -> None:
    problem, guess, _ = regulator()
    found = solve(problem, guess, mesh=Mesh.uniform(problem, 60, 8))
    assert found.outcome is Outcome.SOLVED
    idle, moving = posed.double_integrator()
    fine = solve(idle, moving, {"distance": 1.0}, Mesh.uniform(idle, 61, 4))
    assert fine.history[-1].elements < fine.history[0].elements


def test_the_history_tells_every_round() -> None:
    problem, guess = posed.hang_glider()
    found = solve(problem, guess, {"updraught": 1.0})
    assert len(found.history) > 2
    errors = [r.local_error for r in found.history]
    assert errors[-1] <= 1e-6 < errors[0]
    assert all(r.outcome is Outcome.SOLVED and r.seconds > 0 for r in found.history)
    assert found.history[-1].cost == found.cost


def test_too_few_rounds_are_said_to_be_coarse() -> None:
    problem, guess = posed.hang_glider()
    settings = Settings(refinement=RefineSettings(rounds=2))
    assert solve(problem, guess, {"updraught": 1.0}, settings=settings).outcome is Outcome.COARSE


def test_what_is_not_finite_at_a_point_of_a_finer_mesh_leaves_the_solution_before() -> None:
    """Somewhere the rate is the root of less than nothing, which no point of the first mesh sees."""
    problem, guess, _ = regulator()
    mesh = Mesh.uniform(problem, 1, 3)
    first = transcribe(problem, mesh).solve({}, guess)
    finer = enriched(mesh, RefineSettings()).phases["arc"]
    seen = 2.0 * finer.collocation
    place = float(seen[np.argmax(np.min(np.abs(seen[:, None] - 2.0 * mesh.phases["arc"].collocation), axis=1))])

    def rates(p: Point) -> dict[str, ca.SX]:
        return {"x": p["u"] + 1e-9 * ca.sqrt((p.independent - place) ** 2 - 1e-12)}

    (phase,) = problem.phases
    broken = replace(problem, phases=(replace(phase, rates=rates),))
    found = solve(broken, guess, mesh=mesh)
    assert found.outcome is Outcome.COARSE
    assert found.mesh == mesh
    assert found.cost == pytest.approx(first.cost)
    assert found.fault is not None
    assert (found.fault.phase, found.fault.variable) == ("arc", "x")


def test_a_fixed_mesh_is_kept() -> None:
    problem, guess = posed.hang_glider()
    mesh = Mesh.uniform(problem, 12, 4)
    found = solve(problem, guess, {"updraught": 1.0}, mesh, Settings(refinement=RefineSettings(rounds=0)))
    assert found.mesh == mesh
    assert found.outcome is Outcome.SOLVED


def test_smooth_rates_lose_decades_and_rates_with_a_corner_hardly_any() -> None:
    smooth, guess, _ = regulator()
    found = transcribe(smooth, Mesh.uniform(smooth, 2, 8)).solve({}, guess)["arc"]
    assert decay(found, 0, {"x": 0.0}) == 1.0
    assert found.cumulative[-1] == pytest.approx(found.integral, rel=1e-9)
    switched, guess = posed.double_integrator()
    found = transcribe(switched, Mesh.uniform(switched, 3, 8)).solve({"distance": 1.0}, guess)["arc"]
    assert 0.0 < decay(found, 1, {"x": 0.0, "v": 0.0}) < 0.3


def test_a_phase_that_is_good_keeps_its_mesh() -> None:
    """With all that was found for it: the very object."""
    problem, guess = posed.goddard_three()
    mesh = Mesh.uniform(problem, {"full": 1, "singular": 1, "coast": 8}, 4)
    found = transcribe(problem, mesh).solve({}, guess)
    errors = local_errors(problem, found)
    rules = RefineSettings(local_error=1.5 * float(np.max(errors["coast"].state)))
    again = refine(found, errors, rules)
    assert max(float(np.max(errors[name].state)) for name in ("full", "singular")) > rules.local_error
    assert again.phases["coast"] is mesh.phases["coast"]
    assert again.phases["full"] != mesh.phases["full"]


def test_an_element_beside_one_a_million_times_longer_is_not_continued_into_it() -> None:
    problem, guess = posed.double_integrator()
    mesh = Mesh({"arc": PhaseMesh((1e-7, 0.2, 0.3 - 1e-7, 0.2, 0.3), (4,) * 5)})
    found = transcribe(problem, mesh).solve({"distance": 1.0}, guess)
    with np.errstate(all="raise"):
        again = refine(found, local_errors(problem, found), RefineSettings())
    assert again.phases["arc"].fractions[0] == pytest.approx(1e-7)


@pytest.mark.parametrize("place", range(4, 64, 8))
def test_a_kink_is_found_wherever_it_lies_in_an_element(place: int) -> None:
    """A control that follows 1 + |t - kink|: where it is continued from both sides the two cross at the kink."""
    kink = 0.3 + 0.1 * place / 64

    def wanted(p: Point) -> ca.SX:
        return 1.0 + ca.fabs(p.independent - kink)

    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u", -5, 5),),
        lambda p: {"x": 3 * p["u"] + 2 * wanted(p) - p["x"]},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: (p["u"] - wanted(p)) ** 2,
    )
    problem = Problem("kink", (phase,), lambda e: e["arc"].integral, boundaries=posed.ends({"x": 0}, {}))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 1]}, {"u": [1, 1]})})
    found = solve(problem, guess, settings=Settings(refinement=RefineSettings(local_error=1e-8)))
    assert found.outcome is Outcome.SOLVED
    assert len(found.history) <= 3
    assert np.min(np.abs(found["arc"].boundaries - kink)) < 1e-6


def test_rounding_of_a_control_at_its_limit_does_not_say_where_an_element_is_split() -> None:
    """The thrust of the Goddard rocket continued from both sides of where it leaves its limit: both are at it there."""
    problem, guess = posed.goddard()
    rules = RefineSettings(local_error=1e-4, rounds=1)
    found = solve(problem, guess, settings=Settings(refinement=rules))
    errors, own, draw = local_errors(problem, found), found["arc"], np.random.default_rng(1)
    edges: list[Array] = []
    for _ in range(8):
        thrust = own.controls["thrust"] + 1e-9 * draw.uniform(-1.0, 1.0, own.control_at.size)
        near = replace(found, phases={"arc": replace(own, controls={"thrust": thrust})})
        edges.append(refine(near, errors, rules).phases["arc"].edges)
    for other in edges[1:]:
        assert other == pytest.approx(edges[0], abs=1e-7)


def test_enrichment_halves_at_the_largest_degree() -> None:
    problem, _, _ = regulator()
    mesh = enriched(Mesh.uniform(problem, 2, 5), RefineSettings(largest_degree=5)).phases["arc"]
    assert mesh.degrees == (5,) * 4
    assert enriched(Mesh.uniform(problem, 2, 4), RefineSettings(largest_degree=5)).phases["arc"].degrees == (5, 5)


def test_flipped_points_chatter_on_a_singular_arc_and_gauss_points_do_not() -> None:
    problem, guess = posed.goddard_three()
    chattering = transcribe(problem, Mesh.uniform(problem, 4, 6, Family.FLIPPED)).solve({}, guess)
    smooth = transcribe(problem, Mesh.uniform(problem, 4, 6, Family.GAUSS)).solve({}, guess)
    assert find_chatter(chattering)[0].phase == "singular"
    assert chattering.cost < smooth.cost - 1e-5
    assert find_chatter(smooth) == ()
    assert smooth.certificate.arcs["singular"].switching["thrust"].is_linear
