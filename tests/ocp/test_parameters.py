"""Sensitivities against re-solves, elastic relaxation, and the persistent way to a solution."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import (
    BoundaryConstraint,
    Demand,
    Guess,
    Kind,
    Mesh,
    Outcome,
    Parameter,
    PathConstraint,
    Persistence,
    Phase,
    PhaseGuess,
    Point,
    Problem,
    ProblemFault,
    Solution,
    SolverSettings,
    Span,
    Start,
    Step,
    Variable,
    Warmth,
    cost_sensitivity,
    persist,
    predict,
    relax,
    trajectory_sensitivity,
    transcribe,
)
from optdescent.ocp.basis import Array
from optdescent.ocp.limits import Box, bounds, limit_values
from optdescent.ocp.neighbour import active_limits
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.scale import column_scales
from optdescent.ocp.solution import Raw
from tests.ocp import benchmark_problems as posed

TIGHT = SolverSettings(tolerance=1e-11, warmth=Warmth.COLD)
EXACT = SolverSettings(tolerance=3e-14)


def dry_rocket() -> tuple[Problem, Guess]:
    """The three-phase rocket with its final mass as a parameter of a boundary constraint."""
    problem, guess = posed.goddard_three()
    dry = BoundaryConstraint("end m", lambda e: e["coast"].end["m"], lambda q: q["dry"], lambda q: q["dry"])
    rows = tuple(dry if b.name == "end m" else b for b in problem.boundaries)
    phases = tuple(
        replace(p, states=tuple(Variable("m", 0.5, 1) if v.name == "m" else v for v in p.states))
        for p in problem.phases
    )
    return replace(problem, phases=phases, boundaries=rows, parameters=(Parameter("dry"),)), guess


CASES: list[tuple[Callable[[], tuple[Problem, Guess]], str, float]] = [
    (posed.hang_glider, "updraught", 1.0),
    (posed.brachistochrone, "gravity", 9.80665),
    (posed.bryson_denham, "limit", 1 / 9),
    (posed.double_integrator, "distance", 1.0),
    (dry_rocket, "dry", 0.6),
]


def neighbours(
    program: NonlinearProgram, guess: Guess, name: str, value: float, step: float
) -> tuple[Solution, Solution, Solution]:
    """At the value by an interior point, and a step to either side."""
    middle = program.solve({name: value}, guess, TIGHT)
    above = program.solve({name: value + step}, middle, TIGHT)
    below = program.solve({name: value - step}, middle, TIGHT)
    return middle, above, below


@pytest.mark.parametrize(("posing", "name", "value"), CASES)
def test_cost_sensitivity(posing: Callable[[], tuple[Problem, Guess]], name: str, value: float) -> None:
    """The parameter acts through rates, a state bound, a path, and a boundary constraint in turn."""
    problem, guess = posing()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    step = 1e-4 * value
    middle, above, below = neighbours(program, guess, name, value, step)
    found = cost_sensitivity(program, middle)[name]
    assert found.shape == (1,)
    assert found[0] == pytest.approx((above.cost - below.cost) / (2 * step), rel=1e-6)


def test_cost_sensitivity_by_hand() -> None:
    # Bryson-Denham: d/dl of 4 / (9 l).
    problem, guess = posed.bryson_denham()
    program = transcribe(problem, Mesh.uniform(problem, {"arc": 9}, 6))
    found = program.solve({"limit": 1 / 9}, guess)
    assert cost_sensitivity(program, found)["limit"][0] == pytest.approx(-36.0, rel=1e-3)


@pytest.mark.parametrize(("posing", "name", "value"), [CASES[0], CASES[1], CASES[3]])
def test_trajectory_sensitivity(posing: Callable[[], tuple[Problem, Guess]], name: str, value: float) -> None:
    """Against central differences of re-solves, to a thousandth of the largest change of each state."""
    problem, guess = posing()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    step = 1e-3 * value
    check_trajectories(program, *neighbours(program, guess, name, value, step), 2 * step, 1e-3)


@pytest.mark.parametrize("value", [0.55, 0.56, 0.58, 0.6])
def test_trajectory_sensitivity_along_a_singular_arc(value: float) -> None:
    """Where an interior point ends, limits are in force that are not beside it: Newton's method goes on from there.

    To its last digit: where the arc hardly curves a residual of 1e-11 leaves a thousandth of what a step changes.
    """
    problem, guess = dry_rocket()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    step = 1e-4 * value
    first = program.solve({"dry": value}, guess, TIGHT)
    middle, above, below = (program.solve({"dry": value + d}, first, EXACT) for d in (0.0, step, -step))
    assert {found.start for found in (middle, above, below)} == {Start.NEIGHBOUR}
    check_trajectories(program, middle, above, below, 2 * step, 3e-4)
    if value >= 0.58:
        # There the interior point ends where Newton's method goes on from.
        check_trajectories(program, first, above, below, 2 * step, 3e-4)


@pytest.mark.parametrize("value", [0.55, 0.56])
def test_a_trajectory_sensitivity_is_that_of_the_solution_it_is_given(value: float) -> None:
    """Where Newton's method jumps to another optimum: what all conditions lack grows as the square of the step."""
    problem, guess = dry_rocket()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    first = program.solve({"dry": value}, guess, TIGHT)
    change = trajectory_sensitivity(program, first)
    scale, size = first.raw.scales, first.raw.x.size

    def at(dry: float, raw: Raw) -> tuple[Box, Array, Array]:
        """Limits; columns and rows; slope of the Lagrangian."""
        unit = column_scales(program.layout, scale)
        box = bounds(problem, program.layout, limit_values(problem, np.array([dry])), unit, scale)
        rows, pull = program.slopes.pull(raw.x, np.concatenate([[dry], scale]), raw.lam_g)
        return box, np.concatenate([raw.x, rows]), pull

    box, whole, _ = at(value, first.raw)
    held, at_high = active_limits(first.raw, whole[size:], box)

    def lack(step: float) -> Array:
        """Slopes of what is free, and how far from its limit is what is held."""
        box, whole, pull = at(value + step, predict(first, change, np.array([step])).raw)
        limit = np.where(at_high, box.high_of_all, box.low_of_all)
        return np.concatenate([pull[~held[:size]], (whole - limit)[held]])

    lacks = [float(np.abs(lack(step) - lack(0.0)).max()) for step in (1e-4, 5e-5)]
    assert lacks[0] / lacks[1] == pytest.approx(4.0, rel=0.1)


