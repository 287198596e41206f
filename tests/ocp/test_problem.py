"""A badly posed problem is a ProblemFault that names phase, variable and index."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace

import casadi as ca
import numpy as np
import pytest

from optdescent.ocp import (
    BoundaryConstraint,
    Ends,
    Guess,
    Link,
    Mesh,
    Outcome,
    Parameter,
    Parameters,
    PathConstraint,
    Phase,
    PhaseGuess,
    PhaseMesh,
    Point,
    Problem,
    ProblemFault,
    Span,
    Variable,
    solve,
    transcribe,
)
from tests.ocp.benchmark_problems import bryson_denham, goddard_three, hang_glider


def phase(rates: Callable[[Point], Mapping[str, ca.SX]], **changes: object) -> Phase:
    plain = Phase("arc", (Variable("x"),), (Variable("u"),), rates, Span(0, 0), Span(1, 1))
    return replace(plain, **changes)  # type: ignore[arg-type]


def posed(rates: Callable[[Point], Mapping[str, ca.SX]], **changes: object) -> Problem:
    return Problem("test", (phase(rates, **changes),), lambda e: e["arc"].end["x"], parameters=(Parameter("q", 2),))


def fault(make: Callable[[], object]) -> ProblemFault:
    with pytest.raises(ProblemFault) as caught:
        make()
    return caught.value


def test_an_unknown_name_suggests_the_nearest() -> None:
    found = fault(lambda: posed(lambda p: {"x": p["uu"]}))
    assert (found.phase, found.variable) == ("arc", "uu")
    assert "'u'" in str(found)


@pytest.mark.parametrize("rates", [{}, {"x": 1.0, "y": 1.0}, {"y": 1.0}])
def test_rates_must_match_the_states(rates: dict[str, float]) -> None:
    found = fault(lambda: posed(lambda p: {n: ca.SX(v) for n, v in rates.items()}))
    assert found.phase == "arc"
    assert found.variable == ("x" if "x" not in rates else "y")


def test_a_rate_of_wrong_shape() -> None:
    assert fault(lambda: posed(lambda p: {"x": p["q"]})).variable == "x"


def test_a_rate_that_is_no_expression() -> None:
    assert fault(lambda: posed(lambda p: {"x": "fast"})).variable == "x"  # type: ignore[dict-item]


def test_rates_that_are_not_returned() -> None:
    found = fault(lambda: posed(lambda p: None))  # type: ignore[arg-type, return-value]
    assert (found.phase, found.variable) == ("arc", "rates")


def test_common_parts_are_sought_unless_the_problem_is_tidy() -> None:
    def rates(p: Point) -> Mapping[str, ca.SX]:
        return {"x": ca.exp(p["x"] * p["u"]) + ca.sin(p["x"] * p["u"])}

    seek, tidy = (replace(posed(rates), is_tidy=flag).phase_forms[0].function for flag in (False, True))
    assert seek.n_instructions() < tidy.n_instructions()
    given = [0.0, 0.3, 0.7, [], [1.0, 2.0]]
    for function in (seek, tidy):
        assert float(function.call(given)[0]) == pytest.approx(math.exp(0.21) + math.sin(0.21), rel=1e-14)


def test_what_is_looked_up_must_not_be_changed() -> None:
    def rates(p: Point) -> Mapping[str, ca.SX]:
        q = p["q"]
        q[1] = q[0]
        return {"x": q[1]}

    found = fault(lambda: posed(rates))
    assert (found.phase, found.variable) == ("arc", "q")

    def state(p: Point) -> Mapping[str, ca.SX]:
        p["x"][0] = 2.0 * p["u"]
        return {"x": p["x"]}

    assert fault(lambda: posed(state)).variable == "x"

    def limit(named: Parameters) -> ca.SX:
        named["q"][0] = 1.0
        return named["q"][1]

    assert fault(lambda: posed(lambda p: {"x": p["u"]}, end=Span(0.0, limit))).variable == "q"

    def cost(ends: Ends) -> ca.SX:
        ends["arc"].end["x"][0] = 2.0
        return ends["arc"].end["x"]

    found = fault(lambda: replace(posed(lambda p: {"x": p["u"]}), cost=cost))
    assert (found.phase, found.variable) == ("arc", "x")


def test_an_expression_that_is_changed_after_it_was_given_is_taken_as_it_was() -> None:
    held = ca.SX(1, 1)

    def gives(number: int) -> Callable[[Point], ca.SX]:
        def function(p: Point) -> ca.SX:
            held[0] = number * p["x"]
            return held

        return function

    paths = tuple(PathConstraint(f"path {number}", gives(number), 0.0, 9.0) for number in (1, 5))
    found = posed(lambda p: {"x": p["u"]}, path=paths).phase_forms[0].function.call([0.0, 1.0, 0.0, [], [0.0, 0.0]])
    assert found[1].full().ravel().tolist() == [1.0, 5.0]


def test_a_foreign_symbol() -> None:
    assert fault(lambda: posed(lambda p: {"x": ca.SX.sym("alien")})).variable == "alien"


@pytest.mark.parametrize(
    "changes",
    [
        {"states": (Variable("x"), Variable("x"))},
        {"states": ()},
        {"least_length": math.nan},
        {"controls": (Variable("x"),)},
        {"controls": (Variable("q"),)},
        {"path": (PathConstraint("c", lambda p: p["x"]), PathConstraint("c", lambda p: p["x"]))},
    ],
)
def test_names_and_sizes_of_a_phase(changes: dict[str, object]) -> None:
    assert fault(lambda: posed(lambda p: {"x": p["u"]}, **changes)).phase == "arc"


@pytest.mark.parametrize(
    "make",
    [
        lambda: Variable("x", scale=0.0),
        lambda: Variable("x", math.nan),
        lambda: PathConstraint("c", lambda p: p["x"], scale=-1),
        lambda: Parameter("q", 0),
    ],
)
def test_limits_scales_and_sizes(make: Callable[[], object]) -> None:
    fault(make)


@pytest.mark.parametrize(
    ("changes", "variable", "index"),
    [
        ({"states": (Variable("y"), Variable("x", 2, 1))}, "x", 1),
        ({"controls": (Variable("u", 2, 1),)}, "u", 1),
        ({"path": (PathConstraint("c", lambda p: p["x"], 1, 0),)}, "c", 0),
        ({"start": Span(1, 0)}, "start", 0),
        ({"end": Span(1, 0)}, "end", 0),
    ],
)
def test_constant_bounds_that_cross_are_told_with_phase_variable_and_place(
    changes: dict[str, object], variable: str, index: int
) -> None:
    found = fault(lambda: phase(lambda p: {"x": p["u"]}, **changes))
    assert (found.phase, found.variable, found.index) == ("arc", variable, index)


def test_constant_bounds_of_the_whole_that_cross_are_told_with_their_name() -> None:
    problem, _ = bryson_denham()
    crossed = BoundaryConstraint("c", lambda e: e["arc"].end["x"], 1, 0)
    found = fault(lambda: replace(problem, boundaries=(*problem.boundaries, crossed)))
    assert (found.variable, found.index) == ("c", len(problem.boundaries))
    found = fault(lambda: replace(problem, statics=(Variable("s", 1, 0),)))
    assert (found.variable, found.index) == ("s", 0)


@pytest.mark.parametrize(
    "link", [Link("full", "nowhere", ("h",)), Link("full", "coast", ("k",)), Link("full", "full", ("h",))]
)
def test_a_link_must_join_real_phases_and_states(link: Link) -> None:
    problem, _ = goddard_three()
    assert fault(lambda: replace(problem, links=(link,))).index == 0


def test_boundary_names_must_differ() -> None:
    problem, _ = bryson_denham()
    fault(lambda: replace(problem, boundaries=(*problem.boundaries, problem.boundaries[0])))


def test_the_guess_is_checked() -> None:
    problem, guess = hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 3, 3))
    own = guess.phases["arc"]
    values = {"updraught": 1.0}
    short = PhaseGuess([0, 50, 100], own.states, own.controls)
    assert fault(lambda: program.solve(values, Guess({"arc": short}))).phase == "arc"
    missing = PhaseGuess(own.independent, own.states)
    assert fault(lambda: program.solve(values, Guess({"arc": missing}))).variable == "cl"
    bad = PhaseGuess(own.independent, {**own.states, "y": [1000, math.nan]}, own.controls)
    found = fault(lambda: program.solve(values, Guess({"arc": bad})))
    assert (found.variable, found.index) == ("y", 1)
    assert fault(lambda: program.solve(values, Guess({}))).phase == "arc"


def test_parameter_values_are_checked() -> None:
    problem, guess = hang_glider()
    program = transcribe(problem, Mesh.uniform(problem, 3, 3))
    for values in ({}, {"updraught": [1.0, 2.0]}, {"updraught": math.inf}, {"updraught": 1.0, "wind": 0.0}):
        assert fault(lambda values=values: program.solve(values, guess)).variable in ("updraught", "wind")


def test_a_value_that_is_not_finite_names_state_and_point() -> None:
    problem = posed(lambda p: {"x": ca.log(p["x"] - 1) * p["u"]})
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 3]}, {"u": [1, 1]})})
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    found = fault(lambda: program.solve({"q": [0, 0]}, guess))
    assert (found.phase, found.variable, found.index) == ("arc", "x", 0)


def test_an_integrand_that_is_not_finite_names_its_point() -> None:
    problem = posed(lambda p: {"x": p["u"]}, integrand=lambda p: ca.log(2.0 - p["x"]))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 3]}, {"u": [1, 1]})})
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    found = fault(lambda: program.solve({"q": [0, 0]}, guess))
    first = int(np.argmax(3.0 * program.mesh.phases["arc"].collocation > 2.0))
    assert (found.phase, found.variable, found.index) == ("arc", "integrand", first)


def fixed_start(rates: Callable[[Point], Mapping[str, ca.SX]], **changes: object) -> Callable[[], object]:
    """A solve from x = 1 throughout, where x begins; without an integrand the least x at the end is sought."""
    start = BoundaryConstraint("x at the start", lambda e: e["arc"].start["x"], 1, 1)
    problem = Problem(
        "test",
        (phase(rates, controls=(Variable("u", -1, 1),), **changes),),
        lambda e: e["arc"].integral if changes else e["arc"].end["x"],
        boundaries=(start,),
    )
    return lambda: solve(problem, Guess({"arc": PhaseGuess([0, 1], {"x": [1, 1]}, {"u": [0, 0]})}))


def test_a_derivative_that_is_not_finite_at_the_start_names_state_and_point() -> None:
    """All values are finite there: the root of nothing is nothing."""
    found = fault(fixed_start(lambda p: {"x": p["u"] - ca.sqrt(p["x"] - 1)}))
    assert (found.phase, found.variable, found.index) == ("arc", "x", 0)
    assert "derivative" in str(found)


def test_a_derivative_that_is_not_finite_on_the_way_names_its_point() -> None:
    """The iterates come to the end of where a root is defined."""
    found = fault(fixed_start(lambda p: {"x": p["u"]}, integrand=lambda p: ca.sqrt(p["x"] - 0.5)))
    assert (found.phase, found.variable) == ("arc", "integrand")
    assert found.index is not None
    assert found.index > 10
    assert "where the solve ended" in str(found)


@pytest.mark.parametrize("integrand", [None, lambda p: p["u"] ** 2])
def test_a_second_derivative_that_is_not_finite_names_phase_and_point(integrand: Callable[[Point], ca.SX]) -> None:
    """The first one is finite: the cost is least where the state comes to rest at 1."""
    changes = {} if integrand is None else {"integrand": integrand}
    found = fault(fixed_start(lambda p: {"x": p["u"] + ca.fabs(p["x"] - 1) ** 1.5}, **changes))
    assert (found.phase, found.variable, found.index) == ("arc", "", 0)
    assert "second derivative" in str(found)


def test_a_program_keeps_what_was_not_finite_with_its_solution() -> None:
    """Whoever tries several ways goes on: only `solve` raises it."""
    problem = posed(lambda p: {"x": p["u"] - ca.sqrt(p["x"] - 1)})
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    found = program.solve({"q": [0, 0]}, Guess({"arc": PhaseGuess([0, 1], {"x": [1, 1]}, {"u": [0, 0]})}))
    assert found.outcome is Outcome.INVALID_NUMBER
    assert found.fault is not None
    assert (found.fault.phase, found.fault.variable, found.fault.index) == ("arc", "x", 0)


@pytest.mark.parametrize("value", ["fast", None, [1.0, "b"]])
def test_what_is_no_number_is_told_by_its_name(value: object) -> None:
    problem = posed(lambda p: {"x": p["u"]})
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    good = {"x": [0, 3]}, {"u": [1, 1]}
    found = fault(lambda: program.solve({"q": value}, Guess({"arc": PhaseGuess([0, 1], *good)})))  # type: ignore[dict-item]
    assert found.variable == "q"
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": value}, good[1])})  # type: ignore[dict-item]
    found = fault(lambda: program.solve({"q": [0, 0]}, guess))
    assert (found.phase, found.variable) == ("arc", "x")
    assert fault(lambda: Variable("v", value)).variable == "v"  # type: ignore[arg-type]


def test_parametric_bounds_that_cross() -> None:
    limit = Variable("u", 1.0, lambda q: q["q"][0])
    problem = posed(lambda p: {"x": p["u"]}, controls=(limit,))
    guess = Guess({"arc": PhaseGuess([0, 1], {"x": [0, 0]}, {"u": [1, 1]})})
    program = transcribe(problem, Mesh.uniform(problem, 2, 3))
    found = fault(lambda: program.solve({"q": [0.0, 0.0]}, guess))
    assert (found.phase, found.variable) == ("arc", "u")


@pytest.mark.parametrize(
    ("fractions", "degrees"), [((0.5, 0.4), (3, 3)), ((1.0,), (3, 3)), ((1.5, -0.5), (3, 3)), ((1.0,), (0,))]
)
def test_a_mesh_must_fill_its_phase(fractions: tuple[float, ...], degrees: tuple[int, ...]) -> None:
    fault(lambda: PhaseMesh(fractions, degrees))


def test_a_mesh_must_know_every_phase() -> None:
    problem, _ = goddard_three()
    assert fault(lambda: Mesh.uniform(problem, {"full": 3, "singular": 3}, 3)).phase == "coast"
    partial = Mesh({"full": PhaseMesh((1.0,), (3,))})
    assert fault(lambda: transcribe(problem, partial)).phase == "singular"
