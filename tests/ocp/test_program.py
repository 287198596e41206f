"""The nonlinear program: derivatives, re-solves, scales, links, limits, multipliers."""

from __future__ import annotations

import math
from dataclasses import replace

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import (
    BoundaryConstraint,
    Family,
    Guess,
    Link,
    Memory,
    Mesh,
    Outcome,
    Parameter,
    PathConstraint,
    Phase,
    PhaseGuess,
    Problem,
    SolverSettings,
    Span,
    Start,
    Variable,
    Warmth,
    solve,
    transcribe,
)
from tests.ocp import benchmark_problems as posed


@pytest.mark.parametrize("family", Family)
def test_assembled_derivatives_are_the_derivatives(family: Family) -> None:
    """Gradient, Jacobian and Hessian against CasADi's differentiation of the assembled function."""
    problem, _ = posed.goddard_three()
    program = transcribe(problem, Mesh.uniform(problem, {"full": 2, "singular": 1, "coast": 3}, 3, family))
    own = program.functions
    random = np.random.default_rng(7)
    x = 0.9 + 0.2 * random.random(program.columns)
    p = 0.9 + 0.2 * random.random(program.layout.scales)
    lam = random.standard_normal(program.rows)
    nlp = own.nlp.expand()
    jacobian = nlp.factory("j", ["x", "p"], ["jac:g:x"])(x, p).full()
    gradient = nlp.factory("f", ["x", "p"], ["grad:f:x"])(x, p).full()
    hessian = nlp.factory("h", ["x", "p", "lam:f", "lam:g"], ["triu:hess:gamma:x:x"], {"gamma": ["f", "g"]})
    assert own.jacobian(x, p)[1].full() == pytest.approx(jacobian, abs=1e-12)
    assert own.gradient(x, p)[1].full() == pytest.approx(gradient, abs=1e-12)
    assert own.hessian(x, p, 0.7, lam).full() == pytest.approx(hessian(x, p, 0.7, lam).full(), abs=1e-9)
    around, curve = program.slopes.around(x, p), hessian(x, p, 1.0, lam).full()
    cost, rows = (value.full().ravel() for value in nlp(x, p))
    assert around.cost == pytest.approx(cost[0], abs=1e-12)
    assert around.value == pytest.approx(rows, abs=1e-12)
    assert around.slope.toarray() == pytest.approx(jacobian, abs=1e-12)
    assert around.gradient == pytest.approx(gradient.ravel(), abs=1e-12)
    assert program.slopes.pull(x, p, lam)[1] == pytest.approx(around.pull(lam), abs=1e-12)
    both = curve + curve.T - np.diag(np.diag(curve))
    assert program.slopes.curve(x, p, lam).toarray() == pytest.approx(both, abs=1e-9)


@pytest.mark.parametrize("warmth", Warmth)
def test_a_program_is_solved_again_with_other_values(warmth: Warmth) -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 15, 4))
    first = program.solve({"updraught": 1.0}, guess)
    again = program.solve({"updraught": 1.02}, first, SolverSettings(warmth=warmth))
    fresh = transcribe(problem, program.mesh).solve({"updraught": 1.02}, guess)
    assert again.outcome is Outcome.SOLVED
    assert again.start is (Start.COLD if warmth is Warmth.COLD else Start.NEIGHBOUR)
    assert again.cost == pytest.approx(fresh.cost, rel=1e-7)
    if warmth is not Warmth.COLD:
        assert again.iterations < fresh.iterations / 2


@pytest.mark.parametrize("limit", [0.1, 0.105, 0.12])
def test_a_neighbour_with_other_limits_active_is_the_same_solution(limit: float) -> None:
    """Bryson, Denham, Dreyfus 1963: the lower the limit, the longer the arc along it; optimum 4/(9 l)."""
    problem, guess = posed.bryson_denham()
    mesh = Mesh.uniform(problem, 20, 4)
    program = transcribe(problem, mesh)
    first = program.solve({"limit": 0.1}, guess)
    again = program.solve({"limit": limit}, first)
    fresh = transcribe(problem, mesh).solve({"limit": limit}, guess)
    assert again.outcome is Outcome.SOLVED
    assert again.cost == pytest.approx(fresh.cost, rel=1e-7)
    assert again["arc"].states["x"] == pytest.approx(fresh["arc"].states["x"], abs=1e-5)
    assert again["arc"].costates["v"] == pytest.approx(fresh["arc"].costates["v"], abs=1e-3)
    assert again.constraint_violation < 1e-7
    assert again.dual_infeasibility < 1e-7