def check_trajectories(
    program: NonlinearProgram, middle: Solution, above: Solution, below: Solution, apart: float, part: float
) -> None:
    """The sensitivity in the middle against the difference over so much of the only parameter."""
    found = trajectory_sensitivity(program, middle)
    for state in {key[1] for key in found.states}:
        where = [key for key in found.states if key[1] == state]
        again = [(above[p].states[state] - below[p].states[state]) / apart for p, _ in where]
        # A path that no parameter bends, as the cycloid by gravity, is compared with the state's scale.
        (value,) = next(iter(middle.values.values()))
        size = max(*(float(np.max(np.abs(a))) for a in again), 1e-6 * middle.scales[f"{where[0][0]}.{state}"] / value)
        for key, difference in zip(where, again, strict=True):
            assert np.max(np.abs(found.states[key][:, 0] - difference)) < part * size
    again = np.array([(above[p].end - below[p].end) / apart for p in found.edges])
    edges = np.array([e[1, 0] for e in found.edges.values()])
    assert np.max(np.abs(edges - again)) <= part * np.max(np.abs(again))


def test_a_prediction_is_second_order_close() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    middle = program.solve({"updraught": 1.0}, guess, TIGHT)
    change = trajectory_sensitivity(program, middle)
    misses = []
    for step in (0.004, 0.002):
        ahead = predict(middle, change, np.array([step]))
        again = program.solve({"updraught": 1.0 + step}, middle, TIGHT)
        misses.append(np.max(np.abs(ahead.raw.x - again.raw.x)[program.layout.phases[0].states]))
    assert misses[0] / misses[1] == pytest.approx(4.0, abs=0.6)


