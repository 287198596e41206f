"""The interior point of small programs: its steps solve Newton's equations, and it ends where the general one ends."""

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
    Link,
    Mesh,
    NonlinearProgram,
    Outcome,
    Parameter,
    PathConstraint,
    Phase,
    PhaseGuess,
    PhaseMesh,
    Point,
    Problem,
    ProblemFault,
    SolverSettings,
    Span,
    Start,
    Variable,
    transcribe,
)
from optdescent.ocp.central import suits
from optdescent.ocp.interior import Ending, InteriorPoint
from optdescent.ocp.pattern import Pattern
from optdescent.ocp.saddle import Matrices, Saddle, Unsuited
from optdescent.ocp.solution import Raw
from tests.ocp import benchmark_problems as posed

GENERAL = SolverSettings(central=False)


def everything(curving: float = 1.0) -> tuple[Problem, Guess]:
    """Two phases with all that a problem can have: statics, integrals, path functions with and without a control."""

    def phase(name: str, start: Span, end: Span) -> Phase:
        return Phase(
            name,
            (Variable("x"), Variable("v", -3.0, 3.0)),
            (Variable("u", -4.0, 4.0), Variable("w", -2.0, 2.0)),
            lambda p: {"x": p["v"] + 0.1 * p["w"], "v": p["k"] * p["u"] - 0.1 * p["v"] ** 2 + 0.1 * ca.sin(p["x"])},
            start,
            end,
            path=(
                PathConstraint("near", lambda p: p["x"] + 0.2 * p["v"], -0.5, 3.0),
                PathConstraint("both", lambda p: p["u"] + p["v"] * p["w"], -5.0, 5.0),
            ),
            integrand=lambda p: curving * (p["u"] ** 2 + p["w"] ** 2) + 0.1 * p["x"] ** 2,
        )

    def point(x: float, v: float) -> dict[str, list[float]]:
        return {"x": [x, x + 0.5], "v": [v, v]}

    problem = Problem(
        "everything",
        (phase("one", Span(0, 0), Span(0.5, 3)), phase("two", Span(0.5, 3), Span(1, 4))),
        lambda e: e["one"].integral + e["two"].integral + e["two"].end.independent + (e.static["k"] - 1.5) ** 2,
        links=(Link("one", "two", ("x", "v")),),
        boundaries=(
            BoundaryConstraint("start x", lambda e: e["one"].start["x"], 0, 0),
            BoundaryConstraint("start v", lambda e: e["one"].start["v"], 0, 0),
            BoundaryConstraint("end x", lambda e: e["two"].end["x"], lambda q: q["goal"], lambda q: q["goal"]),
            BoundaryConstraint("slow", lambda e: e["two"].end["v"] * e.static["k"], -0.2, 0.2),
            BoundaryConstraint("half", lambda e: e["one"].end["x"] * e["one"].end["v"], 0.3, 0.3),
        ),
        statics=(Variable("k", 0.5, 3.0),),
        parameters=(Parameter("goal"),),
    )
    controls = {"u": [0.5, 0.0], "w": [0.1, 0.0]}
    guesses = {
        "one": PhaseGuess([0, 1], point(0.0, 0.5), controls),
        "two": PhaseGuess([1, 2], point(0.5, 0.5), controls),
    }
    return problem, Guess(guesses, {"k": 1.0})


def without(name: str) -> tuple[Problem, Guess]:
    """All but one of its boundary conditions."""
    problem, guess = everything()
    return replace(problem, boundaries=tuple(b for b in problem.boundaries if b.name != name)), guess


def in_fixed_time() -> tuple[Problem, Guess]:
    """Both phases last as long as they do: the row that links their times says nothing, and depends on the others."""
    problem, guess = without("half")
    one, two = problem.phases
    one, two = replace(one, end=Span(1, 1)), replace(two, start=Span(1, 1), end=Span(2, 2))
    return replace(problem, phases=(one, two)), guess