def test_a_limit_is_let_go_when_only_its_multiplier_turns() -> None:
    """Nothing else in the conditions sees the parameter: a price on a static, above nothing and then below it."""
    phase = Phase("arc", (Variable("x", -1, 1),), (), lambda p: {"x": -p["x"]}, Span(0.0, 0.0), Span(1.0, 1.0))
    start = BoundaryConstraint("start", lambda e: e["arc"].start["x"], 0.5, 0.5)
    problem = Problem(
        "price",
        (phase,),
        lambda e: e.parameters["price"] * e.static["amount"],
        boundaries=(start,),
        statics=(Variable("amount", 0.0, 2.0),),
        parameters=(Parameter("price"),),
    )
    guess = Guess({"arc": PhaseGuess([0.0, 1.0], {"x": [0.5, 0.2]}, {})}, {"amount": 1.0})
    program = transcribe(problem, Mesh.uniform(problem, 3, 3))
    first = program.solve({"price": 1.0}, guess)
    again = program.solve({"price": -1.0}, first)
    assert first.statics["amount"] == pytest.approx(0.0, abs=1e-6)
    assert again.statics["amount"] == pytest.approx(2.0, abs=1e-6)


def test_what_is_no_neighbour_is_left_to_the_interior_point() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 15, 4))
    first = program.solve({"updraught": 1.0}, guess)
    far = program.solve({"updraught": 2.5}, first)
    assert far.start in (Start.WARM, Start.WARM_THEN_COLD)
    assert far.cost == pytest.approx(program.solve({"updraught": 2.5}, guess).cost, rel=1e-6)


def test_a_neighbour_is_left_to_the_interior_point_where_that_is_asked_for() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 15, 4))
    first = program.solve({"updraught": 1.0}, guess)
    near, by_interior_point = (
        program.solve({"updraught": 1.02}, first, SolverSettings(newton=newton)) for newton in (True, False)
    )
    assert (near.start, by_interior_point.start) == (Start.NEIGHBOUR, Start.WARM)
    assert by_interior_point.cost == pytest.approx(near.cost, rel=1e-7)


def test_many_neighbours_share_one_first_solution() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 15, 4))
    first = program.solve({"updraught": 1.0}, guess)
    for updraught in (0.99, 1.0, 1.01):
        again = program.solve({"updraught": updraught}, first)
        assert again.start is Start.NEIGHBOUR
        assert again.cost == pytest.approx(program.solve({"updraught": updraught}, guess).cost, rel=1e-7)


def test_a_solution_starts_another_mesh_warm() -> None:
    problem, guess = posed.hang_glider()
    coarse = transcribe(problem, Mesh.uniform(problem, 20, 4)).solve({"updraught": 1.0}, guess)
    program = transcribe(problem, Mesh.uniform(problem, 30, 5))
    fine = program.solve({"updraught": 1.0}, coarse)
    assert fine.start is Start.NEIGHBOUR
    assert fine.iterations < coarse.iterations / 2
    assert fine.cost == pytest.approx(program.solve({"updraught": 1.0}, guess).cost, rel=1e-7)


def test_a_bound_may_be_a_parameter() -> None:
    problem, guess = posed.bryson_denham()
    program = transcribe(problem, Mesh.uniform(problem, 20, 4))
    for limit in (0.1, 0.15):
        assert program.solve({"limit": limit}, guess).cost == pytest.approx(4 / (9 * limit), rel=1e-4)