def test_two_demands_two_feet_apart_are_named() -> None:
    """A path with a floor, a gate 2 below the floor: the gate gives way by 2, and it is said against what."""
    phase = Phase(
        "final",
        (Variable("height", 0, 3000),),
        (Variable("angle", -0.2, 0.2),),
        lambda p: {"height": p["angle"]},
        Span(-10000, -10000),
        Span(0, 0),
        path=(PathConstraint("floor", lambda p: p["height"] + 0.05 * p.independent, lower=50, upper=70, scale=100),),
    )
    problem = Problem(
        "two feet",
        (phase,),
        lambda e: e["final"].end["height"],
        boundaries=(BoundaryConstraint("gate", lambda e: e["final"].end["height"], 46, 48, 100),),
    )
    guess = Guess({"final": PhaseGuess([-10000, 0], {"height": [560, 55]}, {"angle": [-0.05, -0.05]})})
    mesh = Mesh.uniform(problem, 6, 3)
    assert not transcribe(problem, mesh).solve({}, guess).outcome.is_success
    gate, floor = Demand(Kind.BOUNDARY, "gate"), Demand(Kind.PATH, "floor", "final", weight=1e3)
    found = relax(problem, (gate, floor), guess, {}, mesh)
    assert found.outcome is Outcome.SOLVED
    assert found.given == {gate: pytest.approx(2.0, abs=1e-3)}
    assert set(found.opposing) == {floor}
    assert found.total == pytest.approx(2.0, abs=1e-3)
    # Weighed the other way, the path gives way instead.
    cheap = Demand(Kind.PATH, "floor", "final", weight=1e-3)
    other = relax(problem, (gate, cheap), guess, {}, mesh)
    assert other.given == {cheap: pytest.approx(2.0, abs=1e-2)}


def short_of_time() -> tuple[Problem, Guess, Mesh]:
    problem, guess = posed.double_integrator()
    short = replace(problem, phases=(replace(problem.phases[0], end=Span(1.0, 1.0)),))
    return short, guess, Mesh.uniform(short, 6, 4)


@pytest.mark.parametrize(
    ("demand", "amount"),
    [
        (Demand(Kind.END, phase="arc"), 1.0),  # 2 s are needed
        (Demand(Kind.CONTROL, "u", "arc"), 3.0),  # |u| <= 4
        (Demand(Kind.BOUNDARY, "end x"), 0.75),  # 0.25 m can be had
    ],
)
def test_each_kind_of_demand_gives_way(demand: Demand, amount: float) -> None:
    """1 m in 1 s at |u| <= 1: by 2 sqrt(d / u) = t."""
    problem, guess, mesh = short_of_time()
    found = relax(problem, (demand,), guess, {"distance": 1.0}, mesh)
    assert found.outcome is Outcome.SOLVED
    assert found.given[demand] == pytest.approx(amount, rel=1e-3)


def test_a_state_bound_gives_way() -> None:
    problem, guess, mesh = short_of_time()
    slow = replace(problem.phases[0], states=(Variable("x"), Variable("v", -1, 0.5)), end=Span(2.0, 2.0))
    demand = Demand(Kind.STATE, "v", "arc")
    found = relax(replace(problem, phases=(slow,)), (demand,), guess, {"distance": 1.0}, mesh)
    assert found.given[demand] == pytest.approx(0.5, rel=1e-3)


def test_what_is_feasible_is_not_relaxed() -> None:
    problem, guess = posed.double_integrator()
    demand = Demand(Kind.BOUNDARY, "end x")
    found = relax(problem, (demand,), guess, {"distance": 1.0}, Mesh.uniform(problem, 6, 4))
    assert found.given == {}
    assert found.opposing == {}


def test_a_relaxation_that_fails_is_sought_with_the_next_settings() -> None:
    problem, guess, mesh = short_of_time()
    demand = Demand(Kind.END, phase="arc")
    hasty = SolverSettings(iterations=1, again=False)
    assert relax(problem, (demand,), guess, {"distance": 1.0}, mesh, [hasty]).outcome is Outcome.ITERATIONS
    found = relax(problem, (demand,), guess, {"distance": 1.0}, mesh, [hasty, SolverSettings(), hasty])
    assert found.outcome is Outcome.SOLVED
    assert found.given[demand] == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(
    "demand", [Demand(Kind.BOUNDARY, "no"), Demand(Kind.PATH, "no", "arc"), Demand(Kind.STATE, "x", "no")]
)
def test_a_demand_must_exist(demand: Demand) -> None:
    problem, guess, mesh = short_of_time()
    with pytest.raises(ProblemFault):
        relax(problem, (demand,), guess, {"distance": 1.0}, mesh)


def test_persistence_says_which_step_succeeded() -> None:
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    first, log = persist(program, {"updraught": 1.0}, guess)
    assert [a.step for a in log] == [Step.GUESS]
    again, log = persist(program, {"updraught": 1.05}, guess, first)
    assert [a.step for a in log] == [Step.NEIGHBOUR]
    assert again.outcome is Outcome.SOLVED
    assert again.start is Start.NEIGHBOUR