def flags(program: NonlinearProgram) -> tuple[np.ndarray, np.ndarray]:
    """Columns of where the first phase begins, and of where the last ends: fixed. Inequalities among the rows."""
    fixed, equal = np.zeros(program.columns, dtype=np.bool_), np.ones(program.rows, dtype=np.bool_)
    first, last = program.layout.phases[0], program.layout.phases[-1]
    fixed[[first.start, *first.states[:, 0], last.states[0, -1]]] = True
    for place in program.layout.phases:
        equal[place.path], equal[place.open_path], equal[place.length] = False, False, False
    return fixed, equal


@pytest.mark.parametrize("family", Family)
@pytest.mark.parametrize("elements", [1, 4])
def test_a_step_solves_newtons_equations(family: Family, elements: int) -> None:
    """Against a dense solve of the whole system, for random multipliers, stiffness and slopes."""
    problem, _ = everything()
    program = transcribe(problem, Mesh.uniform(problem, {"one": elements, "two": 3}, 3, family))
    random = np.random.default_rng(3)
    size, rows, slopes = program.columns, program.rows, program.slopes
    x, lam = 0.5 + 0.2 * random.random(size), 0.1 * random.standard_normal(rows)
    p = 0.9 + 0.2 * random.random(1 + program.layout.scales)
    fixed, equal = flags(program)
    around, curve = slopes.around(x, p), slopes.curve(x, p, lam)
    stiffness, softness = 20.0 + random.random(size), np.where(equal, 0.0, 0.1 + random.random(rows))
    miss, pull = 0.1 * random.standard_normal(rows), random.standard_normal(size)
    push = np.where(equal, 0.0, random.standard_normal(rows))
    system = Saddle(slopes.slope_pattern, slopes.curve_pattern, fixed, equal)
    system.factor(Matrices(around.entries, curve.data, stiffness, softness, miss))
    move = system.moved(pull, push)

    free, slope = np.flatnonzero(~fixed), around.slope.toarray()
    inverse = np.where(equal, 0.0, 1.0 / np.where(equal, 1.0, softness))
    whole = np.block(
        [
            [curve.toarray()[np.ix_(free, free)] + np.diag(stiffness[free]), slope[:, free].T],
            [slope[:, free], -np.diag(inverse)],
        ]
    )
    found = np.linalg.solve(whole, -np.concatenate([pull[free], miss + inverse * push]))
    assert move.columns[free] == pytest.approx(found[: free.size], abs=1e-4)
    assert move.columns[fixed] == pytest.approx(0.0, abs=0.0)
    assert move.multipliers == pytest.approx(found[free.size :], rel=1e-3, abs=1e-3)
    assert move.rows[~equal] == pytest.approx((miss + slope[:, free] @ found[: free.size])[~equal], abs=1e-4)
    # But for what keeps it solvable in any order it is exact.
    whole += np.diag(np.concatenate([np.full(free.size, 1e-8), np.where(equal, -1.0 / (1e7 + 100.0), 0.0)]))
    found = np.linalg.solve(whole, -np.concatenate([pull[free], miss + inverse * push]))
    assert move.columns[free] == pytest.approx(found[: free.size], abs=1e-9)
    assert move.multipliers == pytest.approx(found[free.size :], abs=1e-6)
    assert move.rows == pytest.approx(miss + slope[:, free] @ found[: free.size], abs=1e-9)


def test_a_system_that_has_no_minimum_is_refused() -> None:
    problem, _ = everything(curving=-1.0)
    program = transcribe(problem, Mesh.uniform(problem, 3, 3))
    size, rows, slopes = program.columns, program.rows, program.slopes
    x, lam, p = np.full(size, 0.5), np.zeros(rows), np.ones(1 + program.layout.scales)
    x[[place.end for place in program.layout.phases]] = 1.5
    for place in program.layout.phases:
        lam[place.quadrature] = -1.0
    fixed, equal = flags(program)
    entries, curve = slopes.around(x, p).entries, slopes.curve(x, p, lam).data
    system = Saddle(slopes.slope_pattern, slopes.curve_pattern, fixed, equal)
    softness, miss = np.where(equal, 0.0, 0.1), np.zeros(rows)
    with pytest.raises(Unsuited):
        system.factor(Matrices(entries, curve, np.full(size, 1e-3), softness, miss))
    system.factor(Matrices(entries, curve, np.full(size, 1e3), softness, miss))