def gliding(turn: float, least: float = 0.0) -> tuple[Problem, Guess]:
    """Two phases over distance in SI: level at ``turn`` or before, then down at a limited angle to a gate at 0.

    The descent of 8000 m at -0.05 rad takes 160 km; time at 200 m/s is the cost beside a dear level phase.
    """
    states = (Variable("altitude", 0, 12000), Variable("time", 0, 1e5))
    level = Phase(
        "level",
        states,
        (),
        lambda p: {"altitude": ca.SX(0), "time": ca.SX(1 / 200)},
        Span(-300000, -300000),
        Span(-300000, turn),
        least_length=least,
    )
    down = Phase(
        "down",
        states,
        (Variable("angle", lambda q: -q["steepest"], 0.0),),
        lambda p: {"altitude": p["angle"], "time": 1 / (200 + p["altitude"] / 100)},
        Span(-300000, 0),
        Span(0, 0),
        path=(PathConstraint("ceiling", lambda p: p["altitude"], upper=11000, scale=1000),),
    )
    problem = Problem(
        "gliding",
        (level, down),
        lambda e: e["down"].end["time"],
        links=(Link("level", "down", ("altitude", "time")),),
        boundaries=(
            BoundaryConstraint("from", lambda e: e["level"].start["altitude"], 8000, 8000),
            BoundaryConstraint("clock", lambda e: e["level"].start["time"], 0, 0),
            BoundaryConstraint("gate", lambda e: e["down"].end["altitude"] * 1.0, 0, 0, 1000),
        ),
        parameters=(Parameter("steepest"),),
    )
    guess = Guess(
        {
            "level": PhaseGuess([-300000, -200000], {"altitude": [8000, 8000], "time": [0, 500]}),
            "down": PhaseGuess([-200000, 0], {"altitude": [8000, 0], "time": [500, 1500]}, {"angle": [-0.04, -0.04]}),
        }
    )
    return problem, guess


def test_distance_in_si_units_is_scaled() -> None:
    """Speed rises with height in the second phase: stay high as long as the angle allows, then come down."""
    problem, guess = gliding(-200000.0)
    found = solve(problem, guess, {"steepest": 0.05})
    assert found.outcome is Outcome.SOLVED
    start = -8000 / 0.05
    # No level phase at 200 m/s: 280 m/s up to the top of descent, whose time is a logarithm.
    exact = (300000 + start) / 280 + math.log(280 / 200) * 100 / 0.05
    assert found.cost == pytest.approx(exact, rel=1e-6)
    assert found["level"].length == pytest.approx(0.0, abs=1.0)
    assert found["down"].state("altitude", start)[0] == pytest.approx(8000, abs=1)


def test_a_phase_may_collapse_or_keep_a_least_length() -> None:
    problem, guess = gliding(-200000.0, least=20000.0)
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    found = program.solve({"steepest": 0.05}, guess)
    assert found.outcome is Outcome.SOLVED
    assert found["level"].length == pytest.approx(20000.0, rel=1e-6)


def test_a_link_holds_states_and_independent_variable() -> None:
    problem, guess = posed.goddard_three()
    found = transcribe(problem, Mesh.uniform(problem, 5, 4)).solve({}, guess)
    for before, after in (("full", "singular"), ("singular", "coast")):
        assert found[before].end == pytest.approx(found[after].start, abs=1e-9)
        for name in ("h", "v", "m"):
            assert found[before].states[name][-1] == pytest.approx(found[after].states[name][0], abs=1e-9)


def test_limits_that_exclude_each_other_are_an_outcome() -> None:
    problem, guess = posed.goddard_three()
    heavy = BoundaryConstraint("heavy", lambda e: e["coast"].end["m"], 2.0, 3.0)
    found = transcribe(replace(problem, boundaries=(*problem.boundaries, heavy)), Mesh.uniform(problem, 3, 3)).solve(
        {}, guess
    )
    assert found.outcome is Outcome.INFEASIBLE


def test_too_little_time_is_infeasible_and_few_iterations_are_said_so() -> None:
    problem, guess = posed.double_integrator()
    short = replace(problem.phases[0], end=Span(0.1, 1.0))
    program = transcribe(replace(problem, phases=(short,)), Mesh.uniform(problem, 6, 3))
    found = program.solve({"distance": 1.0}, guess)
    assert not found.outcome.is_success
    assert found.constraint_violation > 1e-3
    few = transcribe(problem, Mesh.uniform(problem, 6, 3)).solve({"distance": 1.0}, guess, SolverSettings(iterations=2))
    assert few.outcome is Outcome.ITERATIONS