def test_a_long_way_is_followed_in_steps() -> None:
    """Few iterations per solve: neither the neighbour nor the guess is near enough, half the way is."""
    problem, guess = posed.hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 10, 4))
    near = program.solve({"updraught": 1.0}, guess)
    few = SolverSettings(iterations=5)
    found, log = persist(program, {"updraught": 1.5}, guess, near, few)
    assert [a.step for a in log[:3]] == [Step.NEIGHBOUR, Step.GUESS, Step.FOLLOWED]
    assert not log[0].outcome.is_success
    assert log[2].reached == 1.0
    assert found.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(program.solve({"updraught": 1.5}, guess).cost, rel=1e-6)


def test_a_shaken_guess_leads_where_the_guess_itself_leads_nowhere() -> None:
    """The square of the end has no slope where the guess ends, so that nothing says which way to go."""
    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u", -3, 3),),
        lambda p: {"x": p["u"]},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: p["u"] ** 2,
    )
    square = BoundaryConstraint("square of the end", lambda e: e["arc"].end["x"] ** 2, 1, 1)
    problem = Problem("square", (phase,), lambda e: e["arc"].integral, boundaries=(*posed.ends({"x": 0}, {}), square))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 0]}, {"u": [0, 0]})})
    found, log = persist(transcribe(problem, Mesh.uniform(problem, 3, 3)), {}, guess)
    assert [a.step for a in log] == [Step.GUESS, Step.RESTART]
    assert not log[0].outcome.is_success
    assert found.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(1.0, rel=1e-6)


def test_a_guess_shaken_to_where_nothing_is_defined_is_one_attempt_of_several() -> None:
    """A root of the state near its end, and a target that the state cannot reach."""

    def rates(p: Point) -> dict[str, ca.SX]:
        return {"x": p["u"] * ca.sqrt(p["x"])}

    phase = Phase("arc", (Variable("x"),), (Variable("u", -1, 1),), rates, Span(0, 0), Span(1, 1))
    problem = Problem("root", (phase,), lambda e: e["arc"].end["x"], boundaries=posed.ends({"x": 0.02}, {"x": 9}))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0.02, 1]}, {"u": [1, 1]})})
    program = transcribe(problem, Mesh.uniform(problem, 3, 3))
    _, log = persist(program, {}, guess, persistence=Persistence(restarts=6, size=0.1))
    assert [a.step for a in log] == [Step.GUESS, *[Step.RESTART] * 6]
    assert any(a.outcome is Outcome.INVALID_NUMBER and a.iterations == 0 for a in log[1:])


def test_an_infeasible_problem_uses_up_all_attempts() -> None:
    problem, guess, mesh = short_of_time()
    found, log = persist(transcribe(problem, mesh), {"distance": 1.0}, guess, persistence=Persistence(restarts=2))
    assert not found.outcome.is_success
    assert [a.step for a in log] == [Step.GUESS, Step.RESTART, Step.RESTART]


def test_a_column_parameter_has_a_sensitivity_per_entry() -> None:
    """Least energy with a given push b(t) = b0 + b1 t: closed form by the quadratic programme's own re-solves."""
    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u"),),
        lambda p: {"x": p["u"] + p["push"][0] + p["push"][1] * p.independent},
        Span(0, 0),
        Span(1, 1),
        integrand=lambda p: p["u"] ** 2 / 2,
    )
    problem = Problem(
        "pushed",
        (phase,),
        lambda e: e["arc"].integral,
        boundaries=posed.ends({"x": 0}, {"x": 1}),
        parameters=(Parameter("push", 2),),
    )
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 1]}, {"u": [0, 0]})})
    program = transcribe(problem, Mesh.uniform(problem, 3, 4))
    found = program.solve({"push": [0.2, 0.4]}, guess)
    # u is constant: u = 1 - b0 - b1 / 2, cost u^2 / 2.
    u = 1 - 0.2 - 0.2
    assert found.cost == pytest.approx(u**2 / 2, rel=1e-8)
    assert cost_sensitivity(program, found)["push"] == pytest.approx([-u, -u / 2], rel=1e-7)
    slopes = trajectory_sensitivity(program, found).controls["arc", "u"]
    assert slopes == pytest.approx(np.tile([-1, -0.5], (12, 1)), abs=1e-6)
    along = np.array([[1.0, 2.0, 0.0], [0.0, -4.0, 1.0]])
    directed = trajectory_sensitivity(program, found, along)
    assert directed.controls["arc", "u"] == pytest.approx(slopes @ along, abs=1e-9)
    assert directed.edges["arc"].shape == (2, 3)
    assert isinstance(program.functions.nlp, ca.Function)