def test_a_row_without_limits_moves_nothing_and_equations_without_free_columns_are_no_harm() -> None:
    """Two columns, the second fixed; an inequality without a limit and an equation of the fixed column alone."""
    curve = slope = Pattern.of(np.array([0, 1]), np.array([0, 1]), (2, 2))
    fixed, equal = np.array([False, True]), np.array([False, True])
    system = Saddle(slope, curve, fixed, equal)
    system.factor(Matrices(np.array([3.0, 1.0]), np.full(2, 2.0), np.zeros(2), np.zeros(2), np.array([5.0, 0.0])))
    move = system.moved(np.array([1.0, 7.0]), np.zeros(2))
    assert move.columns == pytest.approx([-0.5, 0.0], abs=1e-8)
    assert move.rows == pytest.approx([5.0 - 1.5, 0.0], abs=1e-7)
    assert move.multipliers == pytest.approx([0.0, 0.0], abs=1e-8)
    with pytest.raises(Unsuited):
        Saddle(slope, curve, np.array([True, True]), equal)
    with pytest.raises(Unsuited):
        system.moved(np.array([np.nan, 0.0]), np.zeros(2))


def test_a_pivot_that_vanishes_is_refused_and_not_written_about(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A column without curvature or equations, but for the little stiffness that each is given."""
    index = np.array([0])
    curve, slope = Pattern.of(index, index, (2, 2)), Pattern.of(index, index, (1, 2))
    fixed, equal = np.zeros(2, dtype=np.bool_), np.ones(1, dtype=np.bool_)
    at = Matrices(np.ones(1), np.ones(1), np.zeros(2), np.zeros(1), np.zeros(1))
    Saddle(slope, curve, fixed, equal).factor(at)
    monkeypatch.setattr("optdescent.ocp.saddle._STIFF", 0.0)
    with pytest.raises(Unsuited):
        Saddle(slope, curve, fixed, equal).factor(at)
    said = capsys.readouterr()
    assert said.out + said.err == ""


CASES: list[tuple[Callable[[], tuple[Problem, Guess]], dict[str, float], int, int]] = [
    (posed.brachistochrone, {"gravity": 9.80665}, 12, 4),
    (posed.bryson_denham, {"limit": 0.1}, 15, 4),
    (posed.double_integrator, {"distance": 1.0}, 20, 4),
    (posed.zermelo, {"shear": 1.0}, 12, 4),
    (posed.hang_glider, {"updraught": 1.0}, 12, 5),
    (posed.goddard, {}, 12, 4),
    (everything, {"goal": 1.2}, 5, 4),
    (in_fixed_time, {"goal": 1.2}, 5, 4),
]


@pytest.mark.parametrize(("pose", "values", "elements", "degree"), CASES)
def test_it_ends_where_the_general_one_ends(
    pose: Callable[[], tuple[Problem, Guess]], values: dict[str, float], elements: int, degree: int
) -> None:
    problem, guess = pose()
    program = transcribe(problem, Mesh.uniform(problem, elements, degree))
    assert suits(program.layout, SolverSettings())
    own = program.solve(values, guess)
    assert "functions" not in vars(program)
    general = program.solve(values, guess, GENERAL)
    assert "functions" in vars(program)
    assert (own.outcome, own.start) == (Outcome.SOLVED, Start.COLD)
    assert general.outcome is Outcome.SOLVED
    assert own.cost == pytest.approx(general.cost, rel=1e-7)
    assert own.constraint_violation < 2e-8
    assert own.slackness < 1e-7 * abs(own.cost)
    assert own.raw.x == pytest.approx(general.raw.x, abs=2e-4)
    assert own.raw.lam_g == pytest.approx(general.raw.lam_g, abs=2e-3 * float(np.max(np.abs(general.raw.lam_g))))


def test_what_it_does_not_find_the_general_one_is_asked_for() -> None:
    """Where the rocket coasts its mass stays at its limit: the rows there leave no room to it and stay unmet."""
    problem, guess = posed.goddard_three()
    mesh = Mesh.uniform(problem, 4, 6)
    found, general = (transcribe(problem, mesh).solve({}, guess, settings) for settings in (SolverSettings(), GENERAL))
    assert found.outcome is Outcome.SOLVED
    assert general.iterations < found.iterations < general.iterations + 30
    assert found.raw.x == pytest.approx(general.raw.x, abs=1e-12)


def test_elements_of_two_degrees_end_where_the_general_one_ends() -> None:
    problem, guess = posed.brachistochrone()
    program, values = transcribe(problem, Mesh({"arc": PhaseMesh((0.25,) * 4, (4, 4, 5, 5))})), {"gravity": 9.80665}
    found = program.solve(values, guess)
    assert "functions" not in vars(program)
    general = program.solve(values, guess, GENERAL)
    assert found.outcome is general.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(general.cost, rel=1e-9)
    assert found.raw.x == pytest.approx(general.raw.x, abs=1e-6)


def test_what_it_gives_up_is_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without patience it gives up as soon as the residual rises, and the general one begins from the guess."""
    problem, guess = posed.brachistochrone()
    mesh, values = Mesh.uniform(problem, 12, 4), {"gravity": 9.80665}
    general = transcribe(problem, mesh).solve(values, guess, GENERAL)
    monkeypatch.setattr("optdescent.ocp.central._PATIENCE", 0)
    found = transcribe(problem, mesh).solve(values, guess)
    assert found.outcome is Outcome.SOLVED
    assert general.iterations < found.iterations < general.iterations + 5
    assert found.raw.x == pytest.approx(general.raw.x, abs=1e-12)


def test_the_order_of_a_meshs_phases_does_not_matter() -> None:
    problem, guess = posed.goddard_three()
    phases = Mesh.uniform(problem, {"full": 5, "singular": 4, "coast": 3}, 4).phases
    found, turned = (
        transcribe(problem, Mesh(dict(order))).solve({}, guess)
        for order in (phases.items(), reversed(list(phases.items())))
    )
    assert turned.iterations == found.iterations
    assert turned.raw.x == pytest.approx(found.raw.x, abs=1e-12)


def moved(
    *,
    goal: float | None = None,
    integrand: Callable[[Point], ca.SX] | None = lambda p: p["u"] ** 2,
    cost: Callable[[Ends], ca.SX] = lambda e: -e["arc"].end["x"],
    state: Variable | None = None,
    control: Variable | None = None,
    path: tuple[PathConstraint, ...] = (),
) -> tuple[Problem, Guess]:
    """A point moved for a second from 0, its speed the control; the integral is fixed if there is a goal."""
    states, controls = (state or Variable("x"),), (control or Variable("u", -4.0, 4.0),)
    phase = Phase(
        "arc", states, controls, lambda p: {"x": p["u"]}, Span(0, 0), Span(1, 1), path=path, integrand=integrand
    )
    boundaries = [BoundaryConstraint("start", lambda e: e["arc"].start["x"], 0.0, 0.0)]
    if goal is not None:
        boundaries.append(BoundaryConstraint("integral", lambda e: e["arc"].integral, goal, goal))
    problem = Problem("moved", (phase,), cost, boundaries=tuple(boundaries))
    return problem, Guess({"arc": PhaseGuess([0, 1], {"x": [0.0, 0.9]}, {"u": [0.9, 0.9]})})


@pytest.mark.parametrize("goal", [1.0, 4.0])
def test_a_fixed_integral_is_met_by_a_guess_that_misses_it(goal: float) -> None:
    """The farthest with a given integral of the square of the speed: at constant speed, its root."""
    problem, guess = moved(goal=goal)
    program = transcribe(problem, Mesh.uniform(problem, 4, 3))
    found = program.solve({}, guess)
    assert found.outcome is Outcome.SOLVED
    assert "functions" not in vars(program)
    assert found.cost == pytest.approx(-np.sqrt(goal), rel=1e-7)


def test_a_cost_that_is_infinite_is_no_optimum() -> None:
    """The cost falls towards where it is infinite, and nothing but the cost says so."""
    problem, guess = moved(
        integrand=lambda p: p["u"] ** 2 + 2.0 * p["x"],
        cost=lambda e: e["arc"].integral + ca.if_else(e["arc"].end["x"] > -0.2, 0.0, np.inf),
        control=Variable("u", -3.0, 3.0),
    )
    found = transcribe(problem, Mesh.uniform(problem, 4, 3)).solve({}, guess)
    assert not found.outcome.is_success or np.isfinite(found.cost)


@pytest.mark.parametrize(
    "posing",
    [
        lambda: moved(control=Variable("u", 0.5, 0.5), integrand=None),
        lambda: moved(state=Variable("x", 0.0, 0.0)),
        lambda: moved(path=(PathConstraint("speed", lambda p: p["u"] ** 3, 0.125, 0.125),)),
    ],
    ids=["nothing is free", "a state is fixed all along", "a path function is an equation"],
)
def test_what_leaves_little_to_choose_ends_as_before(posing: Callable[[], tuple[Problem, Guess]]) -> None:
    problem, guess = posing()
    mesh = Mesh.uniform(problem, 4, 3)
    found, general = (transcribe(problem, mesh).solve({}, guess, settings) for settings in (SolverSettings(), GENERAL))
    assert found.outcome is general.outcome is Outcome.SOLVED
    assert found.cost == pytest.approx(general.cost, abs=1e-7)


def test_a_loose_tolerance_is_not_taken_for_rows() -> None:
    problem, guess = posed.bryson_denham()
    loose = SolverSettings(tolerance=0.5)
    found = transcribe(problem, Mesh.uniform(problem, 12, 4)).solve({"limit": 0.1}, guess, loose)
    assert found.outcome is Outcome.SOLVED
    assert found.constraint_violation < 1e-4


def test_a_slope_that_is_no_number_is_no_small_slope() -> None:
    """The guess keeps all rows, and the root's derivative there is 0/0."""
    phase = Phase(
        "arc",
        (Variable("x"),),
        (Variable("u", -1.0, 1.0),),
        lambda p: {"x": p["u"]},
        Span(0, 0),
        Span(1, 1),
    )
    start = BoundaryConstraint("start", lambda e: e["arc"].start["x"], 0.0, 0.0)
    problem = Problem("root", (phase,), lambda e: -ca.sqrt(ca.fabs(e["arc"].end["x"])), boundaries=(start,))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0.0, 0.0]}, {"u": [0.0, 0.0]})})
    found = transcribe(problem, Mesh.uniform(problem, 6, 4)).solve({}, guess)
    assert not found.outcome.is_success