def test_multipliers_are_derivatives_of_the_cost() -> None:
    """Costate at the start, boundary multiplier and bound multiplier against re-solves."""
    problem, guess = posed.hang_glider()
    step = 0.01

    def glide(height: float, most: float) -> float:
        rows = tuple(
            BoundaryConstraint(b.name, b.function, height, height) if b.name == "start y" else b
            for b in problem.boundaries
        )
        phase = replace(problem.phases[0], controls=(Variable("cl", 0, most),))
        changed = replace(problem, phases=(phase,), boundaries=rows)
        return transcribe(changed, Mesh.uniform(problem, 25, 4)).solve({"updraught": 1.0}, guess).cost

    found = transcribe(problem, Mesh.uniform(problem, 25, 4)).solve({"updraught": 1.0}, guess)
    by_height = (glide(1000 + step, 1.4) - glide(1000 - step, 1.4)) / (2 * step)
    assert found["arc"].costates["y"][0] == pytest.approx(by_height, rel=1e-2)
    assert -found.multipliers.boundaries["start y"] == pytest.approx(by_height, rel=1e-4)
    by_most = (glide(1000, 1.4 + 1e-3) - glide(1000, 1.4 - 1e-3)) / 2e-3
    held = found.multipliers.limits["control", "arc", "cl"]
    assert -held[held > 0].sum() == pytest.approx(by_most, rel=1e-3)


def test_integrals_along_the_phase() -> None:
    problem, guess = posed.bryson_denham()
    found = transcribe(problem, Mesh.uniform(problem, 20, 4)).solve({"limit": 0.3}, guess)
    arc = found["arc"]
    assert arc.integral == pytest.approx(2.0, rel=1e-6)
    # Free above the limit: u = -2 throughout.
    assert arc.cumulative == pytest.approx(2 * arc.independent, rel=1e-5, abs=1e-8)
    assert arc.integral_weight == pytest.approx(1.0, rel=1e-8)


def test_a_control_free_path_holds_at_element_ends_too() -> None:
    problem, guess = posed.bryson_denham()
    limit = PathConstraint("below", lambda p: p["x"], upper=lambda q: q["limit"], scale=0.1)
    phase = replace(problem.phases[0], states=(Variable("x"), Variable("v")), path=(limit,))
    found = transcribe(replace(problem, phases=(phase,)), Mesh.uniform(problem, 10, 4)).solve({"limit": 1 / 9}, guess)
    arc = found["arc"]
    assert np.max(arc.states["x"]) <= 1 / 9 + 1e-8
    assert np.sum(arc.states["x"][arc.mesh.open_nodes] > 1 / 9 - 1e-6) >= 2
    assert found.cost == pytest.approx(4.0, rel=1e-4)


def test_statics_are_optimised_and_reported() -> None:
    """x' = s with x(1) = 2: the static must be 2."""
    phase = Phase("arc", (Variable("x"),), (), lambda p: {"x": p["speed"]}, Span(0, 0), Span(1, 1))
    problem = Problem(
        "static",
        (phase,),
        lambda e: e.static["speed"] ** 2,
        boundaries=posed.ends({"x": 0}, {"x": 2}),
        statics=(Variable("speed", 0, 10),),
    )
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 1]})}, {"speed": 1.0})
    found = transcribe(problem, Mesh.uniform(problem, 2, 3)).solve({}, guess)
    assert found.statics["speed"] == pytest.approx(2.0, rel=1e-8)
    assert set(found.scales) == {"cost", "independent", "speed", "arc.x"}


def test_one_memory_serves_problems_with_other_statics() -> None:
    """What is compiled for a kind of phase takes the statics: with more of them it is another function."""
    problem, guess = posed.hang_glider()
    memory, mesh = Memory(), Mesh.uniform(problem, 12, 4)
    phases = tuple(replace(phase, kind="glide") for phase in problem.phases)
    costs: list[float] = []
    for count in (0, 2):
        names = [f"spare {index}" for index in range(count)]
        spare = tuple(Variable(name, 1.0, 1.0) for name in names)
        one = replace(problem, phases=phases, statics=(*problem.statics, *spare), memory=memory)
        own = replace(guess, statics={**guess.statics, **dict.fromkeys(names, 1.0)})
        costs.append(transcribe(one, mesh).solve({"updraught": 1.0}, own).cost)
    assert costs == pytest.approx([transcribe(problem, mesh).solve({"updraught": 1.0}, guess).cost] * 2, rel=1e-9)
    assert len(memory.forms) == len(memory.kernels) == 2