@pytest.mark.parametrize(
    "settings", [GENERAL, SolverSettings(barrier=1e-2), SolverSettings(log=1), SolverSettings(iterations=40)]
)
def test_settings_that_ask_for_the_general_one(settings: SolverSettings) -> None:
    problem, _ = posed.brachistochrone()
    layout = transcribe(problem, Mesh.uniform(problem, 12, 4)).layout
    assert suits(layout, SolverSettings())
    assert not suits(layout, settings)
    assert not suits(transcribe(problem, Mesh.uniform(problem, 60, 4)).layout, SolverSettings())


@pytest.mark.parametrize("push", [0.0, 0.6, float("nan")])
def test_a_push_that_is_no_fraction_is_refused(push: float) -> None:
    with pytest.raises(ProblemFault, match=r"at most 0\.5"):
        SolverSettings(push=push)


def test_a_small_program_whose_warm_start_failed_begins_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """The general one, warm, is made to fail after one iteration; cold, it is not asked."""
    problem, guess = posed.brachistochrone()
    program = transcribe(problem, Mesh.uniform(problem, 12, 4))
    near, expected = (program.solve({"gravity": g}, guess) for g in (9.0, 9.80665))

    def failed(*_: object) -> tuple[Raw, Ending]:
        return near.raw, Ending(Outcome.FAILED, Start.COLD, 1, np.nan)

    monkeypatch.setattr(InteriorPoint, "run", failed)
    found = program.solve({"gravity": 9.80665}, near, SolverSettings(newton=False))
    assert (found.outcome, found.start) == (Outcome.SOLVED, Start.WARM_THEN_COLD)
    assert found.iterations > 2
    assert found.cost == pytest.approx(expected.cost, rel=1e-9)


def test_it_stops_in_time() -> None:
    problem, guess = posed.brachistochrone()
    program = transcribe(problem, Mesh.uniform(problem, 12, 4))
    found = program.solve({"gravity": 9.80665}, guess, replace(SolverSettings(), seconds=1e-9))
    assert found.outcome is Outcome.TIME
